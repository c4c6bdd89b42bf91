"""A cusp row against the single cusps of it: both are read, both must be right.

A reading of a row speaks of its lowest place, so no cusp of it may lie clearly lower,
and not every cusp clearly higher. "Clearly" is the disagreement test of two readings
(design section 5.3), one-sided.
"""

from collections.abc import Mapping

from rules.measured import Measured
from rules.readings import Combined, Interval, Point, RowConflict
from rules.teeth import row_cusps
from rules.terms import Position, Quantity, Site

__all__ = ["confront_rows"]

_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)
_At = tuple[Site, Quantity, Position | None]


def confront_rows(tooth: str, measured: tuple[Measured, ...]) -> tuple[Measured, ...]:
    """Return the sites with rows and cusps that contradict each other marked.

    A contradiction leaves both undecided, like readings of one site that disagree.
    """
    sites = {one.site for one in measured}
    rows = [
        row
        for row in _ROWS
        if row in sites and not sites.isdisjoint(row_cusps(row, tooth))
    ]
    if not rows:
        return measured
    places: dict[_At, Combined] = {
        (one.site, one.quantity, position): combined
        for one in measured
        for position, combined in one.positions
    }
    marked: dict[_At, RowConflict] = {}
    for site, quantity, position in places:
        if site in rows:
            cusps = row_cusps(site, tooth)
            marked |= _contradictions((site, quantity, position), cusps, places)
    return tuple(_marked(one, marked) for one in measured) if marked else measured


def _contradictions(
    row: _At, cusps: tuple[Site, ...], places: Mapping[_At, Combined]
) -> dict[_At, RowConflict]:
    along = places[row]
    read = [
        (at, places[at])
        for at in ((cusp, *row[1:]) for cusp in cusps)
        if at in places and _speaks(along, places[at])
    ]
    found: dict[_At, RowConflict] = {}
    for at, other in read:
        if _clearly_below(other.says, along.says):
            found[at] = RowConflict(row[0], at[0], along.says, other.says)
            found.setdefault(row, found[at])
    above = [at for at, other in read if _clearly_below(along.says, other.says)]
    if len(above) == len(cusps):
        found[row] = RowConflict(row[0], None, along.says, None)
    return found


def _speaks(along: Combined, other: Combined) -> bool:
    """Readings at odds with themselves, or from another time, contradict nobody."""
    silent = along.disagreeing or other.disagreeing
    through = along.interpenetration or other.interpenetration
    return not silent and not through and along.stale is other.stale


def _clearly_below(low: Interval | Point, high: Interval | Point) -> bool:
    """Tell whether the upper end of one lies clearly under the lower of the other."""
    if isinstance(low, Point) and isinstance(high, Point):
        apart = high.value - low.value
        return apart > 0 and apart**2 >= 4 * (low.u**2 + high.u**2)
    floor = high.low if isinstance(high, Interval) else high.value - 2 * high.u
    if isinstance(low, Point):
        return low.value + 2 * low.u < floor
    if low.high is None:
        return False
    return low.high < floor if low.closed else low.high <= floor


def _marked(one: Measured, marked: Mapping[_At, RowConflict]) -> Measured:
    positions = tuple(
        (position, combined.contradicted_by(conflict))
        if (conflict := marked.get((one.site, one.quantity, position)))
        else (position, combined)
        for position, combined in one.positions
    )
    return one._replace(positions=positions)

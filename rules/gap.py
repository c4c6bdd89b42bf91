"""The gap between two preparations: one reading serves both units.

Where two units of one request are prepared against each other, a reading at a site
of one is also a reading of the site facing it. It is taken over only where the
other unit has none of its own, and never from a single cusp, a ridge or an implant
platform, whose partner on the other tooth is not known.
"""

from dataclasses import replace

from rules.readings import Reading
from rules.request import Unit
from rules.teeth import facing_sites, quantity_at, row_cusps, sites_for
from rules.terms import Antagonist, Quantity, Site

__all__ = ["shared_readings"]

_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)


def shared_readings(unit: Unit, units: tuple[Unit, ...]) -> Unit:
    """Return the unit with the readings its prepared antagonists share with it."""
    if unit.antagonist is not Antagonist.PREPARED:
        return unit
    own = {(reading.site, reading.position) for reading in unit.readings}
    named = {facing.tooth for facing in unit.antagonists}
    borrowed = [
        reading
        for other in units
        if other.tooth in named and _names(other, unit)
        for reading in _mirrored(other, unit)
        if (reading.site, reading.position) not in own
    ]
    return replace(unit, readings=unit.readings + tuple(borrowed)) if borrowed else unit


def _names(other: Unit, unit: Unit) -> bool:
    return any(facing.tooth == unit.tooth for facing in other.antagonists)


def _mirrored(other: Unit, unit: Unit) -> list[Reading]:
    """Return the other unit's readings as readings of this unit's facing sites."""
    vague = {cusp for row in _ROWS for cusp in row_cusps(row, other.tooth)}
    vague |= {Site.MARGINAL_RIDGE, Site.IMPLANT_PLATFORM}
    found = []
    for reading in other.readings:
        quantity = quantity_at(
            reading.site, other.tooth, other.relation, positioned=bool(reading.position)
        )
        if quantity is not Quantity.CLEARANCE or reading.site in vague:
            continue
        places = facing_sites(reading.site, other.tooth, other.relation, unit.tooth)
        # A cusp row fits fossa or ridge of the facing tooth: the fossa is the seat.
        for place in places[:1]:
            if place in sites_for(unit.tooth, unit.kind, unit.relation):
                found.append(replace(reading, site=place))
    return found

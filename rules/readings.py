"""Readings: what they stand for and how those of one place combine.

Number parsing (``rules.numbers``) and the values of one measurement
(``rules.measurement``) are re-exported: this module is the one home of readings, and
every form, serializer and import reads its numbers by ``parse_mm`` from here. A strip
reading is an interval, any other a value with a standard uncertainty. All lengths are
millimetres and Decimal.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from rules.measurement import Basis, Interval, Point, Reading, strip_interval
from rules.numbers import MAXIMUM_MM, MINIMUM_SCAN_MM, decimal_text, parse_mm, plain
from rules.terms import Method, Site

__all__ = [
    "MAXIMUM_MM",
    "MINIMUM_SCAN_MM",
    "Basis",
    "Combined",
    "Conflict",
    "Interval",
    "Meaning",
    "Point",
    "Reading",
    "RowConflict",
    "combine",
    "decimal_text",
    "meaning",
    "parse_mm",
    "plain",
    "strip_interval",
]

_ZERO = Decimal(0)
_TWO = Decimal(2)


class Meaning(NamedTuple):
    """What one reading stands for: an interval (strip) or a point (any other)."""

    reading: Reading
    says: Interval | Point


class Conflict(NamedTuple):
    """Two readings that cannot both be right.

    ``apart_mm`` is how far their values or interval ends lie apart, ``allowed_mm``
    how much of that would be measuring uncertainty: 2 * sqrt(u1^2 + u2^2) between
    points, 2u between a point and an interval, None between intervals.
    """

    one: Meaning
    other: Meaning
    apart_mm: Decimal
    allowed_mm: Decimal | None


class RowConflict(NamedTuple):
    """A cusp row and single cusps of it that cannot both be right.

    ``cusp`` is the cusp that lies clearly lower than the row's lowest place; None
    where every cusp of the row lies clearly higher than that.
    """

    row: Site
    cusp: Site | None
    row_says: Interval | Point
    cusp_says: Interval | Point | None


class Combined(NamedTuple):
    """What all readings of one site and position say together.

    Either ``point`` or ``interval`` governs. Where readings disagree neither does:
    ``interval`` is then the whole range they span, for display only, and
    ``conflicts`` holds every pair that disagrees, the widest apart first, or
    ``row_conflict`` what a cusp row and its cusps say. ``stale``: nothing but stale
    readings; ``set_aside``: stale ones that a fresh one replaces.
    """

    interval: Interval
    point: Point | None = None
    disagreeing: bool = False
    interpenetration: bool = False
    stale: bool = False
    meanings: tuple[Meaning, ...] = ()
    set_aside: tuple[Reading, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    row_conflict: RowConflict | None = None

    @property
    def low(self) -> Decimal:
        """Lower end in mm; the value itself for a point."""
        return self.point.value if self.point else self.interval.low

    @property
    def high(self) -> Decimal | None:
        """Upper end in mm, None when open; the value itself for a point."""
        return self.point.value if self.point else self.interval.high

    @property
    def says(self) -> Interval | Point:
        """The point or interval that governs."""
        return self.point or self.interval

    def contradicted_by(self, conflict: RowConflict) -> "Combined":
        """Return the same readings at odds with those of a row or its cusps."""
        return self._replace(disagreeing=True, row_conflict=conflict)


def meaning(
    reading: Reading,
    *,
    delta: Decimal,
    drag: Decimal,
    u_of: Mapping[Method, Decimal],
) -> Meaning:
    """Return what a reading stands for; ``u_of`` serves where it states no u."""
    if reading.value_mm is None:
        return Meaning(reading, strip_interval(reading, delta=delta, drag=drag))
    u = reading.u_mm or u_of[reading.method]
    return Meaning(reading, Point(reading.value_mm, u))


def combine(
    readings: Sequence[Reading],
    *,
    delta: Decimal,
    drag: Decimal,
    u_of: Mapping[Method, Decimal],
) -> Combined:
    """Combine the readings of one site and position, in any order (design 5.3).

    Intervals intersect; points agree when they differ by less than
    2 * sqrt(u1^2 + u2^2), and the smaller u governs; a point whose y +- 2u misses
    the intervals disagrees with them, otherwise the point governs. Stale readings
    count only where there is no fresh one.
    """
    if len(readings) == 1:
        return _alone(meaning(readings[0], delta=delta, drag=drag, u_of=u_of), ())
    readings = sorted(readings, key=_listing)
    fresh = [reading for reading in readings if not reading.stale]
    aside = tuple(r for r in readings if r.stale) if fresh else ()
    meanings = [
        meaning(reading, delta=delta, drag=drag, u_of=u_of)
        for reading in fresh or readings
    ]
    if len(meanings) == 1:
        return _alone(meanings[0], aside)
    return _together(meanings, not fresh, aside)


def _alone(one: Meaning, aside: tuple[Reading, ...]) -> Combined:
    says, stale = one.says, one.reading.stale
    if isinstance(says, Interval):
        return Combined(says, None, False, False, stale, (one,), aside)
    span = Interval(says.value, says.value, True)
    return Combined(span, says, False, says.value < 0, stale, (one,), aside)


def _listing(reading: Reading) -> tuple[str | Decimal | int, ...]:
    """Return a key that makes sentences independent of the order of entry."""
    lengths = (
        reading.value_mm,
        reading.passes_mm,
        reading.drags_mm,
        reading.held_mm,
        reading.u_mm,
        reading.delta_mm,
    )
    return (
        reading.side or "",
        reading.basis or "",
        reading.mounting_number or 0,
        reading.method,
        *(MINIMUM_SCAN_MM - 1 if length is None else length for length in lengths),
    )


def _together(
    meanings: Sequence[Meaning], stale: bool, aside: tuple[Reading, ...]
) -> Combined:
    points = [one.says for one in meanings if isinstance(one.says, Point)]
    through = any(point.value < 0 for point in points)
    found = [
        conflict
        for index, one in enumerate(meanings)
        for other in meanings[index + 1 :]
        if (conflict := _conflict(one, other))
    ]
    found.sort(key=lambda c: (c.allowed_mm or _ZERO) - c.apart_mm)
    met: Interval | None = Interval(Decimal("-Infinity"))
    for one in meanings:
        if isinstance(one.says, Interval):
            met = met.meet(one.says) if met else None
    interval = met if met and not found and not points else _span(meanings)
    # Equal uncertainties: the smaller value is the careful one, whatever the order.
    best = None if found or not points else min(points, key=lambda p: (p.u, p.value))
    return Combined(
        interval,
        best,
        bool(found),
        through,
        stale,
        tuple(meanings),
        aside,
        tuple(found),
    )


def _conflict(one: Meaning, other: Meaning) -> Conflict | None:
    """Return how two readings contradict each other, or None where they agree.

    Testing pairs is enough: intervals of a line that meet two by two meet together.
    """
    a, b = one.says, other.says
    if isinstance(a, Interval):
        if isinstance(b, Interval):
            return None if a.meet(b) else Conflict(one, other, _gap(a, b), None)
        return _missed(one, other, a, b)
    if isinstance(b, Interval):
        return _missed(one, other, b, a)
    apart, bound = abs(a.value - b.value), 4 * (a.u**2 + b.u**2)
    return Conflict(one, other, apart, bound.sqrt()) if apart**2 >= bound else None


def _missed(
    one: Meaning, other: Meaning, interval: Interval, point: Point
) -> Conflict | None:
    reach = _TWO * point.u
    if interval.touches(point.value - reach, point.value + reach):
        return None
    here = Interval(point.value, point.value, True)
    return Conflict(one, other, _gap(here, interval), reach)


def _gap(a: Interval, b: Interval) -> Decimal:
    """Return how far two intervals that miss each other lie apart."""
    below, above = (a, b) if a.low <= b.low else (b, a)
    return max(_ZERO, above.low - (below.high if below.high is not None else above.low))


def _span(meanings: Sequence[Meaning]) -> Interval:
    """Return the range from the lowest to the highest thing any reading says."""
    ends = [_ends(one.says) for one in meanings]
    highs = [high for _low, high in ends if high is not None]
    return Interval(
        min(low for low, _high in ends),
        max(highs) if len(highs) == len(ends) else None,
        True,
    )


def _ends(says: Interval | Point) -> tuple[Decimal, Decimal | None]:
    if isinstance(says, Point):
        return says.value, says.value
    return says.low, says.high

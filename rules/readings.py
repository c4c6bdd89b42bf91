"""Readings: strict number parsing, strip intervals, points, how they combine.

``parse_mm`` is the one home of number parsing: every form, serializer and import
uses it. A strip reading is an interval, any other a value with a standard
uncertainty. All lengths are millimetres and Decimal.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from rules.errors import InvalidNumber
from rules.terms import Method, Position, Side, Site

__all__ = [
    "MAXIMUM_MM",
    "MINIMUM_SCAN_MM",
    "Basis",
    "Combined",
    "Interval",
    "Point",
    "Reading",
    "combine",
    "decimal_text",
    "parse_mm",
    "plain",
    "strip_interval",
]


def _(text: str) -> str:
    return text


# A clearance of 20 mm is more than any mouth offers between prepared teeth; a scan
# may pass through its antagonist by less than that (common practice, no source).
MAXIMUM_MM = Decimal(20)
MINIMUM_SCAN_MM = Decimal(-20)

# No length needs more characters; longer texts are cut before they are repeated.
_LONGEST = 24
_NUMBER = re.compile(r"(-?)(0|[1-9][0-9]*)(?:([.,])([0-9]+))?", re.ASCII)


def parse_mm(
    text: object, *, minimum: Decimal, maximum: Decimal, places: int = 2
) -> Decimal:
    """Return the length written in a text or number, by one strict pattern.

    Point and comma both part the decimals. Numbers are read by their shortest
    decimal text. Anything else ("1_5", "1,500", "1e9", units, other scripts' digits,
    booleans) is refused rather than guessed at.

    Raises:
        InvalidNumber: with a message that says what to write.
    """
    written = _written(text)
    match = _NUMBER.fullmatch(written)
    if match is None:
        raise InvalidNumber(
            _("“{value}” is no number here: write digits with one point or comma."),
            value=written,
        )
    sign, whole, mark, decimals = match.groups(default="")
    if mark == "," and len(decimals) == 3 and whole != "0":
        raise InvalidNumber(
            _("“{value}” could mean two things: write it with a point."),
            value=written,
        )
    if len(decimals) > places:
        raise InvalidNumber(
            _("“{value}” has too many decimals: at most {places}."),
            value=written,
            places=str(places),
        )
    number = Decimal(f"{sign}{whole}.{decimals or '0'}") + 0
    _in_range(number, minimum, maximum, written)
    return number


def _in_range(
    number: Decimal, minimum: Decimal, maximum: Decimal, written: str
) -> None:
    if number < 0 <= minimum:
        raise InvalidNumber(
            _("“{value}” cannot be negative: from {minimum} to {maximum}."),
            value=written,
            minimum=f"{minimum:f}",
            maximum=f"{maximum:f}",
        )
    if not minimum <= number <= maximum:
        raise InvalidNumber(
            _("“{value}” is out of range: from {minimum} to {maximum}."),
            value=written,
            minimum=f"{minimum:f}",
            maximum=f"{maximum:f}",
        )


def _written(value: object) -> str:
    """Return the text a value was written as, cut where it is absurdly long."""
    if isinstance(value, str):
        text = value.strip(" ")
    elif isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise InvalidNumber(_("A number belongs here."))
    elif isinstance(value, int):
        text = str(value) if abs(value) < 10**_LONGEST else "…"
    else:
        text = decimal_text(value)
    if len(text) > _LONGEST:
        text = text[:_LONGEST] + "…"
    return "".join(c if c.isprintable() else "?" for c in text)


def plain(number: Decimal) -> str:
    """Return a finite decimal as plain text without trailing zeros or exponent."""
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text


def decimal_text(value: float | Decimal) -> str:
    """Return the shortest plain decimal text of a number ("1.5" for 1.50)."""
    number = Decimal(repr(value)) if isinstance(value, float) else value
    # A huge exponent would print as a text of that many digits.
    if not number.is_finite() or abs(number.adjusted()) > _LONGEST:
        return str(number)
    return plain(number)


class Basis(StrEnum):
    """What a reading was taken on."""

    MOUTH = "mouth"
    MODEL = "model"
    SCAN = "scan"


@dataclass(frozen=True, slots=True)
class Reading:
    """One measurement as it was entered; strip thicknesses or value and u.

    ``position`` is None for reductions and widths. ``stale`` marks a reading taken
    before the provisional was lost or found high: it proves no sufficiency.
    ``delta_mm`` is the thickness tolerance of the strips used and overrules the rule
    set's. ``basis``, ``side`` and ``mounting_number`` say what it was taken on, by
    whom and on which mounting of the models.
    """

    site: Site
    method: Method
    position: Position | None = None
    value_mm: Decimal | None = None
    u_mm: Decimal | None = None
    passes_mm: Decimal | None = None
    drags_mm: Decimal | None = None
    held_mm: Decimal | None = None
    stale: bool = False
    delta_mm: Decimal | None = None
    basis: Basis | None = None
    side: Side | None = None
    mounting_number: int | None = None


@dataclass(frozen=True, slots=True)
class Interval:
    """Where a length lies: [low, high], or [low, high) when not ``closed``.

    ``high`` None means no upper end.
    """

    low: Decimal
    high: Decimal | None = None
    closed: bool = False

    def meet(self, other: "Interval") -> "Interval | None":
        """Return the intersection; None where the two miss each other."""
        low = max(self.low, other.low)
        ends = [end for end in (self, other) if end.high is not None]
        if not ends:
            return Interval(low)
        high = min(end.high for end in ends if end.high is not None)
        closed = all(end.closed for end in ends if end.high == high)
        if low > high or (low == high and not closed):
            return None
        return Interval(low, high, closed)

    def touches(self, low: Decimal, high: Decimal) -> bool:
        """Tell whether [low, high] reaches into the interval."""
        if high < self.low or self.high is None:
            return high >= self.low
        return low <= self.high if self.closed else low < self.high


@dataclass(frozen=True, slots=True)
class Point:
    """A value with its standard uncertainty."""

    value: Decimal
    u: Decimal


@dataclass(frozen=True, slots=True)
class Combined:
    """What all readings of one site and position say together.

    Either ``point`` or ``interval`` governs. Where readings disagree neither does:
    ``interval`` is then the whole range they span, for display only.
    """

    interval: Interval
    point: Point | None = None
    disagreeing: bool = False
    interpenetration: bool = False

    @property
    def low(self) -> Decimal:
        """Lower end in mm; the value itself for a point."""
        return self.point.value if self.point else self.interval.low

    @property
    def high(self) -> Decimal | None:
        """Upper end in mm, None when open; the value itself for a point."""
        return self.point.value if self.point else self.interval.high


def strip_interval(reading: Reading, *, delta: Decimal, drag: Decimal) -> Interval:
    """Return the interval a strip reading stands for, never below zero.

    Slid freely at t1, held at t2: [t1 - delta, t2 + delta). Dragged at t:
    [t - drag, t + drag]. What is stated intersects.
    """
    zero = Decimal(0)
    found = Interval(zero)
    if reading.passes_mm is not None:
        found = Interval(max(zero, reading.passes_mm - delta))
    if reading.held_mm is not None:
        found = Interval(found.low, reading.held_mm + delta)
    if reading.drags_mm is not None:
        low, high = reading.drags_mm - drag, reading.drags_mm + drag
        # Entry refuses strips out of order, so the two always meet.
        found = found.meet(Interval(max(zero, low), high, closed=True)) or found
    return found


def combine(
    readings: Sequence[Reading],
    *,
    delta: Decimal,
    drag: Decimal,
    u_of: dict[Method, Decimal],
) -> Combined:
    """Combine the readings of one site and position, in any order (design 5.3).

    Intervals intersect; points agree when they differ by less than
    2 * sqrt(u1^2 + u2^2), and the smaller u governs; a point whose y +- 2u misses
    the intervals disagrees with them, otherwise the point governs.
    """
    intervals = [
        strip_interval(reading, delta=delta, drag=drag)
        for reading in readings
        if reading.value_mm is None
    ]
    points = [
        Point(reading.value_mm, reading.u_mm or u_of[reading.method])
        for reading in readings
        if reading.value_mm is not None
    ]
    met = _meet_all(intervals)
    span = _span(intervals, points)
    through = any(point.value < 0 for point in points)
    if met is None or not _agree(points, met):
        return Combined(span, disagreeing=True, interpenetration=through)
    if not points:
        return Combined(met)
    # Equal uncertainties: the smaller value is the careful one, whatever the order.
    best = min(points, key=lambda point: (point.u, point.value))
    return Combined(span, best, interpenetration=through)


def _meet_all(intervals: Iterable[Interval]) -> Interval | None:
    met: Interval | None = Interval(Decimal("-Infinity"))
    for interval in intervals:
        met = met.meet(interval) if met else None
    return met


def _agree(points: Sequence[Point], met: Interval) -> bool:
    two = Decimal(2)
    near = all(
        (a.value - b.value) ** 2 < 4 * (a.u**2 + b.u**2)
        for index, a in enumerate(points)
        for b in points[index + 1 :]
    )
    return near and all(
        met.touches(p.value - two * p.u, p.value + two * p.u) for p in points
    )


def _span(intervals: Sequence[Interval], points: Sequence[Point]) -> Interval:
    """Return the range from the lowest to the highest thing any reading says."""
    lows = [i.low for i in intervals] + [p.value for p in points]
    highs = [i.high for i in intervals] + [p.value for p in points]
    closed = [high for high in highs if high is not None]
    return Interval(min(lows), max(closed) if len(closed) == len(highs) else None, True)

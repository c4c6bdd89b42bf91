"""One measurement as it was entered, and the interval or point it stands for."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from rules.terms import Method, Position, Side, Site

__all__ = ["Basis", "Interval", "Point", "Reading", "strip_interval"]

_ZERO = Decimal(0)


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


class Interval(NamedTuple):
    """Where a length lies: [low, high], or [low, high) when not ``closed``.

    ``high`` None means no upper end. A named tuple, like the others here and in
    ``rules.readings``: a check makes hundreds of them.
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


class Point(NamedTuple):
    """A value with its standard uncertainty."""

    value: Decimal
    u: Decimal


def strip_interval(reading: Reading, *, delta: Decimal, drag: Decimal) -> Interval:
    """Return the interval a strip reading stands for, never below zero.

    Slid freely at t1, held at t2: [t1 - delta, t2 + delta). Dragged at t:
    [t - drag, t + drag]. What is stated intersects. ``delta`` is the rule set's
    tolerance; the strips' own overrules it.
    """
    if reading.delta_mm is not None:
        delta = reading.delta_mm
    low, high = _ZERO, None
    if reading.passes_mm is not None:
        low = max(_ZERO, reading.passes_mm - delta)
    if reading.held_mm is not None:
        high = reading.held_mm + delta
    found = Interval(low, high)
    if reading.drags_mm is not None:
        low, high = reading.drags_mm - drag, reading.drags_mm + drag
        # Entry refuses strips out of order, so the two always meet.
        found = found.meet(Interval(max(_ZERO, low), high, closed=True)) or found
    return found

"""What the readings of a site say to any need: three thresholds instead of a verdict.

The readings of a unit do not change when its material does. So the decision rule of
``rules.judge`` is turned round once per site: from which need on the readings prove a
shortage, and up to which need they prove room. Trying a material is then a comparison.
A property test holds both ways of judging together.
"""

from dataclasses import dataclass
from decimal import Decimal

from rules.measured import Measured
from rules.readings import Combined
from rules.results import SiteCheck
from rules.terms import Position, Verdict

__all__ = ["Gauge", "gauge"]


@dataclass(slots=True)
class Gauge:
    """Thresholds of one site's readings, in mm; None: no need reaches it.

    A need above ``short_above`` or from ``short_from`` on is proven unmet, one up to
    ``shown_to`` is proven met. ``least_mm`` is the smallest length any position that
    counts shows.
    """

    check: SiteCheck
    positions: frozenset[Position | None]
    short_above: Decimal | None = None
    short_from: Decimal | None = None
    shown_to: Decimal | None = None
    least_mm: Decimal | None = None

    def verdict(self, need: Decimal | None) -> Verdict:
        """Return the verdict the readings give a need in mm (None: none stated)."""
        if need is None:
            return Verdict.UNDECIDED
        if self.short_above is not None and need > self.short_above:
            return Verdict.INSUFFICIENT
        if self.short_from is not None and need >= self.short_from:
            return Verdict.INSUFFICIENT
        if self.shown_to is not None and need <= self.shown_to:
            return Verdict.SUFFICIENT
        return Verdict.UNDECIDED


def gauge(measured: Measured, check: SiteCheck, k: Decimal) -> Gauge:
    """Return the thresholds of a site; ``k`` is the guard factor of the check.

    Missing positions and unfixed splits are the caller's: they depend on the line.
    """
    found = Gauge(check, frozenset(position for position, _c in measured.positions))
    shown: list[Decimal] = []
    for _position, combined in measured.positions:
        if combined.disagreeing or combined.interpenetration:
            continue
        shown.append(_take(found, combined, k))
        found.least_mm = _least(found.least_mm, combined.low)
    doubtful = measured.untouched or any(
        c.disagreeing or c.interpenetration or c.stale for _p, c in measured.positions
    )
    found.shown_to = min(shown) if shown and not doubtful else None
    return found


def _take(found: Gauge, combined: Combined, k: Decimal) -> Decimal:
    """Lower the thresholds by one position; return up to where it shows room."""
    point = combined.point
    if point is not None:
        guard = k * point.u
        found.short_above = _least(found.short_above, point.value + guard)
        return point.value - guard
    if combined.high is not None:
        found.short_from = _least(found.short_from, combined.high)
    return combined.low


def _least(one: Decimal | None, other: Decimal) -> Decimal:
    return other if one is None or other < one else one

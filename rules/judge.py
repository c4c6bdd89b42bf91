"""Judging one jaw position, and which position governs (design section 5).

The decision rule is that of JCGM 106:2012 and ISO 14253-1: for a point, sufficient
at or above need + g, insufficient below need - g, with the guard band g = k * u; in
between neither is proven. A strip interval proves by its ends.
"""

from collections.abc import Sequence
from decimal import Decimal
from statistics import NormalDist
from typing import NamedTuple

from rules.needs import Sharing, SiteNeed
from rules.readings import Combined, Interval
from rules.terms import Doubt, Position, Verdict

__all__ = [
    "PositionCheck",
    "chance",
    "conformance",
    "decide",
    "governing",
    "judge_position",
    "shortage",
]

_ZERO, _ONE = Decimal(0), Decimal(1)
_NORMAL = NormalDist()
_RANK = {Verdict.INSUFFICIENT: 0, Verdict.UNDECIDED: 1, Verdict.SUFFICIENT: 2}
_ORDER = {position: index for index, position in enumerate(Position)}


class PositionCheck(NamedTuple):
    """Verdict of one jaw position (None: a reduction or width has none)."""

    position: Position | None
    combined: Combined
    verdict: Verdict
    doubts: tuple[Doubt, ...]

    @property
    def contradicted(self) -> bool:
        """Whether no reading governs: they disagree or pass through the antagonist."""
        return self.combined.disagreeing or self.combined.interpenetration


def decide(combined: Combined, need: Decimal, k: Decimal) -> Verdict:
    """Return the verdict of agreeing readings against a need in mm."""
    point = combined.point
    if point is not None:
        guard = k * point.u
        if point.value >= need + guard:
            return Verdict.SUFFICIENT
        below = point.value < need - guard
        return Verdict.INSUFFICIENT if below else Verdict.UNDECIDED
    low, high, _closed = combined.interval
    if low >= need:
        return Verdict.SUFFICIENT
    if high is not None and high <= need:
        return Verdict.INSUFFICIENT
    return Verdict.UNDECIDED


def conformance(combined: Combined, need: Decimal) -> float | None:
    """Return the probability that the length conforms; None over an open interval.

    Normal about a point (JCGM 106, 7.3); uniform over a strip interval with two
    ends, clipped to [0, 1].
    """
    if combined.point is not None:
        point = combined.point
        return _NORMAL.cdf(float((point.value - need) / point.u))
    return _uniform(combined.interval, need)


def _uniform(interval: Interval, need: Decimal) -> float | None:
    if interval.high is None:
        return None
    width = interval.high - interval.low
    if width == 0:
        return 1.0 if interval.low >= need else 0.0
    return float(min(max((interval.high - need) / width, _ZERO), _ONE))


def judge_position(
    position: Position | None,
    combined: Combined,
    need: SiteNeed,
    k: Decimal,
    *,
    planned_plane: bool,
    untouched: bool = False,
) -> PositionCheck:
    """Judge one position by itself.

    Readings that disagree or pass through the antagonist leave it undecided, and so
    does a need that cannot be stated. Sufficient counts only on fresh readings, where
    the tooth has contact, and in a gap shared by two preparations once the clinician
    states that the split is fixed. A shortage on stale readings stands, but is marked:
    nothing is cut on it before it is measured again.
    """
    least = need.min_mm
    if least is None or combined.disagreeing or combined.interpenetration:
        doubts = _standing_doubts(combined, need)
        return PositionCheck(position, combined, Verdict.UNDECIDED, doubts)
    verdict = decide(combined, least, k)
    if verdict is Verdict.INSUFFICIENT:
        stale = (Doubt.STALE,) if combined.stale else ()
        return PositionCheck(position, combined, verdict, stale)
    found: list[Doubt] = []
    if verdict is Verdict.UNDECIDED:
        point = combined.point is not None
        found.append(Doubt.WITHIN_UNCERTAINTY if point else Doubt.INTERVAL_HOLDS_NEED)
    if need.sharing is Sharing.SUMMED and not planned_plane:
        found.append(Doubt.SPLIT_NOT_FIXED)
    if combined.stale:
        found.append(Doubt.STALE)
    if untouched:
        found.append(Doubt.NO_CONTACT)
    if found:
        return PositionCheck(position, combined, Verdict.UNDECIDED, tuple(found))
    return PositionCheck(position, combined, verdict, ())


def _standing_doubts(combined: Combined, need: SiteNeed) -> tuple[Doubt, ...]:
    found = {
        Doubt.INTERPENETRATION: combined.interpenetration,
        Doubt.DISAGREEMENT: combined.disagreeing,
        Doubt.NO_NEED: need.own is None,
        Doubt.FACING_NEED_UNKNOWN: need.sharing is Sharing.UNKNOWN,
    }
    return tuple(doubt for doubt, holds in found.items() if holds)


def governing(checks: Sequence[PositionCheck]) -> PositionCheck:
    """Return the position with the worst verdict, then smallest low, then order."""
    if len(checks) == 1:
        return checks[0]
    return min(
        checks,
        key=lambda check: (
            _RANK[check.verdict],
            check.combined.low,
            _ORDER[check.position] if check.position else 0,
        ),
    )


def chance(check: PositionCheck, need: SiteNeed) -> float | None:
    """Return a position's conformance probability; None where nothing governs."""
    if need.min_mm is None or check.contradicted:
        return None
    return conformance(check.combined, need.min_mm)


def shortage(check: PositionCheck, need: SiteNeed) -> tuple[Decimal, Decimal] | None:
    """Return [need - high, need - low] in mm, clipped at zero.

    None without a need and where readings contradict each other: neither governs, so
    nothing is known to be missing.
    """
    least, combined = need.min_mm, check.combined
    if least is None or check.contradicted:
        return None
    high = combined.high
    low = _ZERO if high is None else max(_ZERO, least - high)
    return low, max(_ZERO, least - combined.low)

"""Judging one site: positions, the decision rule, governance (design section 5).

The decision rule is that of JCGM 106:2012 and ISO 14253-1: for a point, sufficient
at or above need + g, insufficient below need - g, with the guard band g = k * u; in
between neither is proven. A strip interval proves by its ends.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from rules.needs import Sharing, SiteNeed
from rules.readings import Combined, Interval
from rules.terms import Doubt, Position, Verdict

__all__ = ["PositionCheck", "conformance", "decide", "governing", "judge_position"]

_NORMAL = NormalDist()
_RANK = {Verdict.INSUFFICIENT: 0, Verdict.UNDECIDED: 1, Verdict.SUFFICIENT: 2}
_ORDER = {position: index for index, position in enumerate(Position)}


@dataclass(frozen=True, slots=True)
class PositionCheck:
    """Verdict of one jaw position (None: a reduction or width has none)."""

    position: Position | None
    combined: Combined
    verdict: Verdict
    doubts: tuple[Doubt, ...]
    probability: float | None


def decide(combined: Combined, need: Decimal, k: Decimal) -> Verdict:
    """Return the verdict of agreeing readings against a need in mm."""
    point = combined.point
    if point is not None:
        guard = k * point.u
        if point.value >= need + guard:
            return Verdict.SUFFICIENT
        below = point.value < need - guard
        return Verdict.INSUFFICIENT if below else Verdict.UNDECIDED
    if combined.low >= need:
        return Verdict.SUFFICIENT
    if combined.high is not None and combined.high <= need:
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
    return float(min(max((interval.high - need) / width, Decimal(0)), Decimal(1)))


def judge_position(
    position: Position | None,
    combined: Combined,
    need: SiteNeed,
    k: Decimal,
    *,
    planned_plane: bool,
) -> PositionCheck:
    """Judge one position by itself.

    Readings that disagree or pass through the antagonist leave it undecided, and so
    does a need that cannot be stated. In a gap shared by two preparations sufficient
    counts only once the clinician states that the split is fixed.
    """
    doubts = _standing_doubts(combined, need)
    if doubts or need.min_mm is None:
        return PositionCheck(position, combined, Verdict.UNDECIDED, doubts, None)
    verdict = decide(combined, need.min_mm, k)
    if verdict is Verdict.UNDECIDED:
        point = combined.point is not None
        doubts = (Doubt.WITHIN_UNCERTAINTY if point else Doubt.INTERVAL_HOLDS_NEED,)
    unfixed = need.sharing is Sharing.SUMMED and not planned_plane
    if verdict is not Verdict.INSUFFICIENT and unfixed:
        verdict, doubts = Verdict.UNDECIDED, (*doubts, Doubt.SPLIT_NOT_FIXED)
    probability = conformance(combined, need.min_mm)
    return PositionCheck(position, combined, verdict, doubts, probability)


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
    return min(
        checks,
        key=lambda check: (
            _RANK[check.verdict],
            check.combined.low,
            _ORDER[check.position] if check.position else 0,
        ),
    )

"""Control charts of a proportion: the p chart, and Laney's p' chart of many cases.

Neither scipy nor statsmodels offers control charts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAST_POINTS", "Limits", "grouping", "laney", "p_chart"]

# An isolated point, however far out, lifts the mean moving range of its own chart: of k
# points it can pass three sigma only where (k - 1)**2 / k > 6 / 1.128, that is from
# eight on. Ten leaves it some room, and leaves a year less two incomplete months usable.
LEAST_POINTS: Final = 10
# d2 of two observations: the mean range of two standard normal values, 2 / sqrt(pi).
# 1.128 as Laney and the tables of control chart constants print it.
_D2: Final = 1.128
_LEAST_EXPECTED: Final = 5


@dataclass(frozen=True, slots=True)
class Limits:
    """A chart's centre and limits, as fractions of 1.

    ``bounds`` holds (lower, upper) of each point, floored at 0 and capped at 1; None
    where a point has no cases. ``signals``: "", "above" or "below", on or beyond the
    limits before they were floored; "" for points that are not complete.
    """

    centre: float
    sigma_z: float
    bounds: tuple[tuple[float, float] | None, ...]
    signals: tuple[str, ...]


def p_chart(
    points: Sequence[tuple[int, int]], complete: Sequence[bool]
) -> Limits | None:
    """Return the limits of (count, n) by the binomial alone: ``laney``'s, sigma_z 1.

    None where no complete point has cases, or where they are all alike (0 or all).

    Source: Montgomery, Introduction to Statistical Quality Control, chapter on
    attributes; NIST/SEMATECH e-Handbook, pmc332.
    """
    usable = _usable(points, complete)
    centre = _centre(points, usable)
    if centre is None:
        return None
    return _limits(points, complete, centre, 1.0)


def laney(points: Sequence[tuple[int, int]], complete: Sequence[bool]) -> Limits | None:
    """Return the limits of (count, n) widened by how much points vary in fact.

    sigma_z is the mean moving range of the standardised points over 1.128, so it is 1
    where the binomial explains their variation. Centre and sigma_z come from complete
    points with cases; incomplete ones get limits, never a signal. None below
    ``LEAST_POINTS`` such points, or where the count is 0, or all, everywhere.

    Source: Laney, Improved control charts for attributes, Quality Engineering
    2002;14:531-537 (from memory); the moving range as on Minitab's page on
    overdispersion.
    """
    usable = _usable(points, complete)
    centre = _centre(points, usable)
    if centre is None or len(usable) < LEAST_POINTS:
        return None
    counts, n = np.array([points[i] for i in usable], dtype=float).T
    z = (counts / n - centre) / _sigma(n, centre)
    sigma_z = float(np.abs(np.diff(z)).mean()) / _D2
    return _limits(points, complete, centre, sigma_z)


def grouping(months: Sequence[tuple[int, int]]) -> str:
    """Return "month", "quarter" or "half_year": how many months make one point.

    The shortest for which a point holds five expected remakes on average, below which
    the limits' normal approximation is poor (Montgomery, as for ``p_chart``, on
    choosing n; from memory). Half years where even they hold less.
    """
    expected = sum(count for count, _ in months) / max(1, len(months))
    if expected >= _LEAST_EXPECTED:
        return "month"
    if 3 * expected >= _LEAST_EXPECTED:
        return "quarter"
    return "half_year"


def _usable(
    points: Sequence[tuple[int, int]], complete: Sequence[bool]
) -> tuple[int, ...]:
    return tuple(
        i
        for i, ((_, n), whole) in enumerate(zip(points, complete, strict=True))
        if whole and n > 0
    )


def _centre(points: Sequence[tuple[int, int]], usable: tuple[int, ...]) -> float | None:
    count = sum(points[i][0] for i in usable)
    n = sum(points[i][1] for i in usable)
    return count / n if 0 < count < n else None


def _sigma(n: NDArray[np.float64], centre: float) -> NDArray[np.float64]:
    return np.sqrt(centre * (1 - centre) / n)


def _limits(
    points: Sequence[tuple[int, int]],
    complete: Sequence[bool],
    centre: float,
    sigma_z: float,
) -> Limits:
    bounds: list[tuple[float, float] | None] = []
    signals: list[str] = []
    for (count, n), whole in zip(points, complete, strict=True):
        if n == 0:
            bounds.append(None)
            signals.append("")
            continue
        reach = 3 * sigma_z * float(_sigma(np.array(n, dtype=float), centre))
        bounds.append((max(0.0, centre - reach), min(1.0, centre + reach)))
        signals.append(_signal(count / n - centre, reach) if whole else "")
    return Limits(centre, sigma_z, tuple(bounds), tuple(signals))


def _signal(off: float, reach: float) -> str:
    # Points that do not vary at all have no reach, and nothing to signal.
    if reach < 1e-9 or abs(off) < reach:
        return ""
    return "above" if off > 0 else "below"

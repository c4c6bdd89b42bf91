"""Clinics against a common rate: limits of a funnel plot and overdispersion.

Neither scipy nor statsmodels offers funnel plots; the binomial is scipy's.
Source of all: Spiegelhalter, Funnel plots for comparing institutional performance,
Stat Med 2005;24:1185-1202.
"""

from collections.abc import Sequence
from math import sqrt
from typing import Final

import numpy as np
from scipy.stats import binom, binomtest

__all__ = [
    "LEAST_CLINICS",
    "limits",
    "overdispersed",
    "overdispersion",
    "p_value",
    "place",
]

# From so many points on the outer tenths hold a whole one each, and what stands out no
# longer makes up the spread it is judged by; of three, one far out is the spread. (The
# source winsorises by tenths and names no least number; this one is ours.)
LEAST_CLINICS: Final = 10


def limits(n: int, target: float, q: float) -> float:
    """Return the rate whose chance to stay below is ``q`` if the true one is ``target``.

    Exact binomial, interpolated between whole cases: with r the smallest count whose
    cumulative chance F reaches q, (r - (F(r) - q) / (F(r) - F(r - 1))) / n; not below 0.
    The target itself where it is 0 or 1. (The interpolation of the source's appendix A,
    from memory; others exist: doi 10.1371/journal.pone.0045723.)

    Raises:
        ValueError: ``n`` is not positive: there is no rate of nothing.
    """
    if n < 1:
        raise ValueError("a funnel begins at one case")
    if not 0 < target < 1:
        return target
    r = int(binom.ppf(q, n, target))
    reached, before = (float(one) for one in binom.cdf([r, r - 1], n, target))
    return max(0.0, (r - (reached - q) / (reached - before)) / n)


def place(count: int, n: int, target: float) -> str:
    """Return where a clinic lies: inside, or beyond the 95 % or 99.8 % limits.

    One of "inside", "above_95", "above_998", "below_95", "below_998"; on a limit is
    inside. Agrees with the lines drawn, which single whole counts can pass a little
    more often than nominally: ``p_value`` is the exact test.
    """
    if n < 1:
        return "inside"
    rate = count / n
    if rate > limits(n, target, 0.975):
        return "above_998" if rate > limits(n, target, 0.999) else "above_95"
    if rate < limits(n, target, 0.025):
        return "below_998" if rate < limits(n, target, 0.001) else "below_95"
    return "inside"


def p_value(count: int, n: int, target: float) -> float | None:
    """Return the exact two-sided p of ``count`` of ``n`` at the rate ``target``.

    Twice the smaller tail, at most 1. None where there are no cases or the target is 0
    or 1. By scipy (``binomtest``).
    """
    if n < 1 or not 0 < target < 1:
        return None
    tails = (
        binomtest(count, n, target, alternative=side).pvalue
        for side in ("less", "greater")
    )
    return min(1.0, 2 * float(min(tails)))


def overdispersion(points: Sequence[tuple[int, int]], target: float) -> float | None:
    """Return phi: the mean square of the standardised (count, n); 1 is the binomial.

    Winsorised: what lies beyond the 10 % and 90 % quantiles counts as they do, so that
    the clinics looked for do not hide themselves. Under the binomial it is therefore
    rather below 1. None with fewer than two clinics with cases, or a target of 0 or 1.
    """
    used = [(count, n) for count, n in points if n > 0]
    if len(used) < 2 or not 0 < target < 1:
        return None
    counts, n = np.array(used, dtype=float).T
    z = (counts / n - target) / np.sqrt(target * (1 - target) / n)
    return float(np.mean(np.clip(z, *np.quantile(z, [0.1, 0.9])) ** 2))


def overdispersed(phi: float, clinics: int) -> bool:
    """Say whether phi is more than chance: above 1 + 2 * sqrt(2 / clinics).

    Two standard errors of phi, as the source advises (from memory).
    """
    return phi > 1 + 2 * sqrt(2 / clinics)

"""Intervals of a proportion and of the difference of two."""

from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

__all__ = ["difference", "wilson"]


def wilson(count: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the Wilson score interval of ``count`` of ``n``, without continuity term.

    Of nothing nothing is known: n = 0 gives (0, 1). At ``count`` 0 or n the outer end
    is exactly 0 or 1.

    Source: Newcombe, Stat Med 1998;17:857-872, method 3; by statsmodels.
    """
    if n == 0:
        return 0.0, 1.0
    low, high = proportion_confint(count, n, alpha=1 - confidence, method="wilson")
    return (
        0.0 if count == 0 else float(low),
        1.0 if count == n else float(high),
    )


def difference(
    count: int, n: int, other_count: int, other_n: int, confidence: float = 0.95
) -> tuple[float, float] | None:
    """Return the interval of count/n less other_count/other_n; None when an n is 0.

    Source: Newcombe, Stat Med 1998;17:873-890, method 10 (from two Wilson intervals);
    by statsmodels.
    """
    if n == 0 or other_n == 0:
        return None
    low, high = confint_proportions_2indep(
        count,
        n,
        other_count,
        other_n,
        method="newcomb",
        compare="diff",
        alpha=1 - confidence,
    )
    return float(low), float(high)

"""Repeatability of a measuring method: the arithmetic of a study.

Repeatability conditions of ISO 5725-1: the same method on the same object by the
same person with the same instrument, within a short time. All lengths are mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import mean, stdev

from scipy.special import chdtri

__all__ = ["LEAST_VALUES", "MOST_VALUES", "Repeatability", "repeatability"]

# With ten values the 95 % upper limit of the standard deviation is 1.6 times the
# estimate, with five it is 2.4 times: fewer than ten say too little.
LEAST_VALUES = 10
MOST_VALUES = 60
_ONE_SIDED = 0.95
_TWELVE = Decimal(12)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What repeated measurements of one object say, unrounded.

    ``repeatability_mm`` is the repeatability standard deviation s_r,
    ``upper_mm`` its one-sided 95 % upper confidence limit, ``bias_mm`` mean less
    reference (None without reference), ``u_mm`` the standard uncertainty
    sqrt(s_r^2 + bias^2 + resolution^2 / 12).
    """

    count: int
    mean_mm: Decimal
    repeatability_mm: Decimal
    upper_mm: Decimal
    bias_mm: Decimal | None
    u_mm: Decimal


def repeatability(
    values: Sequence[Decimal],
    *,
    reference_mm: Decimal | None = None,
    resolution_mm: Decimal | None = None,
) -> Repeatability:
    """Compute s_r, its upper limit, bias and u from at least two values.

    The bias stays in u because readings are not corrected for it. A resolution is
    a rectangular distribution of that width: its variance is resolution^2 / 12
    (JCGM 100:2008, F.2.2.1). The upper limit is s_r * sqrt((n - 1) / q) with q the
    5 % quantile of chi-square for n - 1 degrees of freedom.
    """
    middle, spread = mean(values), stdev(values)
    degrees = len(values) - 1
    # chdtri takes the upper tail.
    quantile = float(chdtri(degrees, _ONE_SIDED))
    bias = None if reference_mm is None else middle - reference_mm
    variance = spread**2 + (bias or Decimal(0)) ** 2
    if resolution_mm is not None:
        variance += resolution_mm**2 / _TWELVE
    return Repeatability(
        count=len(values),
        mean_mm=middle,
        repeatability_mm=spread,
        upper_mm=spread * (Decimal(degrees) / Decimal(repr(quantile))).sqrt(),
        bias_mm=bias,
        u_mm=variance.sqrt(),
    )

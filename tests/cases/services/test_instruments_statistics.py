"""The arithmetic of a repeatability study against certified results and scipy."""

from decimal import Decimal
from math import isclose, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cases.services.instruments_statistics import repeatability

# NIST Statistical Reference Datasets, univariate summary statistics, "Mavro":
# 50 transmittance values of a filter (R. Mavrodineanu); values and certified mean and
# standard deviation of https://www.itl.nist.gov/div898/strd/univ/mavro.html.
MAVRO = """
2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150
2.00170 2.00180 2.00180 2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130
2.00130 2.00150 2.00150 2.00160 2.00150 2.00140 2.00130 2.00140 2.00150 2.00140
2.00150 2.00160 2.00150 2.00160 2.00190 2.00200 2.00200 2.00210 2.00220 2.00230
2.00240 2.00250 2.00270 2.00260 2.00260 2.00260 2.00270 2.00260 2.00250 2.00240
"""
MAVRO_MEAN, MAVRO_SD = Decimal("2.00185600000000"), Decimal("0.000429123454003053")
# The same collection's NumAcc4: 10000000.2, then 10000000.1 and 10000000.3 by turns,
# 1001 values; certified mean 10000000.2 and standard deviation exactly 0.1.
NUMACC4 = ["10000000.2", *["10000000.1", "10000000.3"] * 500]


def decimals(texts: list[str]) -> list[Decimal]:
    return [Decimal(text) for text in texts]


def test_mean_and_spread_are_the_certified_ones():
    found = repeatability(decimals(MAVRO.split()))

    assert found.count == 50
    assert found.mean_mm == MAVRO_MEAN
    # 15 digits are certified.
    assert abs(found.repeatability_mm - MAVRO_SD) < Decimal("1e-18")


def test_digits_are_not_lost_beside_a_large_mean():
    found = repeatability(decimals(NUMACC4))

    assert (found.mean_mm, found.repeatability_mm) == (
        Decimal("10000000.2"),
        Decimal("0.1"),
    )


@pytest.mark.parametrize(
    ("count", "factor"),
    [
        # sqrt((n - 1) / chi-square 5 % quantile); quantiles 3.325 (9) and 10.117 (19)
        # of the usual printed tables.
        (10, sqrt(9 / 3.325)),
        (20, sqrt(19 / 10.117)),
    ],
)
def test_the_upper_limit_agrees_with_printed_tables(count: int, factor: float):
    values = decimals(["1.0", "1.1"] * (count // 2))
    found = repeatability(values)

    assert isclose(found.upper_mm / found.repeatability_mm, factor, rel_tol=1e-3)


def test_bias_and_resolution_add_as_variances():
    # 3-4-5: spread 0 but for the resolution; bias 0.04, resolution sqrt(12) * 0.03.
    values = decimals(["1.54"] * 10)
    found = repeatability(
        values,
        reference_mm=Decimal("1.5"),
        resolution_mm=Decimal("0.03") * Decimal(12).sqrt(),
    )

    assert found.repeatability_mm == 0
    assert found.bias_mm == Decimal("0.04")
    assert isclose(found.u_mm, 0.05)


def test_without_reference_there_is_no_bias():
    found = repeatability(decimals(["1.5", "1.6"] * 5))

    assert found.bias_mm is None
    assert found.u_mm == found.repeatability_mm


@pytest.mark.property
@given(
    st.lists(
        st.decimals("0.5", "3.0", places=2, allow_nan=False), min_size=10, max_size=60
    ).filter(lambda values: len(set(values)) > 1)  # scipy warns of equal ones
)
def test_scipy_says_the_same(values: list[Decimal]):
    found = repeatability(values, reference_mm=Decimal("1.5"))
    floats = [float(value) for value in values]
    spread = float(stats.tstd(floats))

    assert isclose(found.mean_mm, stats.tmean(floats), rel_tol=1e-12)
    assert isclose(found.repeatability_mm, spread, rel_tol=1e-9, abs_tol=1e-12)
    n = len(values)
    limit = spread * sqrt((n - 1) / stats.chi2.ppf(0.05, n - 1))
    assert isclose(found.upper_mm, limit, rel_tol=1e-9, abs_tol=1e-12)
    assert isclose(
        found.u_mm,
        sqrt(spread**2 + (stats.tmean(floats) - 1.5) ** 2),
        rel_tol=1e-9,
        abs_tol=1e-12,
    )

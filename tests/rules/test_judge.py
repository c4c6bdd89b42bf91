"""The decision rule against published examples and an independent normal law.

scipy.stats is the second opinion; the core itself uses the standard library.
"""

from decimal import Decimal as D

import pytest
from scipy import stats

from rules.judge import conformance, decide
from rules.readings import Combined, Interval, Point
from rules.terms import Verdict

K95 = D("1.645")


def at_point(value, u):
    return Combined(Interval(D(value), D(value), True), Point(D(value), D(u)))


def chance(reading, need) -> float:
    """Return a conformance probability that must exist."""
    found = conformance(reading, D(need))
    assert found is not None
    return found


def between(low, high):
    return Combined(Interval(D(low), None if high is None else D(high)))


# JCGM 106:2012, 7.3.3 example 2 (lower limit; bursting strength of a container):
# y 509.7 kPa, u 8.6, T_L 490: published 0.99. Inputs and result from memory, the
# clause corroborated by the contents list of UKAS LAB 48.
def test_jcgm_106_lower_limit_example():
    found = chance(at_point("509.7", "8.6"), 490)
    assert round(found, 2) == 0.99
    assert found == pytest.approx(stats.norm.cdf((509.7 - 490) / 8.6), abs=1e-12)
    assert found == pytest.approx(0.989010, abs=1e-6)


# JCGM 106:2012, 7.3.3 example 1 (upper limit; breakdown voltage of a diode):
# y -5.47 V, u 0.05, T_U -5.40: published 0.92. Mirrored, an upper limit is a lower
# one. From memory, the clause corroborated as above.
def test_jcgm_106_upper_limit_example_mirrored():
    found = chance(at_point("5.47", "0.05"), "5.40")
    assert round(found, 2) == 0.92
    assert found == pytest.approx(0.919243, abs=1e-6)


# JCGM 106:2012, 7.4 (two limits; oil viscosity): y 13.6, u 1.8, limits 12.5 and
# 16.3: published 0.66. Two one-sided probabilities. From memory.
def test_jcgm_106_two_limits_example():
    reading = at_point("13.6", "1.8")
    above = chance(reading, "12.5")
    beyond = chance(reading, "16.3")
    # Phi(-1.5) is what lies above the upper limit, by symmetry.
    found = above - beyond
    exact = stats.norm.cdf(1.5) - stats.norm.cdf(-1.1 / 1.8)
    assert found == pytest.approx(exact, abs=1e-12)
    assert round(found, 2) == 0.66


# JCGM 106:2012, Table 1 (one-sided z for a conformance probability; from memory).
@pytest.mark.parametrize(
    ("z", "probability"),
    [("0.84", 0.80), ("1.28", 0.90), ("1.64", 0.95), ("2.33", 0.99), ("3.09", 0.999)],
)
def test_jcgm_106_table_of_z(z, probability):
    found = conformance(at_point(z, "1"), D(0))
    assert found == pytest.approx(probability, abs=1e-3)


# The same law in millimetres, recomputed with scipy; guard band by ISO 14253-1:2017
# (95 % one-sided, g = 1.6449 u; factor from memory).
MILLIMETRES = [
    ("1.60", "0.05", 0.977250, "sufficient"),
    ("1.55", "0.05", 0.841345, "undecided"),
    ("1.50", "0.05", 0.500000, "undecided"),
    ("1.45", "0.05", 0.158655, "undecided"),
    ("1.62", "0.10", 0.884930, "undecided"),
    ("1.30", "0.10", 0.022750, "insufficient"),
]


@pytest.mark.parametrize(("y", "u", "probability", "verdict"), MILLIMETRES)
def test_a_need_of_one_and_a_half_millimetres(y, u, probability, verdict):
    reading = at_point(y, u)
    assert conformance(reading, D("1.5")) == pytest.approx(probability, abs=1e-6)
    expected = stats.norm.cdf((float(y) - 1.5) / float(u))
    assert conformance(reading, D("1.5")) == pytest.approx(expected, abs=1e-12)
    assert decide(reading, D("1.5"), K95) == verdict


def test_the_default_k_is_the_95_percent_quantile():
    assert float(K95) == pytest.approx(stats.norm.ppf(0.95), abs=2e-4)


@pytest.mark.parametrize(
    ("y", "k", "verdict"),
    [
        ("1.5822", "1.6449", "undecided"),
        ("1.58225", "1.6449", "sufficient"),
        ("1.58", "1.6", "sufficient"),
        ("1.42", "1.6", "undecided"),
        ("1.4199", "1.6", "insufficient"),
        ("1.5", "0", "sufficient"),
        ("1.4999", "0", "insufficient"),
    ],
)
def test_the_ends_of_the_guard_band(y, k, verdict):
    # 1.6449 * 0.05 = 0.082245, the acceptance limit 1.5822 of the table above.
    assert decide(at_point(y, "0.05"), D("1.5"), D(k)) == verdict


# Uniform over a strip interval: p = (t2 - T) / (t2 - t1), clipped (by definition).
@pytest.mark.parametrize(
    ("low", "high", "need", "probability", "verdict"),
    [
        ("1.0", "1.5", "1.2", 0.6, "undecided"),
        ("1.5", "2.0", "1.5", 1.0, "sufficient"),
        ("1.0", "1.5", "1.5", 0.0, "insufficient"),
        ("0", "1.0", "1.5", 0.0, "insufficient"),
        ("2.0", "2.5", "1.5", 1.0, "sufficient"),
        ("1.5", None, "1.5", None, "sufficient"),
        ("1.0", None, "1.5", None, "undecided"),
    ],
)
def test_strip_intervals(low, high, need, probability, verdict):
    reading = between(low, high)
    assert decide(reading, D(need), K95) == verdict
    found = conformance(reading, D(need))
    if probability is None:
        assert found is None
    else:
        assert found == pytest.approx(probability)
        if low != high and 0 < probability < 1:
            width = float(high) - float(low)
            law = stats.uniform(float(low), width)
            assert found == pytest.approx(law.sf(float(need)))


def test_an_interval_of_no_width_is_certain():
    nothing = Combined(Interval(D("1.5"), D("1.5"), True))
    assert conformance(nothing, D("1.5")) == 1.0
    assert conformance(nothing, D("1.51")) == 0.0
    assert decide(nothing, D("1.5"), K95) is Verdict.SUFFICIENT

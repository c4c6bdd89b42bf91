"""Wilson and Newcombe intervals against published examples and a second library."""

import pytest
from scipy.stats import binomtest

from cases.audit.intervals import difference, wilson

# Newcombe, Stat Med 1998;17:857-872, worked examples of the comparison of seven methods:
# (count, n), method 3 (Wilson), 4 (with continuity correction), 5 (Clopper-Pearson).
# From memory, to four decimals; recomputed equal by scipy below.
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2535, 0.3682), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0598, 0.1644), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.2005), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0018, 0.1963), (0.0009, 0.1776)),
    (29, 29, (0.8830, 1.0), (0.8544, 1.0), (0.8806, 1.0)),
]
# Computed from (p + z2/2n -+ z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n), z 1.959964, for
# the first five again in full, and for rates of the trade: 143 of 3,750 crowns rejected
# (3.8 %, PMC7005880), 167 of 3,308 insufficiently reduced (PMC7147961, table 3).
WILSON = [
    (81, 263, 0.255289, 0.366210),
    (15, 148, 0.062386, 0.160487),
    (0, 20, 0, 0.161125),
    (1, 29, 0.006113, 0.171755),
    (29, 29, 0.883030, 1),
    (143, 3750, 0.032461, 0.044751),
    (167, 3308, 0.043530, 0.058480),
    (5, 100, 0.021544, 0.111750),
    (2, 12, 0.046965, 0.448031),
    (0, 50, 0, 0.071348),
]


@pytest.mark.parametrize(("count", "n", "low", "high"), WILSON)
def test_wilson_interval(count, n, low, high):
    assert wilson(count, n) == pytest.approx((low, high), abs=5e-7)


@pytest.mark.parametrize(("count", "n", "plain", "corrected", "exact"), NEWCOMBE)
def test_newcombes_examples(count, n, plain, corrected, exact):
    assert wilson(count, n) == pytest.approx(plain, abs=5.1e-5)
    test = binomtest(count, n)
    for method, ends in [("wilson", plain), ("wilsoncc", corrected), ("exact", exact)]:
        assert tuple(test.proportion_ci(method=method)) == pytest.approx(
            ends, abs=5.1e-5
        )


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [(143, 3750, 0.032233, 0.044767), (81, 263, 0.252737, 0.367622)],
)
def test_wilson_lies_near_the_exact_interval(count, n, low, high):
    # Clopper-Pearson, computed by scipy; Wilson's is the narrower of the two.
    exact = tuple(binomtest(count, n).proportion_ci(method="exact"))
    assert exact == pytest.approx((low, high), abs=5e-7)
    assert exact[0] < wilson(count, n)[0] < count / n < wilson(count, n)[1] < exact[1]


@pytest.mark.parametrize("n", [1, 2, 7, 40])
def test_wilson_agrees_with_scipy_everywhere(n):
    for count in range(n + 1):
        theirs = binomtest(count, n).proportion_ci(0.99, method="wilson")
        assert wilson(count, n, 0.99) == pytest.approx(tuple(theirs), abs=1e-12)


def test_the_ends_are_exact_and_nothing_is_known_of_nothing():
    assert wilson(0, 3)[0] == 0
    assert wilson(3, 3)[1] == 1
    assert wilson(0, 0) == (0, 1)


@pytest.mark.parametrize(
    ("count", "n", "other", "other_n", "low", "high"),
    [
        # Newcombe, Stat Med 1998;17:873-890, table II, method 10 (from memory).
        (56, 70, 48, 80, 0.0524, 0.3339),
        (9, 10, 3, 10, 0.1705, 0.8090),
        (10, 10, 0, 10, 0.6075, 1.0),
        (5, 56, 0, 29, -0.0381, 0.1926),
    ],
)
def test_difference_of_two_proportions(count, n, other, other_n, low, high):
    assert difference(count, n, other, other_n) == pytest.approx((low, high), abs=6e-5)


def test_no_difference_from_nothing():
    assert difference(0, 0, 1, 2) is None
    assert difference(1, 2, 0, 0) is None
    assert difference(0, 5, 0, 5) is not None
    assert difference(5, 5, 5, 5) is not None

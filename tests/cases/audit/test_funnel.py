"""Funnel limits against a table computed by hand, and how often they are passed."""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import binom, norm

from cases.audit.funnel import limits, overdispersed, overdispersion, p_value, place
from tests.cases.audit.present import present

# Interpolated exact binomial limits (Spiegelhalter, Stat Med 2005;24:1185-1202,
# appendix A) of a rate of 3.8 %, the share of crowns rejected in PMC7005880: the limits
# at 0.001, 0.025, 0.975 and 0.999, in brackets the smallest count that reaches each.
TABLE = {
    50: ((0, 0), (0, 0), (0.09075, 5), (0.13592, 7)),
    100: ((0, 0), (0.00052, 1), (0.07523, 8), (0.10466, 11)),
    200: ((0.00083, 1), (0.01111, 3), (0.06418, 13), (0.08361, 17)),
    500: ((0.01331, 7), (0.02107, 11), (0.05466, 28), (0.06589, 33)),
    1000: ((0.02018, 21), (0.02610, 27), (0.04979, 50), (0.05748, 58)),
}
QUANTILES = (0.001, 0.025, 0.975, 0.999)


@pytest.mark.parametrize("n", TABLE)
def test_limits(n):
    for q, (limit, count) in zip(QUANTILES, TABLE[n], strict=True):
        assert limits(n, 0.038, q) == pytest.approx(limit, abs=5.1e-6)
        assert binom.ppf(q, n, 0.038) == count
        # Interpolated between that count and the one before it.
        assert max(0, count - 1) / n <= limits(n, 0.038, q) <= count / n


def test_the_normal_approximation_is_too_narrow_above():
    error = sqrt(0.038 * 0.962 / 100)
    approximate = [0.038 + norm.ppf(q) * error for q in QUANTILES]
    assert approximate == pytest.approx(
        [-0.02108, 0.00053, 0.07547, 0.09708], abs=5.1e-6
    )
    # At 99.8 %, where it matters, by more than half a percentage point.
    assert limits(100, 0.038, 0.999) > approximate[3] + 0.005


def test_limits_close_around_the_target():
    for q in QUANTILES:
        off = [abs(limits(n, 0.038, q) - 0.038) for n in (200, 2_000, 200_000)]
        assert off == sorted(off, reverse=True)
        assert off[2] < 0.002


def test_limits_without_a_rate():
    assert limits(40, 0.0, 0.999) == 0
    assert limits(40, 1.0, 0.001) == 1
    with pytest.raises(ValueError, match="one case"):
        limits(0, 0.038, 0.999)


@pytest.mark.parametrize(
    ("count", "n", "where"),
    [
        (38, 1000, "inside"),
        (49, 1000, "inside"),
        (50, 1000, "above_95"),
        (57, 1000, "above_95"),
        (58, 1000, "above_998"),
        (27, 1000, "inside"),
        (26, 1000, "below_95"),
        (20, 1000, "below_998"),
        (0, 50, "inside"),
        (0, 0, "inside"),
    ],
)
def test_place(count, n, where):
    assert place(count, n, 0.038) == where


def test_all_at_a_target_of_none_are_inside():
    assert place(0, 20, 0.0) == "inside"
    assert place(20, 20, 1.0) == "inside"


@pytest.mark.parametrize("n", [50, 100, 500, 2000])
def test_how_often_a_clinic_at_the_target_is_placed_outside(n):
    counts = np.arange(n + 1)
    chances = binom.pmf(counts, n, 0.038)
    far = [place(int(c), n, 0.038).endswith("_998") for c in counts]
    out = [place(int(c), n, 0.038) != "inside" for c in counts]
    # Whole counts: interpolated limits let each end pass up to one count more often
    # than nominally (doi 10.1371/journal.pone.0045723).
    one_count_more = 2 * float(chances[list(far)].max())
    assert chances[far].sum() <= 0.002 + one_count_more
    assert chances[out].sum() <= 0.05 + 2 * float(chances[out].max())
    # The exact test never cries out more often than it says.
    p = np.array([p_value(int(c), n, 0.038) for c in counts])
    for level in (0.05, 0.002):
        assert chances[p <= level].sum() <= level


def test_exact_p_is_twice_the_smaller_tail():
    assert p_value(8, 100, 0.038) == pytest.approx(2 * binom.sf(7, 100, 0.038))
    assert p_value(0, 100, 0.038) == pytest.approx(2 * 0.962**100)
    assert p_value(4, 100, 0.038) == 1
    assert p_value(0, 0, 0.038) is None
    assert p_value(0, 10, 0.0) is None
    assert p_value(10, 10, 1.0) is None


def test_overdispersion_by_hand():
    # Target one half, 100 cases each: z is (count - 50) / 5, so -2, -1, 0, 1, 2; the
    # quantiles at 10 % and 90 % of these five lie at -1.6 and 1.6.
    points = [(40, 100), (45, 100), (50, 100), (55, 100), (60, 100)]
    by_hand = (2 * 1.6**2 + 2 * 1.0) / 5
    assert overdispersion(points, 0.5) == pytest.approx(by_hand)


def test_overdispersion_of_alike_and_of_different_clinics():
    random = np.random.default_rng(2)
    n = random.integers(50, 500, 300)
    alike = random.binomial(n, 0.05)
    own = random.beta(0.05 * 30, 0.95 * 30, 300)
    different = random.binomial(n, own)
    few, many = (
        present(overdispersion(list(zip(c.tolist(), n.tolist(), strict=True)), 0.05))
        for c in (alike, different)
    )
    # Winsorised, a standard normal has a mean square of 0.70 (integral by numpy).
    z = random.standard_normal(1_000_000)
    expected = float(np.mean(np.clip(z, -norm.ppf(0.9), norm.ppf(0.9)) ** 2))
    assert few == pytest.approx(expected, abs=0.12)
    assert not overdispersed(few, 300)
    assert many > 3
    assert overdispersed(many, 300)


def test_one_clinic_far_out_does_not_hide_itself():
    points = [(4, 100), (5, 100), (6, 100), (5, 100)] * 5
    with_it = present(overdispersion([*points, (40, 100)], 0.05))
    assert not overdispersed(with_it, 21)


def test_overdispersion_of_nothing_to_compare():
    assert overdispersion([], 0.05) is None
    assert overdispersion([(3, 40), (0, 0)], 0.05) is None
    assert overdispersion([(0, 40), (0, 50)], 0.0) is None
    assert overdispersion([(40, 40), (50, 50)], 1.0) is None

"""Control charts against textbook data, and Laney's on data that vary more or less."""

from statistics import mean

import numpy as np
import pytest

from cases.audit.control_chart import LEAST_POINTS, grouping, laney, p_chart
from tests.cases.audit.present import present

# Montgomery, Introduction to Statistical Quality Control: frozen juice cans, 30 samples
# of 50; also the wafer example of the NIST/SEMATECH e-Handbook, pmc332 (counts from
# memory; their mean of 0.2313 is published).
JUICE = [
    *(12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22),
    *(8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6),
]
# Montgomery: purchase orders with errors, samples of different size (from memory).
ORDERED = [
    *(100, 80, 80, 100, 110, 110, 100, 100, 90, 90, 110, 120, 120),
    *(120, 110, 80, 80, 80, 90, 100, 100, 100, 100, 90, 90),
]
FAULTY = [
    *(12, 8, 6, 9, 10, 12, 11, 16, 10, 6, 20, 15, 9),
    *(8, 6, 8, 10, 7, 5, 8, 5, 8, 10, 6, 9),
]
CANS = [(count, 50) for count in JUICE]
ORDERS = list(zip(FAULTY, ORDERED, strict=True))
ALL = [True] * 40


def signals(limits):
    return {i + 1: one for i, one in enumerate(limits.signals) if one}


def test_p_chart_of_the_juice_cans():
    assert sum(JUICE) == 347
    limits = present(p_chart(CANS, ALL[:30]))
    assert limits.centre == pytest.approx(0.231333, abs=5e-7)
    assert limits.bounds[0] == pytest.approx((0.052428, 0.410239), abs=5e-7)
    assert signals(limits) == {15: "above", 23: "above"}


def test_points_left_out_do_not_move_the_limits():
    # As in the book: samples 15 and 23 are explained and dropped, then 21 is out.
    kept = [i not in {14, 22} for i in range(30)]
    limits = present(p_chart(CANS, kept))
    assert limits.centre == pytest.approx(0.2150, abs=5e-7)
    assert limits.bounds[0] == pytest.approx((0.040703, 0.389297), abs=5e-7)
    assert signals(limits) == {21: "above"}
    assert limits.bounds[14] == limits.bounds[0]


def test_p_chart_of_exercise_6_1():
    # Montgomery, exercise 6-1: 20 samples of 100, 117 faults, 15 of them in sample 12,
    # which is out; without it 102 of 1,900. How the 102 divide does not matter here.
    rest = [6] * 7 + [5] * 12
    points = [(count, 100) for count in (*rest[:11], 15, *rest[11:])]
    limits = present(p_chart(points, ALL[:20]))
    assert limits.centre == pytest.approx(0.0585, abs=5e-5)
    assert limits.bounds[0] == pytest.approx((0, 0.1289), abs=5e-5)
    assert signals(limits) == {12: "above"}
    without = present(p_chart(points, [i != 11 for i in range(20)]))
    assert without.centre == pytest.approx(0.0537, abs=5e-5)
    assert without.bounds[0] == pytest.approx((0, 0.1213), abs=5e-5)


def test_p_chart_of_the_purchase_orders():
    assert (sum(FAULTY), sum(ORDERED)) == (234, 2450)
    limits = present(p_chart(ORDERS, ALL[:25]))
    assert limits.centre == pytest.approx(0.095510, abs=5e-7)
    assert signals(limits) == {11: "above"}
    assert limits.bounds[10][1] == pytest.approx(0.179582, abs=5e-7)
    assert limits.bounds[0] == pytest.approx((0.007335, 0.183686), abs=5e-7)
    assert limits.bounds[1][1] == pytest.approx(0.194093, abs=5e-7)
    off = 20 / 110 - limits.centre
    assert 3 * off / (limits.bounds[10][1] - limits.centre) == pytest.approx(
        3.0798, abs=5e-5
    )


def test_laney_of_the_purchase_orders():
    # Mean moving range 1.089280 over 1.128, by the definition of Laney (Quality
    # Engineering 2002;14:531-537); the data vary a little less than the binomial.
    limits = present(laney(ORDERS, ALL[:25]))
    assert limits.sigma_z == pytest.approx(0.965674, abs=5e-7)
    assert limits.sigma_z * 1.128 == pytest.approx(1.089280, abs=5e-7)
    assert limits.bounds[10] == pytest.approx((0.014324, 0.176696), abs=5e-7)
    assert signals(limits) == {11: "above"}


def test_laney_of_the_juice_cans():
    # They vary more than the binomial (sigma_z above 1), so nothing is out any more.
    limits = present(laney(CANS, ALL[:30]))
    assert limits.sigma_z == pytest.approx(1.660867, abs=5e-7)
    assert limits.bounds[0] == pytest.approx((0, 0.528472), abs=5e-7)
    assert signals(limits) == {}


def test_sigma_z_is_about_one_for_binomial_data():
    random = np.random.default_rng(7)
    found = []
    for _ in range(200):
        n = random.integers(100, 300, 24)
        points = list(zip(random.binomial(n, 0.05).tolist(), n.tolist(), strict=True))
        found.append(present(laney(points, ALL[:24])).sigma_z)
    assert mean(found) == pytest.approx(1, abs=0.03)


def test_incomplete_and_empty_points_count_for_nothing():
    points = [*ORDERS, (40, 100), (0, 0)]
    limits = present(laney(points, [*ALL[:25], False, True]))
    alone = present(laney(ORDERS, ALL[:25]))
    assert (limits.centre, limits.sigma_z) == (alone.centre, alone.sigma_z)
    assert limits.signals[25:] == ("", "")
    assert limits.bounds[25] is not None
    assert limits.bounds[26] is None


def test_too_few_points_have_no_limits():
    assert laney(ORDERS[:LEAST_POINTS], ALL[:LEAST_POINTS]) is not None
    assert laney(ORDERS[: LEAST_POINTS - 1], ALL[: LEAST_POINTS - 1]) is None
    hidden = [True] * (LEAST_POINTS - 1) + [False] * 5
    assert laney(ORDERS[: len(hidden)], hidden) is None
    assert laney([], []) is None


def test_one_point_far_out_can_be_seen_among_the_fewest():
    points = [(5, 100), (6, 100)] * (LEAST_POINTS // 2)
    points[LEAST_POINTS // 2] = (60, 100)
    assert signals(present(laney(points, ALL[:LEAST_POINTS]))) == {
        LEAST_POINTS // 2 + 1: "above"
    }


def test_points_all_alike_signal_nothing():
    assert laney([(0, 50)] * 20, ALL[:20]) is None
    assert laney([(50, 50)] * 20, ALL[:20]) is None
    assert p_chart([(0, 50)] * 20, ALL[:20]) is None
    same = present(laney([(5, 50)] * 20, ALL[:20]))
    assert same.sigma_z == pytest.approx(0, abs=1e-12)
    assert signals(same) == {}
    assert same.bounds[0] == pytest.approx((0.1, 0.1))


def test_none_at_all_is_no_signal_where_the_limit_was_floored():
    limits = present(p_chart([(3, 60)] * 12 + [(0, 30)], ALL[:13]))
    assert limits.bounds[12][0] == 0
    assert signals(limits) == {}


def test_a_rate_below_its_limit_signals():
    limits = present(p_chart([(500, 1000)] * 12 + [(300, 1000)], ALL[:13]))
    assert signals(limits) == {13: "below"}


@pytest.mark.parametrize(
    ("counts", "kept"),
    [
        ([5] * 12, "month"),
        ([4, 6] * 6, "month"),
        ([4] * 12, "quarter"),
        ([2] * 12, "quarter"),
        ([1] * 12, "half_year"),
        ([0] * 12, "half_year"),
        ([], "half_year"),
    ],
)
def test_a_point_holds_five_expected_remakes(counts, kept):
    assert grouping([(count, 100) for count in counts]) == kept

"""Kaplan-Meier and medians against published tables and a second library."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, ecdf
from statsmodels.duration.survfunc import SurvfuncRight

from cases.audit.survival import kaplan_meier, median

# Bewick, Cheek and Ball, Critical Care 2004;8:389 (doi 10.1186/cc2955), table 2:
# survival of eight patients of treatment 2; 6+ and 9+ were still alive.
BEWICK = ({1: 2, 4: 1, 5: 1, 9: 1, 22: 1}, [(6, 1), (9, 1)])
# Acute myelogenous leukaemia, R package survival, data set aml (Miller, Survival
# Analysis, 1981); maintained and not (from memory).
MAINTAINED = (
    {9: 1, 13: 1, 18: 1, 23: 1, 31: 1, 34: 1, 48: 1},
    [(13, 1), (28, 1), (45, 1), (161, 1)],
)
NOT_MAINTAINED = (
    {5: 2, 8: 2, 12: 1, 23: 1, 27: 1, 30: 1, 33: 1, 43: 1, 45: 1},
    [(16, 1)],
)


def waiting(pending):
    return [time for time, n in pending for _ in range(n)]


def single(events, pending):
    """Return times and whether each was seen to happen, case by case."""
    rows = [(time, True) for time, n in events.items() for _ in range(n)]
    rows += [(time, False) for time, n in pending for _ in range(n)]
    times, seen = zip(*rows, strict=True)
    return np.array(times, dtype=float), np.array(seen)


def test_the_published_worked_example():
    steps = kaplan_meier(*BEWICK)
    assert [step.days for step in steps] == [1, 4, 5, 9, 22]
    assert [step.at_risk for step in steps] == [8, 6, 5, 3, 1]
    assert [round(1 - step.share, 3) for step in steps] == [
        0.750,
        0.625,
        0.500,
        0.333,
        0.000,
    ]


def test_curve_of_the_maintained():
    # R: summary(survfit(Surv(time, status) ~ x, data = aml)), from memory.
    steps = kaplan_meier(*MAINTAINED)
    assert [step.at_risk for step in steps] == [11, 10, 8, 7, 5, 4, 2]
    assert [round(1 - step.share, 3) for step in steps] == [
        0.909,
        0.818,
        0.716,
        0.614,
        0.491,
        0.368,
        0.184,
    ]


def test_medians_of_both():
    # R prints 31 and 23 (from memory).
    for data, value in ((MAINTAINED, 31), (NOT_MAINTAINED, 23)):
        assert median(data[0], waiting(data[1])).value == value


@pytest.mark.parametrize("data", [BEWICK, MAINTAINED, NOT_MAINTAINED])
def test_curve_and_interval_are_scipys(data):
    agree_with_scipy(*data)


@given(
    st.dictionaries(st.integers(0, 60), st.integers(1, 6), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 60), st.integers(1, 9)), max_size=5),
)
def test_curve_and_interval_are_scipys_everywhere(events, pending):
    agree_with_scipy(events, pending)


def agree_with_scipy(events, pending):
    times, seen = single(events, pending)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # Where all have had the event scipy's interval is undefined, and says so.
        warnings.simplefilter("ignore", RuntimeWarning)
        theirs = ecdf(CensoredData.right_censored(times, ~seen)).sf
        low, high = (
            np.atleast_1d(one.probabilities)
            for one in theirs.confidence_interval(method="log-log")
        )
    steps = kaplan_meier(events, pending)
    assert [step.days for step in steps] == sorted(events)
    for i, step in enumerate(steps):
        at = theirs.quantiles.tolist().index(step.days)
        assert step.at_risk == int((times >= step.days).sum())
        assert 1 - step.share == pytest.approx(theirs.probabilities[at], abs=1e-9)
        assert 0 <= step.low <= step.share <= step.high <= 1
        if step.share < 1 - 1e-9:
            assert 1 - step.high == pytest.approx(low[at], abs=1e-9)
            assert 1 - step.low == pytest.approx(high[at], abs=1e-9)
        else:
            assert step.high == 1
            assert step.low == (steps[i - 1].low if i else 0)


@given(
    st.dictionaries(st.integers(0, 60), st.integers(1, 6), min_size=1, max_size=8),
    st.lists(st.integers(0, 60), max_size=6),
)
def test_median_is_that_of_single_cases(events, still):
    times, seen = single(events, [(time, 1) for time in still])
    curve = SurvfuncRight(times, seen.astype(int))
    curve.surv_prob = np.round(curve.surv_prob, 12)
    with np.errstate(all="ignore"):
        wanted = (curve.quantile(0.5), *curve.quantile_ci(0.5))
    found = median(events, still)
    assert list(found) == [float(one) if np.isfinite(one) else None for one in wanted]


def test_weights_are_not_taken_at_statsmodels_word():
    """With weights statsmodels keeps another error than without: it is replaced."""
    events, pending = MAINTAINED
    times, seen = single(events, pending)
    plain = SurvfuncRight(times, seen.astype(int))
    weighted = SurvfuncRight(times, seen.astype(int), freq_weights=np.ones(len(times)))
    assert not np.allclose(plain.surv_prob_se, weighted.surv_prob_se, rtol=0.01)
    with np.errstate(all="ignore"):
        ends = plain.quantile_ci(0.5)
    assert median(events, waiting(pending))[1:] == (
        ends[0],
        None if np.isinf(ends[1]) else ends[1],
    )


def test_the_interval_of_a_median_holds_it_about_as_often_as_it_says():
    """Exponential waiting times of median 1, some still waiting: 95 % of 400."""
    random = np.random.default_rng(5)
    hits = 0
    for _ in range(400):
        # In thousandths, for whole numbers.
        waits = (1000 * random.exponential(1 / np.log(2), 60)).astype(int)
        ends = (1000 * random.uniform(0.5, 5, 60)).astype(int)
        events: dict[int, int] = {}
        for wait in waits[waits <= ends].tolist():
            events[wait] = events.get(wait, 0) + 1
        found = median(events, ends[waits > ends].tolist())
        low = -1 if found.low is None else found.low
        high = np.inf if found.high is None else found.high
        hits += low <= 1000 <= high
    # Binomial: 4 standard errors of 400 at 95 % are 17.4.
    assert abs(hits - 380) <= 18


def test_nothing_happened():
    assert kaplan_meier({}, [(30, 12)]) == ()
    assert kaplan_meier({}, []) == ()
    assert kaplan_meier({3: 0}, [(30, 12)]) == ()
    assert median({}, [30, 40]) == (None, None, None)
    assert median({}, []) == (None, None, None)


def test_half_is_half():
    # Of four, two are done by the second: more than half only by the third.
    assert median({10: 1, 20: 1, 30: 1, 40: 1}, []).value == 30
    assert median({10: 1, 20: 1, 30: 1}, []).value == 20


def test_a_curve_that_stays_above_a_half_has_no_median():
    found = median({5: 1, 9: 1}, [20] * 8)
    assert found.value is None
    assert found.high is None


def test_all_at_once():
    assert median({15: 7}, []) == (15, None, None)
    (step,) = kaplan_meier({15: 7}, [])
    assert (step.share, step.low, step.high) == (1, 0, 1)


def test_on_the_day_itself():
    steps = kaplan_meier({0: 2, 3: 1}, [(0, 1), (10, 6)])
    assert [(step.days, step.at_risk) for step in steps] == [(0, 10), (3, 7)]
    assert steps[0].share == pytest.approx(0.2)


def test_a_million_cost_no_more_than_their_days():
    steps = kaplan_meier({3: 20_000, 90: 18_000}, [(d, 2_000) for d in range(1, 482)])
    assert steps[0].at_risk == 1_000_000 - 2 * 2_000
    assert steps[0].share == pytest.approx(20_000 / 996_000)

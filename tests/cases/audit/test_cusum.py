"""The CUSUM of single cases: weights, paths, and false alarms held by simulation."""

from itertools import accumulate, pairwise
from math import exp, log

import numpy as np
import pytest

from cases.audit.cusum import chance, climb, decision, run, weights


def test_weights():
    # log(0.076 / 0.038) and log(0.924 / 0.962), by hand.
    up, down = weights(0.038, 0.076)
    assert up == pytest.approx(0.693147, abs=1e-6)
    assert down == pytest.approx(-0.040302, abs=1e-6)


@pytest.mark.parametrize(("p0", "p1"), [(0, 0.1), (0.1, 0.1), (0.2, 0.1), (0.5, 1)])
def test_rates_that_are_none(p0, p1):
    with pytest.raises(ValueError, match="rates"):
        weights(p0, p1)


def slow(cases: list[bool], p0: float, p1: float) -> list[float]:
    height, found = 0.0, []
    for remade in cases:
        weight = log(p1 / p0) if remade else log((1 - p1) / (1 - p0))
        height = max(0.0, height + weight)
        found.append(height)
    return found


def runs_of(cases: list[bool], lengths: list[int]):
    start = 0
    for length in lengths:
        part = cases[start : start + length]
        yield length, tuple(place for place, one in enumerate(part, 1) if one)
        start += length


@pytest.mark.parametrize("seed", range(5))
def test_a_path_is_that_of_every_case_one_by_one(seed):
    random = np.random.default_rng(seed)
    cases = [bool(one) for one in random.random(300) < 0.08]
    heights = slow(cases, 0.05, 0.1)
    path = run(runs_of(cases, [100, 0, 50, 150]), 0.05, 0.1, 2.0)
    assert path.values == pytest.approx(
        [height for height, one in zip(heights, cases, strict=True) if one]
    )
    over = [place for place, height in enumerate(heights, 1) if height >= 2.0]
    assert path.signal == (over[0] if over else None)
    zeros = [place for place, height in enumerate(heights, 1) if height == 0.0]
    assert path.since == 300 - (zeros[-1] if zeros else 0)


def test_a_path_without_remakes_never_rises():
    path = run([(40, ())], 0.05, 0.1, 2.0)
    assert (path.values, path.signal, path.since) == ((), None, 0)


def highest_of(paths: int, p0: float, observations: int) -> np.ndarray:
    """Return how high so many random paths get, going from remake to remake."""
    random = np.random.default_rng(20260501)
    up, down = weights(p0, 2 * p0)
    height, highest, at = np.zeros(paths), np.zeros(paths), np.zeros(paths)
    while True:
        gap = random.geometric(p0, paths)
        at += gap
        running = at <= observations
        if not running.any():
            return highest
        height = np.maximum(0.0, height + (gap - 1) * down) + up
        highest = np.where(running, np.maximum(highest, height), highest)


@pytest.mark.parametrize(
    ("p0", "observations"),
    [
        (0.04, 150),
        (0.04, 1500),
        (0.15, 400),
        (0.3, 60),
        # Rates so low that at first no path can get anywhere near the decision.
        (0.01, 20_000),
        (0.002, 20_000),
    ],
)
def test_false_alarms_come_as_often_as_said(p0, observations):
    highest = highest_of(20_000, p0, observations)
    h = decision(p0, 2 * p0, observations, 0.05)
    said = chance(p0, 2 * p0, observations, h)
    # 4 standard errors of the simulation, and a tenth for the chain's steps.
    often = float(np.mean(highest >= h))
    assert said <= 0.05
    assert often == pytest.approx(said, abs=4 * (0.05 / 20_000) ** 0.5 + 0.1 * said)
    # And anywhere else, as far as heights of so few cases are told apart at all.
    for other in (0.7 * h, 0.85 * h, 1.1 * h):
        often = float(np.mean(highest >= other))
        assert chance(p0, 2 * p0, observations, other) == pytest.approx(
            often, abs=4 * (often / 20_000) ** 0.5 + 0.1 * often
        )


def test_a_long_path_adds_the_same_share_again_and_again():
    once, twice = (chance(0.04, 0.08, n, 8.0) for n in (20_000, 40_000))
    # The start from zero apart, 1 - (1 - once) ** 2.
    assert twice == pytest.approx(1 - (1 - once) ** 2, rel=0.01)


def test_a_chance_is_never_above_its_bound():
    for h in np.arange(0.5, 16, 0.5):
        said = chance(0.04, 0.08, 300, float(h))
        assert 0 < said <= min(1, 300 * exp(-h))


@pytest.mark.parametrize("observations", [1, 40, 5_000])
def test_the_higher_the_rarer(observations):
    said = [chance(0.04, 0.08, observations, h / 4) for h in range(1, 40)]
    # Between two heights a path can have at all the chain's steps show a little, and
    # what is next to nothing is given by its bound.
    assert all(b <= max(a * 1.05, 1e-4) for a, b in pairwise(said))
    assert chance(0.04, 0.08, observations, 0.0) == 1
    assert chance(0.04, 0.08, 0, 1.0) == 0


def test_a_decision_holds_its_false_alarms():
    for p0 in (0.005, 0.05, 0.2):
        h = decision(p0, 2 * p0, 2_000)
        assert chance(p0, 2 * p0, 2_000, h) <= 0.01
        assert chance(p0, 2 * p0, 2_000, h - 0.1) > 0.009


def tabular(values: list[float], target: float, slack: float) -> tuple[list, list]:
    """Return the two one-sided CUSUMs of measured values, by the audit's own step."""
    up = accumulate((x - target - slack for x in values), climb, initial=0.0)
    down = accumulate((target - slack - x for x in values), climb, initial=0.0)
    return list(up)[1:], list(down)[1:]


def test_the_step_is_that_of_montgomerys_table():
    # Montgomery and Runger, Applied Statistics and Probability for Engineers, exercise
    # 16-6: target 99, K 1, H 10; no signal.
    values = [
        *(102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1),
        *(101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0),
    ]
    up, down = tabular(values, 99, 1)
    assert up == pytest.approx(
        [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0],
        abs=1e-9,
    )
    assert down == pytest.approx(
        [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0],
        abs=1e-9,
    )
    assert max(*up, *down) < 10


def test_the_step_is_that_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook, pmc323: target 325, k 0.3175, h 4.1959 (from memory).
    values = [
        *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525),
        *(325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500),
        *(326.675, 327.775, 326.875, 328.350),
    ]
    up, down = tabular(values, 325, 0.3175)
    assert [round(up[i - 1], 2) for i in (13, 14, 15, 16, 20)] == pytest.approx(
        [3.01, 4.94, 7.45, 10.63, 19.04], abs=0.011
    )
    assert [i for i, height in enumerate(up, 1) if height > 4.1959][0] == 14
    assert max(down) == pytest.approx(0.72, abs=0.011)
    assert down.index(max(down)) == 7

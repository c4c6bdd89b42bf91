"""The CUSUM of single cases: weights, paths, and false alarms held by simulation."""

from math import log

import numpy as np
import pytest

from cases.audit.cusum import chance, decision, run, weights


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


@pytest.mark.parametrize(
    ("p0", "observations"), [(0.04, 150), (0.04, 1500), (0.15, 400), (0.3, 60)]
)
def test_false_alarms_come_as_often_as_said(p0, observations):
    h = decision(p0, 2 * p0, observations, 0.05)
    up, down = weights(p0, 2 * p0)
    random = np.random.default_rng(20260501)
    height, highest = np.zeros(20_000), np.zeros(20_000)
    for _ in range(observations):
        remade = random.random(20_000) < p0
        height = np.maximum(0.0, height + np.where(remade, up, down))
        highest = np.maximum(highest, height)
    often = float(np.mean(highest >= h))
    said = chance(p0, 2 * p0, observations, h)
    # Never more than said (4 standard errors), nor half as many: heights are few.
    assert often <= said + 4 * (0.05 / 20_000) ** 0.5
    assert said <= 0.05
    assert often >= said / 2


def test_a_long_path_adds_the_same_share_again_and_again():
    once, twice = (chance(0.04, 0.08, n, 6.0) for n in (20_000, 40_000))
    # The start from zero apart, 1 - (1 - once) ** 2.
    assert twice == pytest.approx(1 - (1 - once) ** 2, rel=0.01)

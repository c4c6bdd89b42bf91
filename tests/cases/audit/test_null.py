"""Where nothing is going on nothing is said; where something was planted, it is.

The nominal chance of a report with any finding is 5 %. Nothing is hidden here (a
threshold of 1), so that every question is asked: hiding only makes findings fewer. The
longer study, with larger worlds and the power to find what is planted, is
``tests/bench/bench_null.py``.
"""

from functools import cache

import pytest
from scipy.stats import binom

from cases.audit.candidates import candidates
from cases.audit.findings import NOMINAL
from cases.audit.report import build
from tests.cases.audit.worlds import null_world, planted_world, setup

SEEDS = 200
FEW = 50
# rho 0: chance alone. 0.02: clinicians differ as they do in life; at 40 restorations
# each, their rates vary with 1.8 times the variance of chance.
WORLDS = (0.0, 0.02)


@cache
def shares(rho: float) -> tuple[int, int]:
    """Return how many of the worlds make a finding, and would without correction."""
    made = setup(small_number=1)
    findings = uncorrected = 0
    for seed in range(SEEDS):
        world = null_world(seed, n=240, clinics=3, clinicians=2, rho=rho)
        report = build(world.now, made, before=world.before)
        findings += bool(report.findings)
        if seed < FEW:
            asked = candidates(report, world.now, world.before)
            uncorrected += any(one.p <= NOMINAL for one in asked)
    return findings, uncorrected


@pytest.mark.parametrize("rho", WORLDS)
def test_false_findings_are_no_more_frequent_than_said(rho):
    # So many would come in one of a thousand such tests if the chance were the nominal.
    assert shares(rho)[0] <= binom.ppf(0.999, SEEDS, NOMINAL)


def test_over_all_worlds_together_they_stay_below_the_nominal():
    assert sum(shares(rho)[0] for rho in WORLDS) <= NOMINAL * SEEDS * len(WORLDS)


def test_without_correction_they_would_be_too_many():
    # What the first test holds is the work of the correction, not of blindness.
    assert sum(shares(rho)[1] for rho in WORLDS) > 2 * NOMINAL * FEW * len(WORLDS)


@pytest.mark.parametrize(
    ("key", "plan"),
    [
        ("dose_built", {"step": 1.7, "n": 2500}),
        ("opposing", {"query_factor": 3.0, "n": 2500}),
        ("clinic", {"clinic_factor": 3.0, "n": 2500, "clinics": 8, "clinicians": 2}),
    ],
)
def test_what_is_planted_is_found(key, plan):
    found = 0
    for seed in range(5):
        world = planted_world(seed, **plan)
        report = build(world.now, setup(), before=world.before)
        found += key in {one.key for one in report.findings}
    assert found >= 4

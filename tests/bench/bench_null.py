"""How often a report finds what is not there, and how often what is.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_null.py -s``; some twenty
minutes. Prints, for worlds without effects, the share of reports with any finding
(nominal 5 %), by kind of finding and by how alike one clinician's restorations are; and
for worlds with an effect the share of reports that state it (power).

Measured once, 200 to 300 seeds: with a finding where there is nothing 0 to 0.015 (chance
alone), 0.017 (rho 0.01), 0.043 (rho 0.03). Twice the rate in one of twelve clinics:
found in 0.2 of reports at 250 restorations a clinic, 0.5 at 500, 0.97 at 1000, but 0.23
where clinicians differ by rho 0.01 (at 500 restorations each their rates then vary with
six times the variance of chance, and a clinic at twice the rate is hardly unusual).
"""

from collections import Counter

import pytest
from scipy.stats import binom

from cases.audit.findings import NOMINAL
from cases.audit.report import build
from tests.cases.audit.worlds import World, null_world, planted_world, setup

NULL_SEEDS = 500
POWER_SEEDS = 60


def keys_of(world: World, small_number: int) -> set[str]:
    made = setup(small_number=small_number)
    report = build(world.now, made, before=world.before)
    # A clinic is named once, for its rate or for its alarm, whichever is surer.
    return {
        "clinic" if finding.key == "alarm" else finding.key
        for finding in report.findings
    }


@pytest.mark.parametrize("small_number", [1, 5])
@pytest.mark.parametrize("rho", [0.0, 0.01, 0.03])
@pytest.mark.parametrize(
    "plan",
    [
        {"n": 300, "clinics": 3, "clinicians": 2},
        {"n": 1000, "clinics": 12, "clinicians": 2},
    ],
)
def test_findings_where_there_is_nothing(plan, rho, small_number):
    kinds: Counter[str] = Counter()
    reports = 0
    for seed in range(NULL_SEEDS):
        keys = keys_of(null_world(seed, rho=rho, **plan), small_number)
        kinds.update(keys)
        reports += bool(keys)
    shares = {key: count / NULL_SEEDS for key, count in sorted(kinds.items())}
    print(
        f"\nnull n {plan['n']}, rho {rho}, threshold {small_number}:"
        f" {reports / NULL_SEEDS:.3f} with a finding {shares}"
    )
    assert reports <= binom.ppf(0.999, NULL_SEEDS, NOMINAL)


@pytest.mark.parametrize("rho", [0.0, 0.01])
@pytest.mark.parametrize(
    ("key", "plan"),
    [
        ("clinic", {"clinic_factor": 2.0, "n": 3000, "clinics": 12, "clinicians": 2}),
        ("clinic", {"clinic_factor": 2.0, "n": 12000, "clinics": 12, "clinicians": 2}),
        ("dose_built", {"step": 1.5, "n": 2000}),
        ("dose_built", {"step": 1.5, "n": 4000}),
        ("opposing", {"query_factor": 0.4, "n": 3000}),
        ("opposing", {"query_factor": 0.4, "n": 6000}),
        ("period", {"year_factor": 0.6, "n": 3000}),
        ("period", {"year_factor": 0.6, "n": 6000}),
        ("material", {"step": 1.5, "n": 4000}),
    ],
)
def test_findings_of_what_is_planted(key, plan, rho):
    found = sum(
        key in keys_of(planted_world(seed, rho=rho, **plan), 5)
        for seed in range(POWER_SEEDS)
    )
    print(f"\n{key} {plan}, rho {rho}: found in {found / POWER_SEEDS:.2f}")
    assert found > 0

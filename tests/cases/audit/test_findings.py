"""What is said of planted effects, in which words, and what is not said."""

import re
from collections.abc import Sequence
from datetime import date

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from cases.audit.figures import CLASSES, DoseCell, Figures, MonthFigures, Tally
from cases.audit.findings import MOST, findings_of, holm
from cases.audit.report import build
from cases.audit.report_types import AuditReport, Finding
from cases.audit.sentences import TESTS, p_words
from tests.cases.audit.worlds import AS_OF, World, null_world, planted_world, setup


def report(world: World, viewer: str = "laboratory", **more) -> AuditReport:
    return build(world.now, setup(viewer, **more), before=world.before)


def said(finding: Finding) -> str:
    return finding.text.format(**finding.params)


def said_of(finding: Finding) -> str:
    return finding.certainty.format(**finding.params)


def found(world: World, key: str, **more) -> Finding:
    by_key = {one.key: one for one in report(world, **more).findings}
    return by_key[key]


def clinic_world() -> World:
    return planted_world(4, clinic_factor=2.5, n=6000, clinics=12, clinicians=2)


def test_a_clinic_of_twice_the_rate_is_named_to_be_looked_at():
    made = report(clinic_world(), labels={"clinic": {"1": "Clinic North"}})
    finding = next(one for one in made.findings if one.key == "clinic")
    points = made.funnel.points if made.funnel else ()
    point = next(one for one in points if one.key == "1")
    assert said(finding).startswith(
        f"Of {point.n} restorations for Clinic North {point.count} were remade"
    )
    assert "not who is at fault" in said(finding)
    assert point.place == "above_998"
    assert finding.cases == {"clinic": "1", "outcome": "remade"}


def test_a_clinic_is_named_once_though_it_also_alarms():
    made = report(clinic_world())
    assert "1" in {alarm.key for alarm in made.alarms}
    named = [one for one in made.findings if one.params.get("clinic") == "1"]
    assert len(named) == 1


def test_remakes_that_pile_up_alarm():
    made = report(clinic_world())
    alarm = next(one for one in made.alarms if one.key == "1")
    assert alarm.value >= alarm.decision
    assert 5 <= (alarm.remakes or 0) <= alarm.since
    # Twice the rate: more of its latest restorations than of all.
    assert (alarm.remakes or 0) / alarm.since > (made.headline[2].rate or 1)


def test_what_was_missing_is_said_in_numbers_of_the_table():
    made = report(planted_world(3, step=1.6, n=4000))
    finding = next(one for one in made.findings if one.key == "dose_built")
    dose = next(d for d in made.dose if (d.basis, d.measure) == ("built", "adverse"))
    rows = {row.key: row for row in dose.rows}
    worst, best = rows["over_050"], rows["sufficient"]
    assert said(finding) == (
        f"Of {worst.n} restorations built on readings short by more than 0.50 mm,"
        f" {worst.count} were remade, not fitted, or the opposing tooth was ground; of"
        f" {best.n} built on sufficient ones, {best.count}. Look at how such cases are"
        " settled before they are built."
    )
    assert finding.cases == {"built_class": "over_050", "outcome": "adverse"}
    # What was submitted says the same less directly: not twice.
    assert "dose" not in {one.key for one in made.findings}
    # The p allows for clinicians being alike; it is not the naive one.
    trend = dose.trend
    assert trend is not None
    assert finding.p >= (trend.clustered_p or 1) > trend.p


def dosed(built: Sequence[DoseCell], first: Sequence[DoseCell] = ()) -> World:
    """Return a month of nothing but what was missing and what became of it."""
    n = sum(cell.reported for cell in built)
    remade = sum(cell.remade for cell in built)
    adverse = sum(cell.opposing_adjusted for cell in built)
    month = MonthFigures(
        date(2025, 12, 1),
        Tally(n, n, n - remade, 0, 0, adverse, remade),
        dose_first=tuple(first),
        dose_built=tuple(built),
    )
    figures = Figures((month,), AS_OF)
    return World(figures, Figures((), AS_OF))


def cells(*counts: tuple[int, int], clinicians: int = 3) -> list[DoseCell]:
    """Return (count, n) by class, for each clinician the same; all were ground."""
    return [
        DoseCell(str(who), shortage, n, 0, count, count)
        for who in range(clinicians)
        for shortage, (count, n) in zip(CLASSES, counts, strict=True)
    ]


def test_few_clinicians_are_compared_with_themselves():
    short = cells((6, 100), (6, 60), (5, 20), (6, 20), (9, 20))
    none = cells((6, 100), (4, 60), (2, 20), (2, 20), (2, 20))
    made = build(dosed(short, none).now, setup())
    finding = next(one for one in made.findings if one.key == "dose_built")
    assert "Mantel's within each of 3 clinicians" in said_of(finding)
    trend = next(d for d in made.dose if d.basis == "built").trend
    assert trend is not None
    assert trend.clustered_p is None
    assert finding.p >= max(trend.p, trend.within_p or 1)
    # All of it lies between clinicians, none inside one: nothing to say.
    apart = [
        *cells((6, 100), (0, 0), (0, 0), (0, 0), (0, 0), clinicians=1),
        DoseCell("9", "over_050", 60, 0, 40, 40),
    ]
    assert build(dosed(apart).now, setup()).findings == ()


def test_classes_told_together_are_said_together():
    made = build(dosed(cells((6, 90), (6, 60), (5, 20), (1, 20), (9, 20))).now, setup())
    dose = next(d for d in made.dose if d.basis == "built")
    assert [(row.key, row.count, row.n) for row in dose.rows] == [
        ("sufficient", 18, 270),
        ("undecided", 18, 180),
        ("up_to_025.up_to_050", 18, 120),
        ("over_050", 27, 60),
    ]
    finding = next(one for one in made.findings if one.key == "dose_built")
    assert "short by more than 0.50 mm" in said(finding)
    made = build(dosed(cells((6, 90), (6, 60), (5, 20), (9, 20), (1, 1))).now, setup())
    finding = next(one for one in made.findings if one.key == "dose_built")
    assert "Of 63 restorations built on readings short by more than 0.25 mm" in said(
        finding
    )
    assert finding.cases["built_class"] == "up_to_050.over_050"


def test_fewer_opposing_teeth_ground_after_a_query():
    made = report(planted_world(2, query_factor=0.3, n=4000))
    finding = next(one for one in made.findings if one.key == "opposing")
    some, none = made.opposing.with_query, made.opposing.without
    assert f"adjusted at {some.count} of {some.n} seatings" in said(finding)
    assert f"without one at {none.count} of {none.n}" in said(finding)
    assert finding.cases["flagged"] == "yes"


def test_more_after_a_query_is_said_with_its_reason():
    finding = found(planted_world(2, query_factor=2.5, n=4000), "opposing")
    assert "Queries go to the tight preparations" in said(finding)


def test_a_better_year_is_compared_over_complete_months():
    finding = found(planted_world(3, year_factor=0.5, n=6000), "period")
    assert finding.cases == {"from": "2025-12", "to": "2026-10", "outcome": "remade"}
    assert float(finding.params["rate"]) < float(finding.params["other_rate"])
    assert float(finding.params["high"]) < 0


def test_without_the_months_before_nothing_is_said_of_them():
    world = planted_world(3, year_factor=0.5, n=6000)
    assert "period" not in {one.key for one in build(world.now, setup()).findings}


def test_a_material_against_all_others():
    finding = found(planted_world(3, step=1.8, n=3000), "material")
    assert finding.params["material"] == "zirconia_3y"
    assert float(finding.params["low"]) > 0


def test_at_most_three_and_the_surest_first():
    world = planted_world(
        5, step=1.8, clinic_factor=3, query_factor=3, year_factor=2, n=8000
    )
    findings = report(world).findings
    assert len(findings) == MOST
    assert [one.p for one in findings] == sorted(one.p for one in findings)
    assert all(one.p <= 0.05 for one in findings)


def test_a_clinic_hears_nothing_of_other_clinics():
    keys = {one.key for one in report(clinic_world(), "clinic").findings}
    assert keys.isdisjoint({"clinic", "alarm"})


def test_every_finding_states_test_and_p_and_opens_its_cases():
    world = planted_world(5, step=1.8, clinic_factor=3, query_factor=3, n=8000)
    for viewer in ("laboratory", "clinic", "clinician"):
        small = 1 if viewer == "clinician" else 5
        for one in report(world, viewer, small_number=small).findings:
            words = one.certainty.format(**one.params)
            assert re.search(
                r"corrected for \d+ questions asked \(Holm\): p [=<]", words
            )
            assert one.cases
            assert not re.search(r"[{}]|None", said(one) + words)


def test_hidden_counts_make_no_finding():
    # All effects at once, but nothing may be shown below a thousand.
    world = planted_world(5, step=1.8, clinic_factor=3, query_factor=3, n=8000)
    assert report(world, small_number=1000).findings == ()


@pytest.mark.parametrize("seed", range(6))
def test_no_number_said_is_one_of_the_hidden_ones(seed):
    world = planted_world(seed, step=1.6, query_factor=0.3, n=2500)
    made = report(world, small_number=12)
    shown = {
        (row.count, row.n)
        for rows in (
            made.headline,
            *(table.rows for table in made.rates.values()),
            *(dose.rows for dose in made.dose),
            (made.opposing.with_query, made.opposing.without),
        )
        for row in rows
        if row.count is not None
    }
    for one in made.findings:
        if one.key != "period":
            assert (one.params["count"], one.params["n"]) in shown


def test_an_empty_period_says_nothing():
    world = null_world(1, n=1)
    assert report(world).findings == ()
    assert findings_of(report(world), world.now, None) == ()


def test_holm_is_statsmodels_with_equal_weights():
    random = np.random.default_rng(7)
    for _ in range(5):
        ps = list(random.random(random.integers(1, 12)) ** 3)
        expected = multipletests(ps, method="holm")[1]
        assert holm(ps, [1 / len(ps)] * len(ps)) == pytest.approx(expected)


def test_a_kind_of_question_keeps_its_share():
    # Half of the chance for one question, half for fifty: 0.02 is 0.04 then, not 1.
    weights = [0.5] + [0.01] * 50
    assert holm([0.02] + [0.9] * 50, weights)[0] == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("p", "words"),
    [(0.012, "= 0.012"), (0.05, "= 0.05"), (0.00012, "= 0.0001"), (1e-9, "< 0.0001")],
)
def test_words_of_a_p(p, words):
    assert p_words(p) == words


def test_every_test_says_what_it_is_corrected_for():
    for words in TESTS.values():
        assert "{tests}" in words
        assert "{p}" in words

"""Lists of cases: the bench, all cases of a clinic, what needs the clinic now."""

from datetime import timedelta
from functools import partial

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.selectors.cases import case_page
from cases.services.drafts import DraftInput, PatientInput, case_create
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import AT, sufficient_unit, unit


def named(desk: Desk, reference: str, days: int = 14):
    """Play a case of this patient, due in some days, to the check."""
    who = desk.play.world.dentist
    with acting(who):
        case = case_create(
            actor=who,
            laboratory=desk.personas.laboratory.code,
            draft=DraftInput(
                patient=PatientInput(reference=reference),
                units=[unit()],
                wanted_on=(AT + timedelta(days=days)).date(),
            ),
            at=desk.play.tick(),
        )
    return desk.play.receive(desk.play.submit(case))


def bench(desk: Desk, query: str = "", who: str = "technician"):
    return desk.browser(who).get(f"/bench/{query}")


def patients(response) -> list[str]:
    return [line.patient for line in response.context["lines"]]


def test_the_bench_is_sorted_by_due_date(desk: Desk):
    for reference, days in (("LATER", 20), ("FIRST", 3), ("MIDDLE", 9)):
        named(desk, reference, days)
    assert patients(bench(desk)) == ["FIRST", "MIDDLE", "LATER"]
    assert patients(bench(desk, "?order=newest")) == ["MIDDLE", "FIRST", "LATER"]


def test_filters_live_in_the_address(desk: Desk):
    named(desk, "SHORT")
    held = named(desk, "HELD")
    desk.play.flag(held)
    desk.play.submit(desk.play.draft(sufficient_unit()))
    assert patients(bench(desk, "?whose=clinic")) == ["HELD"]
    assert sorted(patients(bench(desk, "?whose=laboratory"))) == ["P-100", "SHORT"]
    assert patients(bench(desk, "?state=on_hold")) == ["HELD"]
    assert patients(bench(desk, "?verdict=sufficient")) == ["P-100"]
    assert patients(bench(desk, "?search=HELD")) == ["HELD"]
    assert patients(bench(desk, f"?search={held.code.lower()}")) == ["HELD"]
    assert patients(bench(desk, "?whose=nobody")) == []
    clinic = desk.personas.clinic_b.code
    assert patients(bench(desk, f"?partner={clinic}")) == []


@pytest.mark.parametrize(
    "query",
    [
        "?state=nonsense",
        "?due=tomorrow",
        "?partner=%27%3B--",
        "?whose=1",
        "?search=" + "x" * 41,
    ],
)
def test_a_filter_that_cannot_be_read_narrows_nothing(desk: Desk, query: str):
    named(desk, "SHORT")
    response = bench(desk, query)
    assert response.status_code == 200
    assert patients(response) == ["SHORT"]


def test_the_queries_do_not_grow_with_the_rows(desk: Desk):
    browser = desk.browser("technician")
    named(desk, "ONE")
    browser.get("/bench/")
    with CaptureQueriesContext(connection) as one:
        browser.get("/bench/")
    named(desk, "TWO")
    desk.play.flag(named(desk, "THREE"))
    with CaptureQueriesContext(connection) as three:
        browser.get("/bench/")
    assert len(one.captured_queries) == len(three.captured_queries)


def test_pages_follow_by_cursor(desk: Desk, monkeypatch):
    monkeypatch.setattr("cases.views.bench.case_page", partial(case_page, limit=2))
    for number in range(3):
        named(desk, f"N{number}", days=number + 1)
    first = bench(desk)
    assert patients(first) == ["N0", "N1"]
    second = bench(desk, first.context["next_href"])
    assert patients(second) == ["N2"]
    assert second.context["next_href"] == ""
    assert bench(desk, "?after=nonsense").status_code == 422


def test_nobody_sees_another_organisations_case(desk: Desk):
    named(desk, "MINE")
    assert patients(bench(desk, who="technician_m")) == []
    assert patients(desk.browser("clinician_b").get("/cases/")) == []
    assert "MINE" not in desk.browser("clinician_b").get("/work/").content.decode()
    assert patients(desk.browser("clinic_manager").get("/cases/")) == ["MINE"]


def test_each_side_has_its_own_list(desk: Desk):
    assert bench(desk, who="clinician").status_code == 403
    assert desk.browser("technician").get("/cases/").status_code == 403
    assert desk.browser("technician").get("/work/").status_code == 403


def test_an_empty_bench_teaches(desk: Desk):
    assert b"No case has been sent yet" in bench(desk).content
    assert b"Nothing fits these filters" in bench(desk, "?state=fitted").content


def test_answers_come_first_on_the_clinics_page(desk: Desk):
    desk.play.draft(unit())
    desk.play.flag(named(desk, "HELD"))
    named(desk, "THERE")
    response = desk.browser("assistant").get("/work/")
    groups = [(g.key, [x.patient for x in g.lines]) for g in response.context["groups"]]
    assert groups == [("on_hold", ["HELD"]), ("draft", ["P-100"])]
    assert [line.patient for line in response.context["theirs"]] == ["THERE"]

"""The audit by API: what each side may ask, in JSON and CSV, hiding what is hidden."""

import csv
import io
from typing import Any

import pytest
from django.http import QueryDict

from cases.api.views import audit as views
from cases.documents import audit_export
from tests.audit_rows import multiplied
from tests.cases.api.conftest import Api
from tests.cases.documents.audit_samples import report

PARTS = {
    "summary": ("headline", "findings", "alarms", "time-to-remake"),
    "rates": ("rates",),
    "causes": ("causes",),
    "control-chart": ("control-chart",),
    "funnel": ("funnel", "funnel-lines"),
    "clearance": ("dose-response", "opposing", "flow"),
    "queries": ("waiting", "options"),
}
ALL = (*PARTS, "cases")


@pytest.fixture
def sampled(api: Api, monkeypatch) -> Api:
    """The API over a report made by hand; ``asked`` keeps what it was asked."""
    api.asked = []  # type: ignore[attr-defined]  # -- the fixture's own

    def made(**asked: Any) -> Any:
        api.asked.append(asked)  # type: ignore[attr-defined]  # -- see above
        return report()

    monkeypatch.setattr(views, "audit_report", made)
    return api


def _rows(response: Any) -> list[dict[str, str]]:
    text = response.content.decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("part", PARTS)
def test_every_part_is_answered_as_its_schema_says(sampled: Api, part):
    answer = sampled.lab_manager.get(f"audit/{part}?material=zirconia_3y")
    assert answer.status_code == 200
    body = answer.json()
    assert body["filter"] == {"material": "zirconia_3y"}
    assert body["as_of"] == "2026-10-31T06:30:00+00:00"
    assert body["suppression"]["suppressed"] is True
    assert "no-store" in answer.headers["Cache-Control"]
    assert {"Accept", "Authorization"} <= set(answer.headers["Vary"].split(", "))


@pytest.mark.parametrize(
    ("part", "table"), [(p, t) for p, tables in PARTS.items() for t in tables]
)
def test_every_table_is_a_file(sampled: Api, part, table):
    answer = sampled.lab_manager.get(f"audit/{part}?format=csv&table={table}")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/csv; charset=utf-8")
    name = answer.headers["Content-Disposition"]
    assert name.startswith(f'attachment; filename="audit-{table}_')
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer.headers["Cache-Control"]
    rows = _rows(answer)
    assert rows
    assert all(row["data_as_of"] == "2026-10-31T06:30:00+00:00" for row in rows)


@pytest.mark.parametrize(
    ("accept", "query", "kind"),
    [
        ("text/csv", "", "text/csv"),
        ("text/csv, application/json;q=0.5", "", "text/csv"),
        ("application/json, text/csv;q=0.5", "", "application/json"),
        ("*/*", "", "application/json"),
        ("image/png", "", "application/json"),
        ("text/csv", "?format=json", "application/json"),
        ("application/json", "?format=csv", "text/csv"),
    ],
)
def test_accept_chooses_and_format_counts_more(sampled: Api, accept, query, kind):
    answer = sampled.lab_manager.get(f"audit/rates{query}", Accept=accept)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].split(";")[0] == kind


def test_a_file_and_an_answer_say_the_same(sampled: Api):
    body = sampled.lab_manager.get("audit/rates").json()
    rows = _rows(sampled.lab_manager.get("audit/rates?format=csv"))
    told = [
        (row["label"], row["n"], "hidden" if row["count"] is None else row["count"])
        for table in body["rates"]
        for row in (*table["rows"], table["total"])
    ]
    assert [(r["label"], int(r["n"]), r["count"]) for r in rows] == [
        (label, n, str(count)) for label, n, count in told
    ]
    assert sum(count == "hidden" for _label, _n, count in told) == 2


def test_parameters_are_those_of_the_pages(sampled: Api):
    query = QueryDict(mutable=True)
    query.update(
        {
            "from": "2026-01", "to": "2026-06", "kind": "crown", "tooth_class": "molar",
            "method": "strip", "cause": "shade", "outcome": "remade", "flagged": "no",
            "option": "re_preparation", "first_verdict": "insufficient",
            "first_class": "up_to_025", "built_class": "sufficient",
        }
    )  # fmt: skip
    answer = sampled.lab_manager.get(f"audit/summary?{query.urlencode()}")
    assert answer.status_code == 200
    body = answer.json()
    assert body["period"] == {"from": "2026-01", "to": "2026-06"}
    assert {**body["filter"], "from": "2026-01", "to": "2026-06"} == query.dict()


@pytest.mark.parametrize("part", ALL)
@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("clinics=X", "/clinics"),
        ("kind=crown&kind=bridge", "/kind"),
        ("from=2026-13", "/from"),
        ("from=May", "/from"),
        ("from=2026-05&to=2026-01", "/to"),
        ("from=2999-01&to=2999-02", "/from"),
        ("from=2010-01&to=2026-01", "/from"),
        ("outcome=lost", "/outcome"),
        ("clinician=1%27--", "/clinician"),
        ("material=" + "x" * 61, "/material"),
        ("format=xml", "/format"),
        ("table=secrets", "/table"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_name(api: Api, part, query, pointer):
    answer = api.lab_manager.get(f"audit/{part}?{query}")
    assert answer.status_code == 422
    assert [e["pointer"] for e in answer.json()["errors"]] == [pointer]


@pytest.mark.parametrize("part", ALL)
def test_who_has_no_audit_is_refused_whatever_they_ask(api: Api, part):
    for caller in (api.technician, api.assistant):
        for query in ("", "?format=csv", "?nonsense=1"):
            answer = caller.get(f"audit/{part}{query}")
            assert answer.status_code == 403
            assert answer.json()["type"].endswith("role-not-allowed")


@pytest.mark.parametrize("part", ALL)
@pytest.mark.parametrize("form", ["json", "csv"])
def test_another_clinic_is_answered_like_one_that_does_not_exist(api: Api, part, form):
    other = api.personas.clinic_b.code
    answers = [
        caller.get(f"audit/{part}?clinic={code}&format={form}")
        for caller in (api.clinic_manager, api.clinician, api.lab_manager)
        for code in (other, "ABCDE12345")
    ]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert len({answer.headers["Content-Type"] for answer in answers}) == 1


def test_people_are_no_filter_where_they_are_not_compared(api: Api):
    asked = f"audit/rates?clinician={api.personas.clinician.user.pk}"
    for caller in (api.lab_manager, api.clinic_manager):
        assert caller.get(asked).status_code == 403
        assert caller.get("audit/rates?clinician=999999999").status_code == 403


@pytest.mark.parametrize("part", ALL)
def test_nothing_is_there_and_the_answer_says_so(api: Api, part):
    for caller in (api.lab_manager, api.clinic_manager, api.clinician):
        answer = caller.get(f"audit/{part}")
        assert answer.status_code == 200
        assert answer.json().get("n", 0) == 0
        file = caller.get(f"audit/{part}?format=csv")
        assert file.status_code == 200


def test_one_case_is_too_few_for_managers_and_the_clinicians_own(api: Api):
    code = api.dispatched()
    for caller in (api.lab_manager, api.clinic_manager):
        body = caller.get("audit/cases").json()
        assert (body["hidden"], body["n"], body["items"]) == (True, None, [])
        (row,) = _rows(caller.get("audit/cases?format=csv"))
        assert {row[name] for name in ("case", "part", "clinic")} == {"hidden"}
    own = api.clinician.get("audit/cases").json()
    assert (own["hidden"], own["n"]) == (False, 1)
    assert [item["case"] for item in own["items"]] == [code]
    (row,) = _rows(api.clinician.get("audit/cases?format=csv"))
    assert row["case"] == code


def test_more_cases_than_a_file_holds_are_refused(api: Api, monkeypatch):
    api.dispatched()
    monkeypatch.setattr(audit_export, "MOST_CASES", 0)
    answer = api.clinician.get("audit/cases?format=csv")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/from"


def test_a_cursor_no_list_gave_is_refused(api: Api):
    for cursor in ("x", "MjAyNg==", "%00", "é"):
        answer = api.clinician.get(f"audit/cases?cursor={cursor}")
        assert answer.status_code in {400, 422}


@pytest.mark.django_db(transaction=True)
def test_the_figures_of_a_laboratory_with_what_is_small_hidden(api: Api):
    """Forty like the first and twelve remade; of another material three, one remade."""
    api.dispatched()
    multiplied(100, 139)
    multiplied(200, 211, remade=True, cause="shade")
    multiplied(300, 301, material="feldspathic")
    multiplied(302, 302, material="feldspathic", remade=True, cause="fracture")
    body = api.lab_manager.get("audit/rates").json()
    assert body["n"] == 56
    (table,) = (
        t
        for t in body["rates"]
        if (t["dimension"], t["measure"]) == ("material", "remade")
    )
    common, rare = table["rows"]
    assert (rare["key"], rare["n"], rare["count"]) == ("feldspathic", 3, None)
    assert rare["cases"] is None
    # With the total shown, twelve would tell the one.
    assert table["total"]["count"] is None or common["count"] is None
    causes = api.lab_manager.get("audit/causes").json()["causes"]
    assert all(c["count"] is None or c["count"] >= 5 for c in causes)
    refused = api.lab_manager.get("audit/cases?material=feldspathic&outcome=remade")
    assert refused.json()["hidden"] is True
    (clinics,) = (
        t
        for t in body["rates"]
        if (t["dimension"], t["measure"]) == ("clinic", "remade")
    )
    assert [row["key"] for row in clinics["rows"]] == [api.personas.clinic_a.code]
    own = api.clinic_manager.get("audit/rates").json()["rates"]
    assert "clinic" not in {t["dimension"] for t in own}
    assert api.clinic_manager.get("audit/funnel").json()["funnel"] is None


@pytest.mark.django_db(transaction=True)
def test_all_pages_of_a_list_are_its_file(api: Api):
    api.dispatched()
    multiplied(100, 129)
    seen, path = [], "audit/cases?limit=7"
    while path:
        body = api.lab_manager.get(path).json()
        assert body["n"] == 31
        seen += [item["part"] for item in body["items"]]
        path = (body["next"] or "").partition("/api/v1/")[2]
    rows = _rows(api.lab_manager.get("audit/cases?format=csv"))
    assert [row["part"] for row in rows] == seen
    assert len(set(seen)) == 31

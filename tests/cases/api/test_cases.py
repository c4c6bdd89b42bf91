"""Drafts and the list: what can be written, read back, filtered and paged."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.cases.api.conftest import Api
from tests.play import sufficient_unit, unit

TOMORROW = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
YESTERDAY = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()


def pointers(response: Any) -> list[str]:
    """Return where a refusal points."""
    assert response.status_code == 422, response.content
    return [error["pointer"] for error in response.json()["errors"]]


def test_a_draft_comes_back_as_it_was_written(api: Api):
    written = unit(
        shade="Tab 2",
        finish_line="chamfer",
        wall_heights_mm={"facial": "4,6", "lingual": 4.8},
        base_width_mm=10,
        readings=[
            {
                "site": "central_fossa",
                "position": "maximal_intercuspation",
                "method": "silicone_caliper",
                "value_mm": "1,7",
                "u_mm": 0.1234,
                "basis": "model",
                "mounting_number": 1,
                "note": "through the record",
            }
        ],
    )
    response = api.assistant.post(
        "cases",
        api.draft_body(
            written,
            patient={"reference": "P-7", "initials": "ab", "age_band": "40-49"},
            prescription={"shade": "Tab 3", "notes": "<b>bold</b>"},
            wanted_on=TOMORROW,
            appointment_at="2190-01-02T09:30+02:00",
            prescriber=api.personas.colleague.user.email,
        ),
    )
    assert response.status_code == 201, response.content
    assert response.headers["ETag"] == '"1"'
    case = response.json()
    assert case["patient"] == {
        "reference": "P-7",
        "initials": "ab",
        "age_band": "40-49",
    }
    assert case["prescriber"]["name"] == "Colleague Test"
    assert case["wanted_on"] == TOMORROW
    assert case["appointment_at"] == "2190-01-02T07:30:00+00:00"
    assert case["draft"]["prescription"]["notes"] == "<b>bold</b>"
    (told,) = case["draft"]["units"]
    assert told == {
        **{k: v for k, v in written.items() if k != "readings"},
        "wall_heights_mm": {"facial": 4.6, "lingual": 4.8},
        "base_width_mm": 10.0,
        "readings": [{**written["readings"][0], "value_mm": 1.7}],
    }
    assert case["commands"] == ["attach", "discard", "edit_draft"]
    assert set(api.clinician.case(case["code"])["commands"]) == {
        "attach",
        "discard",
        "edit_draft",
        "submit",
    }


def test_a_draft_read_and_sent_back_does_not_change(api: Api):
    code = api.draft(unit(wall_heights_mm={"facial": 4.6}, span="1"))
    before = api.clinician.case(code)
    body = {key: before["draft"][key] for key in ("prescription", "units")}
    response = api.clinician.patch(f"cases/{code}", body, match=before["version"])
    assert response.status_code == 200, response.content
    after = response.json()
    assert after["draft"] == before["draft"]
    assert after["version"] == before["version"] + 1


def test_a_patch_changes_what_it_states_and_keeps_the_rest(api: Api):
    code = api.draft(unit(), wanted_on=TOMORROW, prescription={"shade": "Tab 2"})
    changed = api.assistant.patch(
        f"cases/{code}", {"patient": {"reference": "P-8"}}, match=1
    ).json()
    assert changed["patient"]["reference"] == "P-8"
    assert changed["wanted_on"] == TOMORROW
    assert changed["draft"]["prescription"]["shade"] == "Tab 2"
    assert [u["tooth"] for u in changed["draft"]["units"]] == ["36"]
    assert len(changed["draft"]["units"][0]["readings"]) == 3
    assert changed["prescriber"]["name"] == "Clinician Test"
    colleague = api.personas.colleague.user.email
    emptied = api.assistant.patch(
        f"cases/{code}",
        {"wanted_on": None, "units": [], "prescriber": colleague},
        match=2,
    ).json()
    assert emptied["prescriber"]["name"] == "Colleague Test"
    assert emptied["wanted_on"] is None
    assert emptied["draft"]["units"] == []
    check = api.clinician.get(f"cases/{code}/check").json()
    assert (check["verdict"], check["units"], check["stored"]) == (
        "unmeasured",
        [],
        False,
    )


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"patient": {}}, ["/patient/reference"]),
        ({"patient": {"reference": " "}}, ["/patient/reference"]),
        ({"patient": {"reference": "x" * 41}}, ["/patient/reference"]),
        ({"patient": {"reference": "P", "name": "Ann"}}, ["/patient/name"]),
        ({"patient": {"reference": "P", "initials": "toolong"}}, ["/patient/initials"]),
        ({"patient": "P"}, ["/patient"]),
        ({"patient": None}, ["/patient"]),
        ({"wanted_on": YESTERDAY}, ["/wanted_on"]),
        ({"wanted_on": "14.03.2031"}, ["/wanted_on"]),
        ({"wanted_on": "2031-02-30"}, ["/wanted_on"]),
        ({"wanted_on": 20310314}, ["/wanted_on"]),
        ({"wanted_on": "9999-12-31"}, ["/wanted_on"]),
        ({"appointment_at": "2031-03-14T09:30"}, ["/appointment_at"]),
        ({"appointment_at": "2190-03-14T09:30+99:00"}, ["/appointment_at"]),
        ({"appointment_at": "2020-03-14T09:30Z"}, ["/appointment_at"]),
        ({"prescription": {"shade": 3}}, ["/prescription/shade"]),
        ({"prescription": {"notes": "x" * 4001}}, ["/prescription/notes"]),
        ({"prescription": {"colour": "red"}}, ["/prescription/colour"]),
        ({"prescriber": "nobody@example.org"}, ["/prescriber"]),
        ({"laboratory": "0000000000"}, ["/laboratory"]),
        ({"laboratory": None}, ["/laboratory"]),
        ({"state": "cleared", "clinic": "x"}, ["/state", "/clinic"]),
        ({"units": {}}, ["/units"]),
        ({"units": 5}, ["/units"]),
        ({"units": None}, ["/units"]),
        ({"units": [5, None]}, ["/units/0", "/units/1"]),
        ({"units": [unit(tooth="19")]}, ["/units/0/tooth"]),
        ({"units": [unit(), unit()]}, ["/units/1/tooth"]),
        ({"units": [unit(shade=3)]}, ["/units/0/shade"]),
    ],
)
def test_a_draft_that_cannot_be_is_named(api: Api, change: dict, found: list[str]):
    response = api.clinician.post("cases", api.draft_body(**change))
    assert pointers(response) == found
    assert api.clinician.get("cases").json()["items"] == []


@pytest.mark.parametrize(
    ("reading", "key"),
    [
        ({"passes_mm": "1_5"}, "passes_mm"),
        ({"passes_mm": 1.005}, "passes_mm"),
        ({"passes_mm": 21}, "passes_mm"),
        ({"passes_mm": 1, "basis": "plaster"}, "basis"),
        ({"passes_mm": 1, "mounting_number": "1"}, "mounting_number"),
        ({"passes_mm": 1, "mounting_number": True}, "mounting_number"),
        ({"passes_mm": 1, "note": 1}, "note"),
        ({"passes_mm": 1, "taken_by": "me"}, "taken_by"),
    ],
)
def test_a_reading_of_a_draft_that_cannot_be_is_named(
    api: Api, reading: dict, key: str
):
    row = {
        "site": "central_fossa",
        "position": "maximal_intercuspation",
        "method": "strip",
        **reading,
    }
    response = api.clinician.post("cases", api.draft_body(unit(readings=[row])))
    assert pointers(response) == [f"/units/0/readings/0/{key}"]


def test_a_laboratory_without_partnership_answers_like_none(api: Api):
    answers = [
        api.clinician.post("cases", api.draft_body(laboratory=code)).content
        for code in (api.personas.laboratory_m.code, "0000000000")
    ]
    assert answers[0] == answers[1]


def test_another_clinics_clinician_is_no_prescriber(api: Api):
    email = api.personas.clinician_b.user.email
    response = api.clinician.post("cases", api.draft_body(prescriber=email))
    assert pointers(response) == ["/prescriber"]


def test_a_draft_without_units_or_readings_cannot_be_sent(api: Api):
    code = api.draft(unit(readings=[]))
    assert pointers(api.clinician.post(f"cases/{code}/submit/preview", key=None)) == [
        "/units/0/readings"
    ]
    api.clinician.patch(f"cases/{code}", {"units": []}, match=1)
    assert pointers(api.clinician.post(f"cases/{code}/submit/preview", key=None)) == [
        "/units"
    ]


def test_two_people_change_a_draft_and_one_is_told(api: Api):
    code = api.draft()
    assert api.clinician.patch(f"cases/{code}", {}, match=1).status_code == 200
    late = api.assistant.patch(
        f"cases/{code}", {"patient": {"reference": "P-9"}}, match=1
    )
    assert late.status_code == 412
    assert api.clinician.case(code)["patient"]["reference"] == "P-100"


def test_what_was_submitted_cannot_be_patched(api: Api):
    code = api.submitted()
    response = api.clinician.patch(
        f"cases/{code}", {}, match=api.clinician.version(code)
    )
    assert response.status_code == 409


def test_the_laboratory_keeps_seeing_what_was_submitted(api: Api):
    code = api.at_check()
    api.technician.do(code, "incomplete", {"missing": "The jaw record."})
    before = api.technician.case(code)
    corrected = sufficient_unit(material="zirconia_3y")
    del corrected["occlusal_surface"]
    changed = api.assistant.patch(
        f"cases/{code}", {"units": [corrected]}, match=before["version"]
    )
    assert changed.json()["draft"]["units"][0]["material"] == "zirconia_3y"
    after = api.technician.case(code)
    same = ("prescription", "readings", "sites", "verdict", "draft", "revision")
    assert {k: after[k] for k in same} == {k: before[k] for k in same}
    stored = api.technician.get(f"cases/{code}/check").json()
    assert (stored["stored"], stored["verdict"]) == (True, "insufficient")


def test_the_check_of_a_case_is_the_check_of_its_units(api: Api):
    code = api.submitted()
    stored = api.technician.get(f"cases/{code}/check").json()
    asked = api.technician.post("check", {"units": [unit()]}, key=None).json()
    assert {key: stored[key] for key in asked} == asked


def test_next_page_and_filters(api: Api):
    codes = [api.draft(unit(tooth=tooth)) for tooth in ("36", "37", "46")]
    first = api.clinician.get("cases?limit=2&state=draft&state=submitted").json()
    assert [row["code"] for row in first["items"]] == [codes[2], codes[1]]
    assert "limit=2" in first["next"]
    assert first["next"].startswith("http://testserver/api/v1/cases?")
    rest = api.clinician.get(first["next"].removeprefix("http://testserver")).json()
    assert [row["code"] for row in rest["items"]] == [codes[0]]
    assert rest["next"] is None
    assert rest["items"][0]["teeth"] == ["36"]


def test_filters_narrow_the_list(api: Api):
    sent = api.submitted()
    kept = api.draft(sufficient_unit(), patient={"reference": "P-200"})
    clinic = api.personas.clinic_a.code

    def listed(query: str, who: str = "clinician") -> list[str]:
        items = getattr(api, who).get(f"cases?{query}").json()["items"]
        return [row["code"] for row in items]

    assert listed("whose_move=laboratory") == [sent]
    assert listed("whose_move=clinic") == [kept]
    assert listed("whose_move=nobody") == []
    assert listed("verdict=insufficient") == [sent]
    assert listed("search=P-200") == [kept]
    assert listed(f"search={sent.lower()}") == [sent]
    assert listed("search=P-2") == []
    assert listed(f"clinic={clinic}", "technician") == [sent]
    assert listed("clinic=0000000000", "technician") == []
    assert listed("due_before=2190-01-01") == []


def test_nobodys_move_means_ended(api: Api):
    code, flag = api.flagged()
    body = {"kind": "accept_risk", "grounds": "As it is.", "consent": True}
    api.clinician.sign(f"flags/{flag}/answer", code, body)
    assert api.clinician.get("cases?whose_move=nobody").json()["items"] == []
    (row,) = api.technician.get("cases?whose_move=laboratory").json()["items"]
    assert (row["code"], row["countersign_due"]) == (code, True)


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("state=done", "/state/0"),
        ("state=draft&state=x", "/state/1"),
        ("whose_move=ours", "/whose_move"),
        ("verdict=good", "/verdict"),
        ("due_before=tomorrow", "/due_before"),
        ("limit=0", "/limit"),
        ("limit=201", "/limit"),
        ("limit=1000000000", "/limit"),
        ("limit=-1", "/limit"),
        ("limit=1_0", "/limit"),
        ("limit=٣", "/limit"),
        ("limit=", "/limit"),
        ("limit=1&limit=2", "/limit"),
        ("clinic=A&clinic=B", "/clinic"),
        ("cursor=garbage", "/cursor"),
        ("cursor=%C3%A9", "/cursor"),
        ("page=-1", "/page"),
        ("page_size=1000000000", "/page_size"),
        ("format=xml", "/format"),
    ],
)
def test_a_query_that_cannot_be_is_named(api: Api, query: str, pointer: str):
    assert pointers(api.clinician.get(f"cases?{query}")) == [pointer]


@pytest.mark.parametrize("path", ["cases", "cases?state=draft&search=P-100"])
def test_a_list_costs_the_same_at_one_row_and_at_three(api: Api, path: str):
    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            response = api.clinician.get(path)
        counts.append(len(response.json()["items"]))
        return len(queries)

    counts: list[int] = []
    api.draft()
    one = cost()
    api.draft(unit(), unit(tooth="37"))
    api.draft()
    assert cost() == one
    assert counts == [1, 3]


def test_a_clinic_sees_its_own_cases_only(api: Api):
    mine = api.submitted()
    other = api.clinician_b.post(
        "cases", {**api.draft_body(), "patient": {"reference": "P-1"}}
    ).json()["code"]
    assert [r["code"] for r in api.clinician.get("cases").json()["items"]] == [mine]
    theirs = api.clinician_b.get("cases").json()["items"]
    assert [r["code"] for r in theirs] == [other]
    clinic = api.personas.clinic_b.code
    assert api.clinician.get(f"cases?clinic={clinic}").json()["items"] == []


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/fitted"),
        ({"fitted": "true"}, "/fitted"),
        ({"fitted": 1}, "/fitted"),
        ({"fitted": True, "findings": ["magic"]}, "/findings/0"),
        ({"fitted": True, "findings": "as_delivered"}, "/findings"),
        ({"fitted": True, "minutes": "15"}, "/minutes"),
        ({"fitted": True, "minutes": 601}, "/minutes"),
        ({"fitted": True, "minutes": True}, "/minutes"),
        ({"fitted": True, "minutes": 1.5}, "/minutes"),
        ({"fitted": True, "coping_used": "no"}, "/coping_used"),
        ({"fitted": True, "opposing_adjusted_mm": "0_1"}, "/opposing_adjusted_mm"),
        ({"fitted": True, "opposing_adjusted_mm": 0.005}, "/opposing_adjusted_mm"),
        ({"fitted": True, "opposing_adjusted_mm": 5.01}, "/opposing_adjusted_mm"),
        ({"fitted": True, "opposing_adjusted_mm": 0.5}, "/opposing_adjusted_mm"),
        ({"fitted": False}, "/findings"),
    ],
)
def test_a_fit_report_that_cannot_be_is_named(api: Api, body: dict, pointer: str):
    code = api.dispatched()
    response = api.clinician.post(
        f"cases/{code}/fit", body, match=api.clinician.version(code)
    )
    assert pointers(response) == [pointer]
    assert api.clinician.case(code)["state"] == "dispatched"


def test_a_fit_report_keeps_its_numbers(api: Api):
    code = api.dispatched()
    report = {
        "fitted": True,
        "findings": ["opposing_adjusted"],
        "opposing_adjusted_mm": "0,25",
        "minutes": 20,
    }
    silent = {"fitted": False, "opposing_adjusted_mm": None, "minutes": None}
    refused = api.clinician.post(
        f"cases/{code}/fit", silent, match=api.clinician.version(code)
    )
    assert pointers(refused) == ["/findings"]
    (told,) = api.clinician.do(code, "fit", report)["fit_reports"]
    assert (told["opposing_adjusted_mm"], told["minutes"], told["coping_used"]) == (
        0.25,
        20,
        None,
    )


@pytest.mark.parametrize(
    ("verb", "body", "pointer"),
    [
        ("receive", {"contents": ["parcel"]}, "/contents/0"),
        ("receive", {"pan_number": "x" * 21}, "/pan_number"),
        ("receive", {"promised_on": YESTERDAY}, "/promised_on"),
        ("incomplete", {}, "/missing"),
        ("incomplete", {"missing": " "}, "/missing"),
        ("readings", {}, "/readings"),
        ("readings", {"readings": [{"site": "x"}]}, "/readings/0/tooth"),
        ("recheck", {"rule_set": "short"}, "/rule_set"),
        ("recheck", {"rule_set": "0" * 64}, "/rule_set"),
        ("clear", {"within_uncertainty": [["36", "x"]]}, "/within_uncertainty/0"),
        (
            "clear",
            {"within_uncertainty": [{"tooth": "36", "site": "lingual_cusps"}]},
            "/within_uncertainty/0",
        ),
        ("flags", {"reasons": [], "text": "x"}, "/reasons"),
        ("flags", {"reasons": ["magic"], "text": "x"}, "/reasons/0"),
        ("flags", {"reasons": ["change_request"], "text": "x"}, "/reasons/0"),
        ("flags", {"reasons": ["shade"]}, "/text"),
        (
            "flags",
            {
                "reasons": ["clearance"],
                "text": "x",
                "sites": [{"tooth": "36", "site": "nowhere"}],
            },
            "/sites",
        ),
    ],
)
def test_a_command_that_cannot_be_is_named(api: Api, verb, body, pointer):
    code = api.submitted() if verb == "receive" else api.at_check()
    version = api.technician.version(code)
    response = api.technician.post(f"cases/{code}/{verb}", body, match=version)
    assert pointers(response) == [pointer]
    assert api.technician.version(code) == version

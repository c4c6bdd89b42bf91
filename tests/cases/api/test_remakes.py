"""Fit reports and remakes by program: what each side says, and what is refused."""

import pytest

from cases.services.remake_causes import cause_add
from cases.tenancy import acting
from tests.cases.api.conftest import Api
from tests.play import AT

REPORT = {
    "fitted": True,
    "findings": ["opposing_adjusted", "provisionally_cemented"],
    "opposing_teeth": ["26", "25"],
    "opposing_adjusted_mm": "0.25",
    "minutes": 9,
}


def misfit(api: Api) -> str:
    """Bring a case to where it could not be fitted."""
    code = api.dispatched()
    api.clinician.do(code, "fit", {"fitted": False, "findings": ["perforated"]})
    return code


def refused(api: Api, code: str, verb: str, body: dict, who: str = "clinician") -> list:
    caller = getattr(api, who)
    response = caller.post(f"cases/{code}/{verb}", body, match=caller.version(code))
    assert response.status_code == 422, response.content
    return sorted(one["pointer"] for one in response.json()["errors"])


def test_a_report_says_where_and_how_much(api: Api):
    code = api.dispatched()
    (told,) = api.clinician.do(code, "fit", REPORT)["fit_reports"]
    assert told["opposing_teeth"] == ["25", "26"]
    assert told["opposing_adjusted_mm"] == 0.25


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ({**REPORT, "opposing_teeth": ["46"]}, ["/opposing_teeth/0"]),
        ({**REPORT, "opposing_teeth": [26]}, ["/opposing_teeth/0"]),
        ({**REPORT, "opposing_teeth": "26"}, ["/opposing_teeth"]),
        ({**REPORT, "findings": []}, ["/opposing_adjusted_mm", "/opposing_teeth"]),
    ],
)
def test_where_can_only_be_the_other_arch(api: Api, body: dict, where: list[str]):
    assert refused(api, api.dispatched(), "fit", body) == where


def test_a_second_report_is_told_what_the_first_said(api: Api):
    code = api.dispatched()
    before = api.assistant.version(code)
    api.clinician.do(code, "fit", REPORT)
    for version in (before, api.assistant.version(code)):
        late = api.assistant.post(f"cases/{code}/fit", {"fitted": True}, match=version)
        assert late.status_code == 409
        assert "Clinician Test reported the fit already" in late.json()["detail"]
        assert "Opposing tooth adjusted" in late.json()["detail"]


def test_before_dispatch_there_is_no_fit_to_report(api: Api):
    code, _order = api.released()
    version = api.clinician.version(code)
    early = api.clinician.post(f"cases/{code}/fit", {"fitted": True}, match=version)
    assert early.status_code == 409
    assert "not left the laboratory" in early.json()["detail"]


def test_a_remake_carries_all_that_can_be_said(api: Api):
    code = misfit(api)
    body = {
        "cause": "perforation",
        "detected_at": "seating",
        "attribution": "undetermined",
        "teeth": ["36"],
        "loss": {"amount": "120.5", "minutes": 30, "days_lost": 8},
    }
    made = api.clinician.do(code, "remake", body, expect=201)
    (told,) = api.technician.case(code)["remakes"]
    assert (told["id"], told["recorded_by"]) == (made["id"], "Clinician Test")
    # All teeth are no choice of teeth.
    assert told["teeth"] == []
    path = f"cases/{code}/remakes/{made['id']}"
    own = api.clinician.get(path).json()
    assert own["loss"] == {
        "amount": 120.5,
        "currency": "EUR",
        "minutes": 30,
        "days_lost": 8,
    }
    theirs = api.technician.get(path).json()
    assert theirs["loss"] is None
    assert [s["attribution"] for s in theirs["statements"]] == ["undetermined"]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"cause": "moon"}, "/cause"),
        ({"cause": ""}, "/cause"),
        ({"detected_at": "framework"}, "/detected_at"),
        ({"attribution": "weather"}, "/attribution"),
        ({"teeth": ["11"]}, "/teeth/0"),
        ({"evidence": ["0" * 10]}, "/evidence/0"),
        ({"evidence": ["x" * 11]}, "/evidence/0"),
        ({"loss": {"amount": -1}}, "/loss/amount"),
        ({"loss": {"amount": "1_0"}}, "/loss/amount"),
        ({"loss": {"amount": 0.001}}, "/loss/amount"),
        ({"loss": {"minutes": -1}}, "/loss/minutes"),
        ({"loss": {"days_lost": 1.5}}, "/loss/days_lost"),
        ({"loss": {"currency": "EUR"}}, "/loss/currency"),
        ({"reason": "x"}, "/reason"),
    ],
)
def test_a_remake_that_cannot_be_names_its_field(api: Api, change: dict, where: str):
    code = misfit(api)
    assert refused(api, code, "remake", {"cause": "shade", **change}) == [where]
    assert api.clinician.case(code)["remakes"] == []


def test_an_internal_remake_is_checked_the_same(api: Api):
    code, _order = api.released()
    body = {"cause": "moon", "teeth": ["11"], "evidence": ["0" * 10]}
    assert refused(api, code, "internal-remake", body, "technician") == [
        "/cause",
        "/evidence/0",
        "/teeth/0",
    ]
    body = {"cause": "miscast", "detected_at": "seating"}
    assert refused(api, code, "internal-remake", body, "technician") == ["/detected_at"]


def test_the_laboratorys_own_cause_and_nobody_elses(api: Api):
    code = misfit(api)
    ours, theirs = api.personas.lab_manager.actor, api.personas.technician_m
    with acting(ours):
        own = cause_add(actor=ours, label="Wrong alloy", at=AT)
    made = api.clinician.do(code, "remake", {"cause": own.code}, expect=201)
    whole = api.clinician.get(f"cases/{code}/remakes/{made['id']}").json()
    assert (whole["cause"], whole["cause_label"]) == (own.code, "Wrong alloy")
    assert theirs.actor.organisation_id != own.laboratory_id


def test_statements_are_made_once_and_bump_the_version(api: Api):
    code = misfit(api)
    made = api.clinician.do(code, "remake", {"cause": "shade"}, expect=201)
    path = f"cases/{code}/remakes/{made['id']}"
    before = api.clinician.version(code)
    body = {"attribution": "clinic", "note": "The shade was ordered so."}
    for _again in range(2):
        said = api.technician.post(f"{path}/statements", body, key="one-key")
        assert said.status_code == 201
    assert len(api.clinician.get(path).json()["statements"]) == 1
    assert api.clinician.version(code) == before + 1
    assert api.clinician.case(code)["remakes"][0]["attribution_laboratory"] == "clinic"
    for bad, where in (({}, "/attribution"), ({"attribution": ""}, "/attribution")):
        answer = api.technician.post(f"{path}/statements", bad)
        assert answer.status_code == 422
        assert [e["pointer"] for e in answer.json()["errors"]] == [where]
    assert api.technician.post(f"{path}/statements", body, key=None).status_code == 400


@pytest.mark.parametrize("number", ["0", "01", "x", "-1", "9" * 18, "9" * 19, "1.0"])
def test_a_number_no_remake_has_is_not_found(api: Api, number: str):
    code = misfit(api)
    path = f"cases/{code}/remakes/{number}"
    assert api.clinician.get(path).status_code == 404
    body = {"attribution": "shared"}
    assert api.clinician.post(f"{path}/statements", body).status_code == 404


def test_a_remake_is_read_under_its_own_case_only(api: Api):
    code, other = misfit(api), api.dispatched()
    made = api.clinician.do(code, "remake", {"cause": "shade"}, expect=201)
    assert api.clinician.get(f"cases/{other}/remakes/{made['id']}").status_code == 404
    assert api.clinician_b.get(f"cases/{code}/remakes/{made['id']}").status_code == 404

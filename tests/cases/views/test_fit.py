"""The fit report in three taps, and everything else that may have happened."""

from decimal import Decimal

import pytest

from cases.lifecycle import AnswerKind
from cases.models import Case, FitReport, Remake
from cases.services import bench, outcome
from cases.services.outcome import FitInput
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit, unit


def dispatched(desk: Desk, *, coping: bool = False) -> Case:
    play = desk.play
    case = play.at_check(unit() if coping else sufficient_unit())
    if coping:
        play.answer(
            play.flag(case), AnswerKind.REDUCTION_COPING, grounds="One small spot."
        )
    play.clear(case)
    play.release(case)
    who = desk.personas.technician.actor
    with acting(who):
        bench.case_dispatch(
            actor=who, code=case.code, version=None, note="", at=play.tick()
        )
    return play.fresh(case)


def report(desk: Desk, case: Case) -> FitReport:
    with acting(desk.personas.clinician.actor):
        return FitReport.objects.get(case=case)


def send(desk: Desk, case: Case, name: str = "assistant", **data):
    body = {"version": str(case.version), "note": "", **data}
    return desk.browser(name).post(f"/cases/{case.code}/fit/", body)


def test_fitted_as_delivered_is_one_button(desk: Desk):
    case = dispatched(desk)
    page = desk.browser("assistant").get(f"/cases/{case.code}/fit/").content.decode()
    assert 'name="quick" value="as_delivered"' in page
    assert "Reduction coping" not in page
    assert send(desk, case, quick="as_delivered").status_code == 302
    assert desk.fresh(case).state == "fitted"
    assert report(desk, case).findings == ["as_delivered"]


def test_an_adjusted_opposing_tooth_is_measured(desk: Desk):
    case = dispatched(desk)
    response = send(
        desk,
        case,
        outcome="fitted",
        findings=["opposing_adjusted"],
        opposing_adjusted_mm="0,25",
        minutes="12",
        note="Tight there.",
    )
    assert response.status_code == 302
    stored = report(desk, case)
    assert (stored.opposing_adjusted_mm, stored.minutes) == (Decimal("0.25"), 12)


def test_the_coping_is_asked_for_when_one_was_enclosed(desk: Desk):
    case = dispatched(desk, coping=True)
    page = desk.browser("assistant").get(f"/cases/{case.code}/fit/").content.decode()
    assert "Reduction coping" in page
    response = send(
        desk, case, outcome="fitted", findings=["as_delivered"], coping_used="yes"
    )
    assert response.status_code == 302
    assert report(desk, case).coping_used is True


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({}, "Choose whether the work was fitted."),
        ({"outcome": "lost"}, "Select a valid choice"),
        ({"outcome": "not_fitted"}, "Say why it could not be fitted."),
        ({"outcome": "fitted", "findings": ["magic"]}, "Select a valid choice"),
        (
            {"outcome": "fitted", "findings": ["as_delivered", "too_high"]},
            "stands alone",
        ),
        (
            {"outcome": "fitted", "opposing_adjusted_mm": "0.2"},
            "Tick “opposing tooth adjusted” too",
        ),
        (
            {"outcome": "fitted", "opposing_adjusted_mm": "1_5"},
            "is no number here",
        ),
        ({"outcome": "fitted", "opposing_adjusted_mm": "9"}, "out of range"),
        ({"outcome": "fitted", "minutes": "1_5"}, "is no number here"),
        ({"outcome": "fitted", "minutes": "1.5"}, "too many decimals"),
        ({"outcome": "fitted", "minutes": "601"}, "out of range"),
    ],
)
def test_a_bad_report_stores_nothing(desk: Desk, data: dict, told: str):
    case = dispatched(desk)
    response = send(desk, case, **data)
    assert response.status_code == 422
    page = response.content.decode()
    assert told in page
    for value in (data.get("opposing_adjusted_mm"), data.get("minutes")):
        assert value is None or f'value="{value}"' in page
    assert desk.fresh(case).version == case.version


def test_a_report_sent_twice_is_stored_once(desk: Desk):
    case = dispatched(desk)
    send(desk, case, quick="as_delivered")
    again = send(desk, case, quick="as_delivered", note="Late note")
    assert again.status_code in (409, 412)
    assert "Late note" in again.content.decode()
    report(desk, case)


@pytest.mark.parametrize(
    ("name", "status"),
    [("clinic_manager", 403), ("technician", 403), ("clinician_b", 404)],
)
def test_the_report_is_the_chairs(desk: Desk, name: str, status: int):
    case = dispatched(desk)
    address = f"/cases/{case.code}/fit/"
    assert desk.browser(name).get(address).status_code == status
    assert send(desk, case, name, quick="as_delivered").status_code == status


# ---------- remake ----------


@pytest.fixture
def ended(desk: Desk) -> Case:
    case = dispatched(desk)
    who = desk.personas.assistant.actor
    with acting(who):
        outcome.fit_report(
            actor=who,
            code=case.code,
            version=None,
            report=FitInput(fitted=False, findings=["perforated"]),
            at=desk.play.tick(),
        )
    return desk.fresh(case)


def test_a_remake_opens_a_linked_draft(desk: Desk, ended: Case):
    address = f"/cases/{ended.code}/remake/"
    browser = desk.browser("assistant")
    assert browser.get(address).status_code == 200
    data = {
        "version": str(ended.version),
        "cause": "perforation",
        "attribution": "disputed",
        "note": "Thin over the lingual cusps.",
    }
    response = browser.post(address, data)
    with acting(desk.personas.assistant.actor):
        remake = Remake.objects.select_related("new_case").get(case=ended)
    assert remake.new_case is not None
    assert response["Location"] == f"/cases/{remake.new_case.code}/edit/"
    assert browser.get(response["Location"]).status_code == 200
    assert desk.fresh(ended).state == "not_fitted"
    assert browser.post(address, data).status_code == 412


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({}, "Choose a cause from the list."),
        ({"cause": "moon"}, "Select a valid choice"),
        ({"cause": "shade", "attribution": "moon"}, "Select a valid choice"),
    ],
)
def test_a_bad_remake_opens_nothing(desk: Desk, ended: Case, data: dict, told: str):
    response = desk.browser("assistant").post(
        f"/cases/{ended.code}/remake/",
        {"version": str(ended.version), "note": "Kept note", **data},
    )
    assert response.status_code == 422
    assert told in response.content.decode()
    assert "Kept note" in response.content.decode()
    with acting(desk.personas.assistant.actor):
        assert not Remake.objects.exists()


@pytest.mark.parametrize(
    ("name", "status"), [("technician", 403), ("clinician_b", 404)]
)
def test_a_remake_is_the_clinics(desk: Desk, ended: Case, name: str, status: int):
    address = f"/cases/{ended.code}/remake/"
    assert desk.browser(name).get(address).status_code == status
    data = {"version": str(ended.version), "cause": "shade"}
    assert desk.browser(name).post(address, data).status_code == status

"""The laboratory's plain commands: receive, incomplete, bench, withdraw."""

from typing import Any

import pytest

from cases.models import Flag, Remake, TimelineEntry
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit, unit


def at(desk: Desk, state: str):
    """Play a case to a state."""
    play = desk.play
    if state == "submitted":
        return play.submit(play.draft(unit()))
    if state == "at_check":
        return play.at_check(unit())
    case = play.at_check(sufficient_unit())
    play.clear(case)
    if state == "in_fabrication":
        play.release(case)
    return play.fresh(case)


COMMANDS: dict[str, tuple[str, dict[str, Any], str]] = {
    "receive": (
        "submitted",
        {"contents": ["impression"], "pan_number": "12"},
        "at_check",
    ),
    "incomplete": ("at_check", {"missing": "The jaw record."}, "incomplete"),
    "recheck": ("at_check", {}, "at_check"),
    "try-in": ("in_fabrication", {"note": "Look at the contacts."}, "at_try_in"),
    "dispatch": ("in_fabrication", {"note": "Courier 7."}, "dispatched"),
    "internal-remake": (
        "in_fabrication",
        {"cause": "fracture", "detected_at": "ceramic", "note": "Fell."},
        "in_fabrication",
    ),
}
EACH = pytest.mark.parametrize("command", COMMANDS)


@EACH
def test_it_shows_a_form_and_carries_the_command_out(desk: Desk, command: str):
    state, data, after = COMMANDS[command]
    case = at(desk, state)
    browser = desk.browser("technician")
    url = f"/cases/{case.code}/{command}/"
    shown = browser.get(url)
    assert shown.status_code == 200
    assert f'name="version" value="{case.version}"' in shown.content.decode()
    sent = browser.post(url, {"version": case.version, **data})
    assert sent.status_code == 302
    assert sent["Location"] == f"/cases/{case.code}/"
    assert desk.fresh(case).state == after


@EACH
def test_sent_twice_it_happens_once(desk: Desk, command: str):
    state, data, _after = COMMANDS[command]
    case = at(desk, state)
    browser = desk.browser("technician")
    url, body = f"/cases/{case.code}/{command}/", {"version": case.version, **data}
    browser.post(url, body)
    version = desk.fresh(case).version
    again = browser.post(url, body)
    assert again.status_code == 412
    assert desk.fresh(case).version == version


@EACH
def test_outsiders_wrong_roles_and_wrong_states_are_refused(desk: Desk, command: str):
    state, data, _after = COMMANDS[command]
    case = at(desk, state)
    url, body = f"/cases/{case.code}/{command}/", {"version": case.version, **data}
    for who, status in (
        ("technician_m", 404),
        ("clinician_b", 404),
        ("clinician", 403),
    ):
        assert desk.browser(who).get(url).status_code == status
        assert desk.browser(who).post(url, body).status_code == status
    wrong = at(desk, "submitted" if state != "submitted" else "at_check")
    url = f"/cases/{wrong.code}/{command}/"
    body = {"version": wrong.version, **data}
    assert desk.browser("technician").get(url).status_code == 409
    assert desk.browser("technician").post(url, body).status_code == 409
    assert desk.fresh(wrong).version == wrong.version


def test_who_comes_late_keeps_the_text_and_looks_first(desk: Desk):
    case = at(desk, "at_check")
    browser = desk.browser("technician")
    url = f"/cases/{case.code}/incomplete/"
    old = case.version
    desk.browser("lab_manager").post(f"/cases/{case.code}/recheck/", {"version": old})
    typed = {"version": old, "missing": "The opposing impression."}

    late = browser.post(url, typed)
    body = late.content.decode()
    assert late.status_code == 412
    assert "The opposing impression." in body
    assert "Check carried out" in body
    assert f'name="version" value="{old}"' in body
    assert browser.post(url, typed).status_code == 412

    looked = browser.post(url, {**typed, "look": "look"})
    body = looked.content.decode()
    assert looked.status_code == 200
    assert "The opposing impression." in body
    assert f'name="version" value="{old + 1}"' in body
    assert desk.fresh(case).state == "at_check"
    sent = browser.post(url, {**typed, "version": old + 1})
    assert sent.status_code == 302


def test_where_the_step_is_gone_there_is_no_button_but_the_text(desk: Desk):
    case = at(desk, "at_check")
    url = f"/cases/{case.code}/incomplete/"
    version = case.version
    desk.play.flag(case)
    late = desk.browser("technician").post(
        url, {"version": version, "missing": "The scan."}
    )
    body = late.content.decode()
    assert late.status_code == 412
    assert "The scan." in body
    assert 'name="look"' not in body
    assert "this step is not possible" in body


@pytest.mark.parametrize(
    ("command", "data", "said"),
    [
        ("receive", {"promised_on": "2001-01-01"}, "not in the past"),
        ("receive", {"promised_on": "soon"}, "Enter a date like"),
        ("receive", {"contents": ["cake"]}, "cake"),
        ("incomplete", {"missing": "  "}, "Say what is missing"),
        ("internal-remake", {"cause": ""}, "Choose a cause"),
        ("dispatch", {"note": "x" * 4001}, "at most 4000"),
    ],
)
def test_what_cannot_be_used_is_said_at_its_field(
    desk: Desk, command: str, data: dict, said: str
):
    state, good, _after = COMMANDS[command]
    case = at(desk, state)
    response = desk.browser("technician").post(
        f"/cases/{case.code}/{command}/", {"version": case.version, **good, **data}
    )
    assert response.status_code == 422
    assert said in response.content.decode()
    assert desk.fresh(case).version == case.version


def test_a_tampered_version_is_a_fault_not_a_crash(desk: Desk):
    case = at(desk, "at_check")
    url = f"/cases/{case.code}/incomplete/"
    for version in ("", "x", "-1", "9" * 30):
        response = desk.browser("technician").post(
            url, {"version": version, "missing": "Scan."}
        )
        assert response.status_code in {412, 422}


def test_an_internal_remake_keeps_its_cause(desk: Desk):
    case = at(desk, "in_fabrication")
    desk.browser("technician").post(
        f"/cases/{case.code}/internal-remake/",
        {"version": case.version, **COMMANDS["internal-remake"][1]},
    )
    with acting(desk.personas.technician.actor):
        remake = Remake.objects.get(case=case)
        assert (remake.cause, remake.detected_at) == ("fracture", "ceramic")


def test_withdrawing_gives_the_case_back(desk: Desk):
    case = at(desk, "at_check")
    flag = desk.play.flag(case)
    url = f"/flags/{flag.code}/withdraw/"
    body = {"version": desk.fresh(case).version, "reason": "Found it."}
    for who, status in (
        ("technician_m", 404),
        ("clinician_b", 404),
        ("assistant", 403),
        ("clinician", 403),
    ):
        assert desk.browser(who).post(url, body).status_code == status
    browser = desk.browser("technician")
    assert browser.get(url).status_code == 200
    assert browser.post(url, {**body, "reason": ""}).status_code == 422
    assert browser.post(url, body).status_code == 302
    assert desk.fresh(case).state == "at_check"
    assert browser.post(url, body).status_code in {409, 412}
    with acting(desk.personas.technician.actor):
        assert Flag.objects.get(pk=flag.pk).withdrawn_reason == "Found it."
        events = TimelineEntry.objects.filter(case=case, event="flag.withdrawn")
        assert events.count() == 1

"""New records after an answer, and the clinic's small steps around the bench."""

import re

import pytest

from cases.lifecycle import AnswerKind
from cases.models import Case, Reading
from cases.services import bench
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit, unit

HTMX = {"HX-Request": "true"}


@pytest.fixture
def case(desk: Desk) -> Case:
    """A case whose lingual cusps were to be cut again."""
    case = desk.play.at_check(unit())
    desk.play.answer(desk.play.flag(case), AnswerKind.RE_PREPARATION)
    return desk.fresh(case)


ROWS = ("buccal_cusps", "lingual_cusps", "central_fossa")


def body(case: Case, **changes: str | list[str]) -> dict[str, str | list[str]]:
    data: dict[str, str | list[str]] = {
        "version": str(case.version),
        "sent": ["impression", "jaw_record"],
        "note": "",
    }
    for row, site in enumerate(ROWS):
        prefix = f"readings-{row}"
        data |= {
            f"{prefix}-tooth": "36",
            f"{prefix}-site": site,
            f"{prefix}-position": "maximal_intercuspation",
            f"{prefix}-method": "strip",
        }
    data |= {
        "readings-0-again": "on",
        "readings-1-passes_mm": "1,5",
        "readings-2-again": "on",
    }
    return {**data, **{k.replace("__", "-"): v for k, v in changes.items()}}


def url(case: Case) -> str:
    return f"/cases/{case.code}/records/"


def test_records_offer_the_earlier_rows(desk: Desk, case: Case):
    page = desk.browser("assistant").get(url(case)).content.decode()
    assert "Cut again" in page
    assert "36 Lingual cusps" in page
    assert "Before: 1 mm slides freely, 1.5 mm is held" in page
    assert "Not cut again: 2 mm slides freely still holds" in page
    # The cut site is read anew: its earlier reading cannot be confirmed.
    confirmable = re.findall(r'<input type="checkbox" name="readings-(\d)-again"', page)
    assert confirmable == ["0", "2"]


def test_records_go_out_with_typed_and_confirmed_readings(desk: Desk, case: Case):
    response = desk.browser("assistant").post(url(case), body(case))
    assert response.status_code == 302
    fresh = desk.fresh(case)
    assert (fresh.state, fresh.round, fresh.verdict) == ("submitted", 2, "sufficient")
    with acting(desk.personas.assistant.actor):
        rows = Reading.objects.filter(case=case, round=2).order_by("site")
        assert [(r.site, str(r.passes_mm)) for r in rows] == [
            ("buccal_cusps", "2.00"),
            ("central_fossa", "1.50"),
            ("lingual_cusps", "1.50"),
        ]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"readings__1__passes_mm": "1_5"}, "is no number here"),
        ({"readings__1__passes_mm": "NaN"}, "is no number here"),
        ({"readings__1__passes_mm": "-1"}, "cannot be negative"),
        ({"readings__1__passes_mm": "21"}, "out of range"),
        ({"readings__1__held_mm": "1.0"}, "Strips out of order"),
        ({"readings__1__site": "lingual_surface"}, "has no lingual surface"),
        ({"readings__1__tooth": "37"}, "Choose a tooth of this prescription"),
        ({"sent": ["impression"]}, "Confirm that this goes out: jaw record"),
        ({"sent": ["banana"]}, "Select a valid choice"),
        (
            {
                "readings__0__again": "",
                "readings__1__passes_mm": "",
                "readings__2__again": "",
            },
            "Enter the new readings",
        ),
    ],
)
def test_records_refuse_and_store_nothing(
    desk: Desk, case: Case, changes: dict, told: str
):
    response = desk.browser("assistant").post(
        url(case), body(case, note="Kept note", **changes)
    )
    assert response.status_code == 422
    page = response.content.decode()
    assert told in page
    assert "Kept note" in page
    assert "<title>Error:" in page
    fresh = desk.fresh(case)
    assert (fresh.version, fresh.round) == (case.version, 1)


def test_records_judge_while_typing_and_store_nothing(desk: Desk, case: Case):
    browser = desk.browser("assistant")
    live = browser.post(url(case), body(case, do="live"), headers=HTMX)
    assert live.status_code == 200
    assert "verdict-sufficient" in live.content.decode()
    bad = browser.post(
        url(case), body(case, do="live", readings__1__passes_mm="x"), headers=HTMX
    )
    assert bad.status_code == 422
    assert "is no number here" in bad.content.decode()
    assert desk.fresh(case).version == case.version


def test_records_take_one_more_reading_without_script(desk: Desk, case: Case):
    data = body(case, do="add-reading", note="Kept note")
    data |= {"add-place": "36|functional_cusp_bevel", "add-position": "protrusion"}
    response = desk.browser("assistant").post(url(case), data)
    assert response.status_code == 200
    page = response.content.decode()
    assert 'name="readings-3-site" value="functional_cusp_bevel"' in page
    assert "Kept note" in page
    assert 'value="1,5"' in page


def test_records_sent_twice_begin_one_round(desk: Desk, case: Case):
    browser = desk.browser("assistant")
    browser.post(url(case), body(case))
    again = browser.post(url(case), body(case, note="Late note"))
    assert again.status_code in (409, 412)
    assert "Late note" in again.content.decode()
    assert desk.fresh(case).round == 2


def test_a_new_jaw_record_needs_no_reading(desk: Desk):
    case = desk.play.at_check(unit())
    desk.play.answer(desk.play.flag(case), AnswerKind.NEW_JAW_RECORD)
    case = desk.fresh(case)
    data = {"version": str(case.version), "sent": ["jaw_record"], "note": ""}
    assert desk.browser("clinician").post(url(case), data).status_code == 302
    assert desk.fresh(case).state == "submitted"


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("clinic_manager", 403),
        ("technician", 403),
        ("clinician_b", 404),
        ("technician_m", 404),
    ],
)
def test_records_are_the_chairs(desk: Desk, case: Case, name: str, status: int):
    browser = desk.browser(name)
    assert browser.get(url(case)).status_code == status
    assert browser.post(url(case), body(case)).status_code == status


# ---------- receipt, return, resume ----------


def at(desk: Desk, state: str) -> Case:
    if state == "deferred":
        case = desk.play.at_check(unit())
        desk.play.answer(
            desk.play.flag(case),
            AnswerKind.REFER,
            grounds="Too short.",
            referral="crown_lengthening",
            review_on=desk.play.at.date().replace(year=desk.play.at.year + 1),
        )
        return desk.fresh(case)
    case = desk.play.at_check(sufficient_unit())
    desk.play.clear(case)
    desk.play.release(case)
    who = desk.personas.technician.actor
    with acting(who):
        bench.case_dispatch(
            actor=who, code=case.code, version=None, note="", at=desk.play.tick()
        )
    return desk.fresh(case)


STEPS = [
    ("dispatched", "receipt", "dispatched"),
    ("dispatched", "return", "in_fabrication"),
    ("deferred", "resume", "awaiting_records"),
]


@pytest.mark.parametrize(("state", "step", "after"), STEPS)
def test_a_small_step_is_taken_once(desk: Desk, state: str, step: str, after: str):
    case = at(desk, state)
    browser = desk.browser("assistant")
    address = f"/cases/{case.code}/{step}/"
    assert browser.get(address).status_code == 200
    data = {"version": str(case.version), "note": "Contact mesial too tight."}
    assert browser.post(address, data).status_code == 302
    assert desk.fresh(case).state == after
    again = browser.post(address, data)
    assert again.status_code in (409, 412)
    assert "Contact mesial too tight." in again.content.decode()


@pytest.mark.parametrize(("state", "step", "_after"), STEPS)
def test_a_small_step_is_the_clinics(desk: Desk, state: str, step: str, _after: str):
    case = at(desk, state)
    address, data = f"/cases/{case.code}/{step}/", {"version": str(case.version)}
    for name, status in (("technician", 403), ("clinician_b", 404)):
        browser = desk.browser(name)
        assert browser.get(address).status_code == status
        assert browser.post(address, {**data, "note": "x"}).status_code == status


def test_a_return_says_what_to_do(desk: Desk):
    case = at(desk, "dispatched")
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/return/", {"version": str(case.version), "note": " "}
    )
    assert response.status_code == 422
    assert "Say what the laboratory should do." in response.content.decode()
    assert desk.fresh(case).state == "dispatched"

"""Query, clear, release, countersign: what the gate asks, on the page."""

import pytest

from cases.lifecycle import AnswerKind
from cases.models import Answer, Flag, Signature, WorkOrder
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import PASSWORD, reading, sufficient_unit, unit

SHORT = "36|lingual_cusps"


def undecided() -> dict:
    """A point reading at the lingual cusps above the need, but not proven."""
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        {
            "site": "lingual_cusps",
            "position": "maximal_intercuspation",
            "method": "silicone_caliper",
            "value_mm": "1.55",
            "u_mm": "0.1",
        },
        reading("central_fossa", passes_mm="1.5"),
    ]
    return unit(readings=rows)


def flag_body(case, **more):
    body = {
        "version": case.version,
        "reasons": ["clearance"],
        "sites": [SHORT],
        "text": "Short over the lingual cusps.",
    }
    return {**body, **more}


# ---------- raise a query


def test_the_query_is_prefilled_from_the_check(desk: Desk):
    case = desk.play.at_check(unit())
    response = desk.browser("technician").get(f"/cases/{case.code}/flag/")
    form = response.context["form"]
    assert form.initial["sites"] == [SHORT]
    assert form.initial["reasons"] == ["clearance"]
    text = form.initial["text"]
    assert "Lingual cusps (maximal intercuspation): measured 1.0 to 1.5 mm" in text
    assert "needed 1.5 mm, short by up to 0.5 mm" in text
    assert "- Re-preparation: Lingual cusps: 0.0 to 0.5 mm\n" in text
    assert text.count("Change of material") == 1
    assert "; zirconia 3Y, conventional cementation;" in text
    # Infeasible, or the clinician's to bring up.
    for unsaid in ("eucite", "opposing tooth", "risk"):
        assert unsaid not in text


def test_as_prefilled_it_can_be_sent(desk: Desk):
    case = desk.play.at_check(unit())
    browser = desk.browser("technician")
    start = browser.get(f"/cases/{case.code}/flag/").context["form"].initial
    response = browser.post(f"/cases/{case.code}/flag/", start)
    assert response.status_code == 302
    assert desk.fresh(case).state == "on_hold"
    with acting(desk.personas.technician.actor):
        flag = Flag.objects.get(case=case)
    assert [s["site"] for s in flag.sites] == ["lingual_cusps"]
    assert flag.text == start["text"]


def test_a_query_about_something_else_needs_no_site(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    browser = desk.browser("technician")
    assert browser.get(f"/cases/{case.code}/flag/").context["form"].initial == {
        "reasons": [],
        "sites": [],
        "text": "",
        "version": case.version,
    }
    response = browser.post(
        f"/cases/{case.code}/flag/",
        {"version": case.version, "reasons": ["shade"], "text": "Which shade?"},
    )
    assert response.status_code == 302


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"reasons": []}, "Choose at least one reason."),
        ({"reasons": ["change_request"]}, "change_request"),
        ({"text": " "}, "Write the question"),
        ({"text": "x" * 4001}, "at most 4000"),
        ({"sites": ["36|distal_wall"]}, "distal_wall"),
    ],
)
def test_a_query_that_cannot_be_is_said(desk: Desk, more: dict, said: str):
    case = desk.play.at_check(unit())
    response = desk.browser("technician").post(
        f"/cases/{case.code}/flag/", flag_body(case, **more)
    )
    assert response.status_code == 422
    assert said in response.content.decode()
    assert desk.fresh(case).state == "at_check"


def test_who_may_raise_a_query(desk: Desk):
    case = desk.play.at_check(unit())
    url = f"/cases/{case.code}/flag/"
    for who, status in (
        ("technician_m", 404),
        ("clinician_b", 404),
        ("clinic_manager", 403),
        ("clinician", 409),
    ):
        assert desk.browser(who).post(url, flag_body(case)).status_code == status
    assert desk.fresh(case).state == "at_check"


def test_two_queries_from_one_page_are_one(desk: Desk):
    case = desk.play.at_check(unit())
    browser = desk.browser("technician")
    statuses = [
        browser.post(f"/cases/{case.code}/flag/", flag_body(case)).status_code
        for _again in range(2)
    ]
    assert statuses == [302, 412]
    with acting(desk.personas.technician.actor):
        assert Flag.objects.filter(case=case).count() == 1


# ---------- clear


def test_a_shut_gate_says_why_and_nothing_moves(desk: Desk):
    case = desk.play.at_check(unit())
    response = desk.browser("technician").post(
        f"/cases/{case.code}/clear/", {"version": case.version}
    )
    page = response.content.decode()
    assert response.status_code == 409
    assert "This is not possible yet" in page
    assert "Tooth 36, lingual cusps: insufficient, not covered by an answer." in page
    assert desk.fresh(case).state == "at_check"


def test_a_point_above_the_need_is_cleared_by_a_tick(desk: Desk):
    case = desk.play.at_check(undecided())
    browser = desk.browser("technician")
    url = f"/cases/{case.code}/clear/"
    assert 'value="36|lingual_cusps"' in browser.get(url).content.decode()
    assert browser.post(url, {"version": case.version}).status_code == 409
    wrong = {"version": case.version, "within_uncertainty": ["36|buccal_cusps"]}
    assert browser.post(url, wrong).status_code == 422
    body = {"version": case.version, "within_uncertainty": [SHORT]}
    assert browser.post(url, body).status_code == 302
    assert desk.fresh(case).state == "cleared"


def test_only_what_may_be_cleared_is_offered(desk: Desk):
    case = desk.play.at_check(unit())
    page = desk.browser("technician").get(f"/cases/{case.code}/clear/").content.decode()
    assert 'name="within_uncertainty"' not in page


# ---------- release


def cleared(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    desk.play.clear(case)
    return desk.fresh(case)


def test_release_shows_exactly_what_goes_out_with_cautions(desk: Desk):
    case = cleared(desk)
    page = desk.browser("technician").get(f"/cases/{case.code}/release/")
    shown = page.content.decode()
    assert page.status_code == 200
    for words in ("P-100", "metal-ceramic", "Buccal cusps", "I authorise this work."):
        assert words in shown
    assert "instructions for use" in shown


def test_release_twice_gives_one_order(desk: Desk):
    case = cleared(desk)
    browser = desk.browser("technician")
    url, body = f"/cases/{case.code}/release/", {"version": case.version}
    assert [browser.post(url, body).status_code for _again in range(2)] == [302, 412]
    with acting(desk.personas.technician.actor):
        assert WorkOrder.objects.get(case=case).number == 1


@pytest.mark.parametrize("command", ["clear", "release"])
def test_clear_and_release_are_the_benchs(desk: Desk, command: str):
    case = cleared(desk) if command == "release" else desk.play.at_check(unit())
    url, body = f"/cases/{case.code}/{command}/", {"version": case.version}
    for who, status in (
        ("technician_m", 404),
        ("clinician_b", 404),
        ("clinician", 403),
    ):
        assert desk.browser(who).get(url).status_code == status
        assert desk.browser(who).post(url, body).status_code == status
    desk.browser("technician").post(
        f"/cases/{case.code}/flag/",
        {"version": case.version, "reasons": ["shade"], "text": "Which shade?"},
    )
    assert desk.browser("technician").get(url).status_code == 409


# ---------- countersign


def risk(desk: Desk):
    case = desk.play.at_check(unit())
    flag = desk.play.flag(case)
    desk.play.answer(
        flag, AnswerKind.ACCEPT_RISK, grounds="No further cut.", consent=True
    )
    return desk.fresh(case), flag


def sign_body(desk: Desk, url: str, **more):
    form = desk.browser("responsible").get(url).context["form"]
    return {**form.initial, "password": PASSWORD, **more}


def test_the_responsible_technician_signs_what_is_shown(desk: Desk):
    case, flag = risk(desk)
    url = f"/flags/{flag.code}/countersign/"
    page = desk.browser("responsible").get(url).content.decode()
    assert "No further cut." in page
    assert "I accept for the laboratory" in page
    body = sign_body(desk, url)
    assert desk.browser("responsible").post(url, body).status_code == 302
    assert desk.fresh(case).state == "at_check"
    with acting(desk.personas.responsible.actor):
        signed = Answer.objects.get(flag=flag).countersignature
        assert signed is not None
        assert signed.content_sha256 == body["content_sha256"]
        assert signed.printed_name == "Responsible Test"
        assert signed.method == "password"
    assert desk.browser("responsible").post(url, body).status_code in {409, 412}


def test_a_wrong_password_signs_nothing_and_is_not_shown_again(desk: Desk):
    case, flag = risk(desk)
    url = f"/flags/{flag.code}/countersign/"
    response = desk.browser("responsible").post(
        url, sign_body(desk, url, password="not-my-password")
    )
    page = response.content.decode()
    assert response.status_code == 422
    assert "enter your password or a fresh code" in page
    assert "not-my-password" not in page
    assert desk.fresh(case).state == "on_hold"
    empty = desk.browser("responsible").post(url, sign_body(desk, url, password=""))
    assert empty.status_code == 422


def test_another_content_than_shown_is_not_signed(desk: Desk):
    case, flag = risk(desk)
    url = f"/flags/{flag.code}/countersign/"
    response = desk.browser("responsible").post(
        url, sign_body(desk, url, content_sha256="0" * 64)
    )
    assert response.status_code == 409
    assert "not what was shown" in response.content.decode()
    with acting(desk.personas.responsible.actor):
        assert not Signature.objects.filter(case=case, purpose="countersign").exists()


def test_declining_needs_a_reason_and_no_signature(desk: Desk):
    case, flag = risk(desk)
    url = f"/flags/{flag.code}/countersign/"
    browser = desk.browser("responsible")
    body = sign_body(desk, url, password="", decision="decline")
    assert browser.post(url, {**body, "reason": ""}).status_code == 422
    sent = browser.post(url, {**body, "reason": "Below the instructions for use."})
    assert sent.status_code == 302
    assert desk.fresh(case).state == "on_hold"
    page = desk.browser("clinician").get(f"/cases/{case.code}/").content.decode()
    assert "Below the instructions for use." in page


def test_only_a_responsible_technician_countersigns(desk: Desk):
    _case, flag = risk(desk)
    url = f"/flags/{flag.code}/countersign/"
    for who, status in (
        ("technician", 403),
        ("clinician", 403),
        ("technician_m", 404),
        ("clinician_b", 404),
    ):
        assert desk.browser(who).get(url).status_code == status


def test_nothing_to_countersign_is_said(desk: Desk):
    case = desk.play.at_check(unit())
    flag = desk.play.flag(case)
    url = f"/flags/{flag.code}/countersign/"
    page = desk.browser("responsible").get(url).content.decode()
    assert "No countersignature is due" in page
    body = {"version": desk.fresh(case).version, "content_sha256": "0" * 64}
    refused = desk.browser("responsible").post(url, {**body, "password": PASSWORD})
    assert refused.status_code == 409

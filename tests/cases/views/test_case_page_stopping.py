"""What the clinic can stop: cancel the case, ask for a signed change."""

from cases.models import Flag, Signature
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import PASSWORD, sufficient_unit, unit


def test_only_the_prescriber_cancels(desk: Desk):
    case = desk.play.at_check(unit())
    url = f"/cases/{case.code}/cancel/"
    body = {"version": case.version, "reason": "The patient moved away."}
    for who, status in (
        ("clinician_b", 404),
        ("technician_m", 404),
        ("technician", 403),
        ("assistant", 403),
        ("colleague", 403),
    ):
        assert desk.browser(who).get(url).status_code == status
        assert desk.browser(who).post(url, body).status_code == status
    browser = desk.browser("clinician")
    assert browser.post(url, {**body, "reason": ""}).status_code == 422
    assert browser.post(url, body).status_code == 302
    assert desk.fresh(case).state == "cancelled"
    assert browser.post(url, body).status_code == 412
    assert browser.get(url).status_code == 409


def looked(desk: Desk, case, text: str):
    url = f"/cases/{case.code}/change-request/"
    response = desk.browser("clinician").post(
        url, {"text": text, "version": case.version, "look": "look"}
    )
    assert response.status_code == 200
    return url, response


def test_a_change_is_written_looked_at_and_signed(desk: Desk, code_now: str):
    case = desk.play.at_check(sufficient_unit())
    first = desk.browser("clinician").get(f"/cases/{case.code}/change-request/")
    assert 'name="password"' not in first.content.decode()
    url, shown = looked(desk, case, "Please in zirconia.\r\nSame shade.")
    assert "I ask the laboratory to stop the work" in shown.content.decode()
    body = {**shown.context["form"].initial, "totp": code_now}
    assert desk.browser("clinician").post(url, body).status_code == 302
    assert desk.fresh(case).state == "on_hold"
    with acting(desk.personas.clinician.actor):
        flag = Flag.objects.get(case=case)
        assert flag.text == "Please in zirconia.\nSame shade."
        signed = Signature.objects.get(case=case, purpose="change_request")
        assert signed.method == "totp"


def test_edited_after_looking_it_is_not_signed(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    url, shown = looked(desk, case, "Please in zirconia.")
    body = {
        **shown.context["form"].initial,
        "text": "Please in full metal.",
        "password": PASSWORD,
    }
    response = desk.browser("clinician").post(url, body)
    assert response.status_code == 409
    assert "Please in full metal." in response.content.decode()
    assert desk.fresh(case).state == "at_check"


def test_only_a_clinician_who_may_sign_asks_for_a_change(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    url, shown = looked(desk, case, "Another shade.")
    body = {**shown.context["form"].initial, "password": PASSWORD}
    for who, status in (
        ("clinician_b", 404),
        ("technician_m", 404),
        ("technician", 403),
        ("assistant", 403),
        ("colleague", 403),
    ):
        assert desk.browser(who).post(url, body).status_code == status
    submitted = desk.play.submit(desk.play.draft(unit()))
    wrong = desk.browser("clinician").get(f"/cases/{submitted.code}/change-request/")
    assert wrong.status_code == 409

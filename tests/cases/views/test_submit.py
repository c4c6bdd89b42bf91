"""Sign and send: what is signed stands on the page, and only the right hand signs."""

import re
from datetime import timedelta

import pytest

from cases import clock
from cases.models import Attachment, Case, Delegation, Signature
from cases.services import submission
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.factories import PASSWORD, totp_code
from tests.play import sufficient_unit, unit


def shown(desk: Desk, case: Case, name: str = "clinician", step: str = "submit"):
    response = desk.browser(name).get(f"/cases/{case.code}/{step}/")
    assert response.status_code == 200
    return response.content.decode()


def digest_in(page: str) -> str:
    found = re.search(r'name="content_sha256" value="([0-9a-f]{64})"', page)
    assert found
    return found[1]


def body(page: str, case: Case, **changes: str) -> dict[str, str]:
    data = {
        "version": str(case.version),
        "content_sha256": digest_in(page),
        "password": PASSWORD,
    }
    return {**data, **changes}


def test_submit_signs_what_it_shows(desk: Desk):
    case = desk.play.draft(unit())
    page = shown(desk, case)
    assert "1 mm slides freely, 1.5 mm is held" in page
    assert "The laboratory will ask about this" in page
    assert "I prescribe this work" in page
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/submit/", body(page, case)
    )
    assert response["Location"] == f"/cases/{case.code}/"
    assert desk.fresh(case).state == "submitted"
    with acting(desk.personas.clinician.actor):
        signature = Signature.objects.get(case=case)
    assert signature.content_sha256 == digest_in(page)
    assert signature.signed_for == ""


def test_submit_takes_a_code_of_the_second_factor(desk: Desk):
    case = desk.play.draft(sufficient_unit())
    page = shown(desk, case)
    assert "The laboratory will ask about this" not in page
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/submit/", body(page, case, password="", totp=totp_code())
    )
    assert response.status_code == 302


@pytest.mark.parametrize("password", ["", "wrong"])
def test_submit_refuses_without_the_credential(desk: Desk, password: str):
    case = desk.play.draft(unit())
    page = shown(desk, case)
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/submit/", body(page, case, password=password)
    )
    assert response.status_code == 422
    assert "enter your password" in response.content.decode()
    assert desk.fresh(case).state == "draft"


def test_submit_pressed_twice_signs_once(desk: Desk):
    case = desk.play.draft(unit())
    data = body(shown(desk, case), case)
    browser = desk.browser("clinician")
    assert browser.post(f"/cases/{case.code}/submit/", data).status_code == 302
    again = browser.post(f"/cases/{case.code}/submit/", data)
    assert again.status_code in (409, 412)
    with acting(desk.personas.clinician.actor):
        assert Signature.objects.filter(case=case).count() == 1


def test_submit_does_not_sign_what_was_not_shown(desk: Desk):
    case = desk.play.draft(unit())
    page = shown(desk, case)
    with acting(desk.personas.clinician.actor):
        # A photo arrived after the page was read; it changes what is signed.
        Attachment.objects.create(
            case=case,
            uploaded_by_id=desk.personas.clinician.actor.membership_id,
            uploaded_by_name="x",
            side="clinic",
            kind="photo",
            file_name="x.jpg",
            content_type="image/jpeg",
            size=1,
            sha256="0" * 64,
            storage_key="file/00/" + "0" * 32,
            uploaded_at=clock.now(),
        )
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/submit/", body(page, case)
    )
    assert response.status_code == 409
    assert desk.fresh(case).state == "draft"


def test_submit_tells_what_a_draft_lacks(desk: Desk):
    case = desk.play.draft()
    page = shown(desk, case)
    assert "Enter at least one unit" in page
    assert 'name="password"' not in page
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/submit/",
        {
            "version": str(case.version),
            "content_sha256": "0" * 64,
            "password": PASSWORD,
        },
    )
    assert response.status_code == 422


def test_an_assistant_looks_but_does_not_sign(desk: Desk):
    case = desk.play.draft(unit())
    page = shown(desk, case, "assistant")
    assert f"Ready for signature by {desk.personas.clinician.user.name}" in page
    assert 'name="password"' not in page
    data = {
        "version": str(case.version),
        "content_sha256": "0" * 64,
        "password": PASSWORD,
    }
    response = desk.browser("assistant").post(f"/cases/{case.code}/submit/", data)
    assert response.status_code == 403
    assert desk.fresh(case).state == "draft"


def test_a_colleague_signs_only_as_a_delegate(desk: Desk):
    case = desk.play.draft(unit())
    page = shown(desk, case, "colleague")
    assert 'name="password"' not in page
    data = {
        "version": str(case.version),
        "content_sha256": digest_in(page),
        "password": PASSWORD,
    }
    url = f"/cases/{case.code}/submit/"
    assert desk.browser("colleague").post(url, data).status_code == 403
    people = desk.personas
    today = clock.now().date()
    with acting(people.clinician.actor):
        Delegation.objects.create(
            organisation=people.clinic_a,
            prescriber=people.clinician.user,
            delegate=people.colleague.user,
            starts_on=today - timedelta(days=1),
            ends_on=today + timedelta(days=1),
            note="Holidays.",
            created_at=clock.now(),
        )
    again = shown(desk, case, "colleague")
    assert f"for {people.clinician.user.name}" in again
    assert desk.browser("colleague").post(url, data).status_code == 302
    with acting(people.clinician.actor):
        assert Signature.objects.get(case=case).signed_for == people.clinician.user.name


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("clinic_manager", 403),
        ("clinician_b", 404),
        ("technician", 404),
        ("technician_m", 404),
    ],
)
def test_submit_is_the_clinics(desk: Desk, name: str, status: int):
    case = desk.play.draft(unit())
    browser = desk.browser(name)
    assert browser.get(f"/cases/{case.code}/submit/").status_code == status
    data = {"version": "1", "content_sha256": "0" * 64, "password": PASSWORD}
    assert browser.post(f"/cases/{case.code}/submit/", data).status_code == status


def test_resubmit_signs_the_corrected_revision(desk: Desk):
    case = desk.play.at_check(unit())
    lab = desk.personas.technician.actor
    with acting(lab):
        submission.case_incomplete(
            actor=lab,
            code=case.code,
            version=None,
            missing="The shade.",
            at=desk.play.tick(),
        )
    edit = f"/cases/{case.code}/edit/"
    browser = desk.browser("clinician")
    page = browser.get(edit).content.decode()
    assert "The shade." in page
    assert "Before:" in page
    assert 'name="reference"' not in page
    version = desk.fresh(case).version
    saved = browser.post(
        edit,
        {
            "version": str(version),
            "shade": "Tab 3",
            "units-0-tooth": "36",
            "units-0-kind": "crown",
            "units-0-material": "metal_ceramic",
            "units-0-occlusal_surface": "ceramic",
        },
    )
    assert saved.status_code == 302
    case = desk.fresh(case)
    look = shown(desk, case, step="resubmit")
    assert "Tab 3" in look
    assert "1 mm slides freely, 1.5 mm is held" in look
    response = browser.post(f"/cases/{case.code}/resubmit/", body(look, case))
    assert response.status_code == 302
    fresh = desk.fresh(case)
    assert (fresh.state, fresh.revision, fresh.verdict) == (
        "submitted",
        2,
        "insufficient",
    )

"""Signing over HTTP: a token alone never signs, and nothing unseen is signed."""

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import rfc8785

from cases.models import SigningGrant
from cases.tenancy import acting
from tests import factories
from tests.cases.api.conftest import Api

MEANING = "I authorise this work."


def ask(api: Api, code: str, **more: Any) -> Any:
    """Ask for a grant over the submission of a draft."""
    body = {
        "purpose": "prescription",
        "target": code,
        "content_sha256": "0" * 64,
        "password": factories.PASSWORD,
        **more,
    }
    return api.clinician.post(
        "signing-grants", {k: v for k, v in body.items() if v is not None}
    )


def test_the_preview_is_what_is_signed(api: Api):
    code = api.draft()
    shown = api.clinician.post(f"cases/{code}/submit/preview", key=None).json()
    assert shown["content_sha256"] == (
        hashlib.sha256(rfc8785.dumps(shown["content"])).hexdigest()
    )
    assert api.clinician.case(code)["version"] == 1
    case = api.clinician.sign(f"cases/{code}/submit", code)
    signature = case["prescription"]["signature"]
    assert signature["content"] == shown["content"]
    assert signature["content_sha256"] == shown["content_sha256"]
    assert (signature["name"], signature["role"], signature["meaning"]) == (
        "Clinician Test",
        "clinician",
        MEANING,
    )
    assert (signature["method"], signature["signed_for"]) == ("password", "")
    assert "P-100" not in str(signature)


@pytest.mark.parametrize("signature", [{}, {"signature": None}])
def test_without_a_grant_it_is_reauthentication_required(api: Api, signature: dict):
    code = api.draft()
    response = api.clinician.post(f"cases/{code}/submit", signature, match=1)
    assert response.status_code == 403
    assert response.json()["type"] == (
        "urn:chairbench:problem:reauthentication-required"
    )
    assert api.clinician.case(code)["state"] == "draft"


@pytest.mark.parametrize(
    ("signature", "pointer"),
    [
        ({"grant": "x"}, "/signature/meaning"),
        ({"meaning": "x"}, "/signature/grant"),
        ({"grant": "x", "meaning": ""}, "/signature/meaning"),
        ({"grant": 5, "meaning": "x"}, "/signature/grant"),
        ({"grant": "x", "meaning": "y" * 301}, "/signature/meaning"),
        ({"grant": "x", "meaning": "y", "password": "z"}, "/signature/password"),
    ],
)
def test_a_signature_that_cannot_be_is_named(api: Api, signature: dict, pointer: str):
    code = api.draft()
    response = api.clinician.post(
        f"cases/{code}/submit", {"signature": signature}, match=1
    )
    assert response.status_code == 422
    assert [e["pointer"] for e in response.json()["errors"]] == [pointer]


def test_another_digest_is_409_and_says_which(api: Api):
    code = api.draft()
    grant = ask(api, code).json()["grant"]
    shown = api.clinician.post(f"cases/{code}/submit/preview", key=None).json()
    response = api.clinician.post(
        f"cases/{code}/submit",
        {"signature": {"grant": grant, "meaning": MEANING}},
        match=1,
    )
    assert response.status_code == 409
    problem = response.json()
    assert problem["type"] == "urn:chairbench:problem:content-changed"
    assert problem["content_sha256"] == shown["content_sha256"]


def test_what_changed_after_the_preview_is_not_signed(api: Api):
    code = api.draft()
    grant = api.clinician.grant(f"cases/{code}/submit")
    changed = api.assistant.patch(
        f"cases/{code}", {"patient": {"reference": "P-9"}}, match=1
    )
    assert changed.status_code == 200
    response = api.clinician.post(f"cases/{code}/submit", {"signature": grant}, match=2)
    assert response.status_code == 409


def test_a_grant_is_used_once(api: Api):
    code = api.draft()
    grant = api.clinician.grant(f"cases/{code}/submit")
    body = {"signature": grant}
    assert api.clinician.post(f"cases/{code}/submit", body, match=1).status_code == 200
    other = api.draft()
    again = api.clinician.post(f"cases/{other}/submit", body, match=1)
    assert again.status_code == 403


def test_a_grant_lives_five_minutes(api: Api):
    code = api.draft()
    grant = api.clinician.grant(f"cases/{code}/submit")
    with acting(api.personas.clinician.actor):
        row = SigningGrant.objects.get()
        assert row.expires_at - row.created_at == timedelta(minutes=5)
        SigningGrant.objects.update(expires_at=datetime.now(UTC))
    response = api.clinician.post(f"cases/{code}/submit", {"signature": grant}, match=1)
    assert response.status_code == 403


def test_a_grant_is_its_persons(api: Api):
    code = api.draft()
    grant = api.clinician.grant(f"cases/{code}/submit")
    response = api.colleague.post(f"cases/{code}/submit", {"signature": grant}, match=1)
    assert response.status_code == 403
    assert api.clinician.case(code)["state"] == "draft"


def test_the_second_factor_is_a_way_to_a_grant(api: Api):
    code = api.draft()
    issued = ask(api, code, password=None, totp=factories.totp_code())
    assert issued.status_code == 201
    assert set(issued.json()) == {"grant", "expires_at"}


@pytest.mark.parametrize(
    "credential", [{"password": "wrong"}, {"password": None}, {"password": ""}]
)
def test_a_wrong_credential_gives_no_grant(api: Api, credential: dict):
    code = api.draft()
    response = ask(api, code, **credential)
    assert response.status_code == 403
    with acting(api.personas.clinician.actor):
        assert SigningGrant.objects.count() == 0


def test_guessing_is_slowed_down(api: Api):
    code = api.draft()
    for _ in range(10):
        assert ask(api, code, password="wrong").status_code == 403
    response = ask(api, code)
    assert response.status_code == 429
    assert int(response.headers["Retry-After"]) > 0


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"purpose": "release"}, "/purpose"),
        ({"content_sha256": "A" * 64}, "/content_sha256"),
        ({"content_sha256": None}, "/content_sha256"),
        ({"target": None}, "/target"),
        ({"target": "0000000000"}, "/target"),
        ({"password": 5}, "/password"),
        ({"pin": "1"}, "/pin"),
    ],
)
def test_a_grant_that_cannot_be_is_named(api: Api, change: dict, pointer: str):
    code = api.draft()
    response = ask(api, code, **change)
    assert response.status_code == 422
    assert [e["pointer"] for e in response.json()["errors"]] == [pointer]


def test_another_clinics_case_is_no_target(api: Api):
    other = api.clinician_b.post("cases", api.draft_body()).json()["code"]
    assert ask(api, other).content == ask(api, "0000000000").content


def test_previews_ask_what_their_commands_ask(api: Api):
    code, flag = api.flagged()
    gone = api.clinician.post(f"cases/{code}/submit/preview", key=None)
    assert gone.status_code == 409
    lacking = api.clinician.post(
        f"flags/{flag}/answer/preview", {"kind": "accept_risk"}, key=None
    )
    assert lacking.status_code == 422
    assert [e["pointer"] for e in lacking.json()["errors"]] == ["/grounds", "/consent"]
    early = api.responsible.post(f"flags/{flag}/countersign/preview", key=None)
    assert early.status_code == 409
    late = api.clinician.post(
        f"cases/{code}/change-request/preview", {"text": "x"}, key=None
    )
    assert late.status_code == 409


@pytest.mark.parametrize(
    ("answer", "pointer"),
    [
        ({"kind": "magic"}, "/kind"),
        ({}, "/kind"),
        ({"kind": "accept_risk", "grounds": "x", "consent": "true"}, "/consent"),
        ({"kind": "accept_risk", "grounds": "x", "consent": 1}, "/consent"),
        ({"kind": "change_material"}, "/changes"),
        ({"kind": "change_material", "changes": []}, "/changes"),
        ({"kind": "change_material", "changes": {"36": 1}}, "/changes/36"),
        (
            {"kind": "change_material", "changes": {str(n): {} for n in range(61)}},
            "/changes",
        ),
        (
            {"kind": "change_material", "changes": {"36": {"tooth": "37"}}},
            "/changes/36/tooth",
        ),
        (
            {"kind": "change_material", "changes": {"11": {"material": "full_metal"}}},
            "/changes/11",
        ),
        (
            {"kind": "refer", "grounds": "x", "referral": "crown_lengthening"},
            "/review_on",
        ),
        ({"kind": "re_preparation", "depth": 1}, "/depth"),
    ],
)
def test_an_answer_that_cannot_be_is_named(api: Api, answer: dict, pointer: str):
    _code, flag = api.flagged()
    response = api.clinician.post(f"flags/{flag}/answer/preview", answer, key=None)
    assert response.status_code == 422, response.content
    assert [e["pointer"] for e in response.json()["errors"]] == [pointer]


def test_a_change_to_an_unknown_material_points_at_it(api: Api):
    _code, flag = api.flagged()
    answer = {"kind": "change_material", "changes": {"36": {"material": "wood"}}}
    response = api.clinician.post(f"flags/{flag}/answer/preview", answer, key=None)
    assert response.status_code == 422
    (fault,) = response.json()["errors"]
    assert fault["pointer"].startswith("/changes/")
    assert fault["pointer"].endswith("/material")

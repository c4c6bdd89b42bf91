"""Misuse through the front doors: foreign codes in bodies, secrets, files, texts."""

import threading
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connections
from django.test import Client

from cases import clock
from cases.models import Membership
from cases.tenancy import acting
from tests import factories
from tests.cases.api.conftest import Api, Caller
from tests.personas import client_of, make_personas
from tests.play import sufficient_unit, unit

PDF = b"%PDF-1.4\n%%EOF\n"
NOBODYS = "ZZZZZZZZZZ"
HOSTILE = (
    "<script>alert(1)</script>{{7*7}}{% now 'Y' %}\"'><img src=x onerror=y>"
    "{0.__class__}%(a)s"
)


def upload(caller: Caller, code: str, name: str = "a.pdf", **more: str) -> Any:
    """Add a PDF to a case."""
    return caller.request(
        "post",
        f"cases/{code}/attachments",
        data={"file": SimpleUploadedFile(name, PDF), **more},
        headers={"Idempotency-Key": str(uuid4())},
    )


def same(*answers: Any) -> int:
    """Return the one status of answers that must not differ."""
    assert len({(a.status_code, a.content) for a in answers}) == 1
    return int(answers[0].status_code)


def test_a_file_of_another_case_is_like_none(api: Api) -> None:
    one, two = api.at_check(), api.at_check()
    file = upload(api.clinician, one).json()["code"]
    tries = [
        api.clinician.post(f"cases/{two}/messages", {"body": "x", "attachments": [c]})
        for c in (file, NOBODYS)
    ]
    assert same(*tries) == 422
    mixed = api.clinician.get(f"cases/{two}/attachments/{file}")
    assert same(mixed, api.clinician.get(f"cases/{two}/attachments/{NOBODYS}")) == 404


@pytest.mark.parametrize("call", ["cases", "check"])
def test_a_laboratory_that_is_no_partner_is_like_none(api: Api, call: str) -> None:
    answers = []
    for code in (api.personas.laboratory_m.code, NOBODYS):
        body = {**api.draft_body(), "laboratory": code}
        if call == "check":
            body = {"units": body["units"], "laboratory": code}
        key = None if call == "check" else str(uuid4())
        answers.append(api.clinician.post(call, body, key=key))
    assert same(*answers) == 422


def test_another_clinics_prescriber_is_like_nobody(api: Api) -> None:
    answers = [
        api.clinician.post("cases", api.draft_body(prescriber=f"{name}@example.org"))
        for name in ("clinician_b", "nobody")
    ]
    assert same(*answers) == 422


def test_an_internal_note_is_nowhere_for_the_clinic(api: Api) -> None:
    code = api.at_check()
    file = upload(api.technician, code, "secretfile.pdf", internal="true").json()
    note = {"body": "secretnote", "internal": True, "attachments": [file["code"]]}
    assert api.technician.post(f"cases/{code}/messages", note).status_code == 201
    pages = client_of(api.personas.clinician)
    shown = [api.clinician.get(f"cases/{code}{part}").content for part in PARTS]
    shown += [pages.get(path).content for path in (f"/cases/{code}/", "/notices/")]
    for content in shown:
        for secret in (b"secretnote", b"secretfile", file["code"].encode()):
            assert secret not in content


PARTS = ("", "/timeline", "/messages", "/attachments", "/check")


def test_a_grant_serves_one_person_one_content_once(api: Api) -> None:
    code, flag = api.flagged()
    body, path = {"kind": "re_measure"}, f"flags/{flag}/answer"
    signed = {**body, "signature": api.clinician.grant(path, body)}
    match, key = api.clinician.version(code), str(uuid4())
    assert api.colleague.post(path, signed, match=match).status_code == 403
    assert api.assistant.post(path, signed, match=match).status_code == 403
    other = {**signed, "kind": "new_jaw_record"}
    assert api.clinician.post(path, other, match=match).status_code == 409
    first = api.clinician.post(path, signed, match=match, key=key)
    assert same(first, api.clinician.post(path, signed, match=match, key=key)) == 200
    assert api.clinician_b.post(path, signed, match=match, key=key).status_code == 404
    code, flag = api.flagged()
    again = api.clinician.post(
        f"flags/{flag}/answer", signed, match=api.clinician.version(code)
    )
    assert again.status_code == 403


def test_a_one_time_code_makes_one_grant(api: Api) -> None:
    _code, flag = api.flagged()
    asked = {
        "purpose": "answer",
        "target": flag,
        "content_sha256": "a" * 64,
        "totp": factories.totp_code(),
    }
    assert api.clinician.post("signing-grants", asked).status_code == 201
    assert api.clinician.post("signing-grants", asked).status_code == 403


def test_a_replay_after_leaving_tells_nothing(api: Api) -> None:
    code, key = api.at_check(), str(uuid4())
    note = {"body": "secretnote", "internal": True}
    path, leaver = f"cases/{code}/messages", api.personas.technician
    assert api.technician.post(path, note, key=key).status_code == 201
    with acting(leaver.actor):
        Membership.objects.filter(pk=leaver.membership.pk).update(ended_at=clock.now())
    replayed = api.technician.post(path, note, key=key)
    assert (replayed.status_code, b"secretnote" in replayed.content) == (401, False)


def test_spaces_before_a_token_make_no_new_caller(api: Api) -> None:
    statuses = set()
    for spaces in range(22):
        token = " " * spaces + api.clinician.token
        headers = {"Authorization": f"Bearer {token}", "Idempotency-Key": "k"}
        response = api.clinician.client.post(
            "/api/v1/signing-grants",
            "{}",
            content_type="application/json",
            headers=headers,
        )
        statuses.add(response.status_code)
    assert 429 in statuses


def test_a_correction_keeps_its_patient_and_shows_no_draft(api: Api) -> None:
    code = api.at_check()
    api.technician.do(code, "incomplete", {"missing": "The shade."})
    match = api.clinician.version(code)
    for change in (
        {"patient": {"reference": "P-200"}},
        {"prescriber": "colleague@example.org"},
    ):
        refused = api.clinician.patch(f"cases/{code}", change, match=match)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == f"/{next(iter(change))}"
    draft = {"prescription": {"notes": "draftnote"}, "units": [unit(shade="draftA1")]}
    changed = api.clinician.patch(f"cases/{code}", draft, match=match)
    assert changed.status_code == 200
    pages = client_of(api.personas.technician)
    seen = [api.technician.get(f"cases/{code}{part}").content for part in PARTS]
    for content in (*seen, pages.get(f"/cases/{code}/").content):
        assert b"draftnote" not in content
        assert b"draftA1" not in content


def test_a_session_alone_changes_nothing_through_the_api(api: Api) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(api.personas.clinician.user)
    response = client.post(
        "/api/v1/cases",
        api.draft_body(),
        content_type="application/json",
        headers={"Idempotency-Key": "k"},
    )
    assert response.status_code == 403


@pytest.mark.parametrize(
    "name",
    ["../../x.pdf", "a\r\nSet-Cookie: x.pdf", 'a"b;.pdf', "\u202egpj.pdf", "фото.exe"],
)
def test_a_file_name_stays_a_name(api: Api, name: str) -> None:
    code = api.at_check()
    stored = upload(api.clinician, code, name).json()
    response = api.clinician.get(f"cases/{code}/attachments/{stored['code']}")
    told = response.headers["Content-Disposition"]
    assert told.startswith("attachment; filename")
    assert not {"/", "\r", "\n", "\u202e"} & set(stored["file_name"] + told)
    assert stored["file_name"].endswith(".pdf")
    assert "Set-Cookie" not in response.headers


def test_no_text_becomes_markup_or_code(api: Api) -> None:
    first = unit(shade="<b>{{7*7}}")
    first["readings"][0]["note"] = HOSTILE
    code = api.draft(
        first,
        patient={"reference": "<i>{x}{{7*7}}"},
        prescription={"notes": HOSTILE, "jaw_record": "<b>{0}"},
    )
    chair, bench = (
        client_of(p) for p in (api.personas.clinician, api.personas.technician)
    )
    seen = [chair.get(f"/cases/{code}/{page}/") for page in ("edit", "submit")]
    api.clinician.sign(f"cases/{code}/submit", code)
    api.technician.do(code, "receive", {"contents": [], "pan_number": "<u>{0}"})
    api.technician.post(f"cases/{code}/messages", {"body": HOSTILE})
    asked = {"reasons": ["clearance"], "text": HOSTILE}
    flag = api.technician.do(code, "flags", asked, expect=201)["code"]
    for path in (f"/cases/{code}/", "/work/", f"/flags/{flag}/answer/", "/notices/"):
        seen.append(chair.get(path))
    seen += [bench.get(path) for path in (f"/cases/{code}/", "/bench/")]
    for response in seen:
        assert response.status_code == 200
        for markup in (b"<script>alert", b"<img src=x", b"<b>{", b"<i>{", b"<u>{"):
            assert markup not in response.content


@pytest.mark.parametrize(
    "aim",
    ["//evil.example/", "https://evil.example/", "/\\evil.example", "javascript:1"],
)
def test_sign_in_leads_nowhere_else(api: Api, aim: str) -> None:
    cache.clear()
    client = Client()
    shown = {"login": "clinician@example.org", "password": factories.PASSWORD}
    first = client.post("/account/login/", {**shown, "next": aim})
    assert first.headers["Location"] == "/account/second-factor/code/"
    code = {"code": factories.totp_code()}
    assert client.post(first.headers["Location"], code).headers["Location"] == "/"


def together(*calls: Callable[[], Any]) -> list[int]:
    """Make calls at once, each in a thread; return their statuses, sorted."""
    gate, statuses = threading.Barrier(len(calls)), []

    def one(call: Callable[[], Any]) -> None:
        gate.wait()
        try:
            statuses.append(int(call().status_code))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one, args=(call,)) for call in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return sorted(statuses)


def test_of_two_at_once_one_wins(transactional_db: None) -> None:
    cache.clear()
    api = Api(make_personas())
    one, other = api.technician, api.lab_manager
    code = api.at_check(sufficient_unit())
    one.do(code, "clear")
    match, path = one.version(code), f"cases/{code}"
    asked = {"reasons": ["shade"], "text": "Which?"}
    assert together(
        lambda: one.post(f"{path}/release", match=match),
        lambda: other.post(f"{path}/release", match=match),
        lambda: other.post(f"{path}/flags", asked, match=match),
    ) == [201, 412, 412]
    code, flag = api.flagged()
    path, match, key = f"flags/{flag}/answer", one.version(code), str(uuid4())
    body = {"kind": "re_measure"}
    signed = {**body, "signature": api.clinician.grant(path, body)}
    assert together(
        lambda: api.clinician.post(path, signed, match=match, key=key),
        lambda: api.clinician.post(path, signed, match=match, key=key),
        lambda: one.post(f"flags/{flag}/withdraw", {"reason": "x"}, match=match),
    ) in ([200, 200, 412], [200, 412, 412])

"""Idempotency-Key: what is stored once, replayed, refused, forgotten."""

import io
import threading
from datetime import UTC, datetime, timedelta

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from PIL import Image

from cases import storage
from cases.errors import StorageUnavailable
from cases.models import Attachment, Case, IdempotencyKey, Message, SigningGrant
from cases.tenancy import acting
from tests import factories
from tests.cases.api.conftest import Api
from tests.personas import make_personas
from tests.play import unit

SENT = {"contents": ["impression"], "pan_number": "7"}


def test_a_replay_is_the_first_answer_byte_by_byte(api: Api):
    code = api.submitted()
    version = api.technician.version(code)
    path = f"cases/{code}/receive"
    first = api.technician.post(path, SENT, key="k-1", match=version)
    again = api.technician.post(path, SENT, key="k-1", match=version)
    assert first.status_code == again.status_code == 200
    assert again.content == first.content
    assert again.headers["ETag"] == first.headers["ETag"] == f'"{version + 1}"'
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"
    assert api.technician.version(code) == version + 1


def test_a_replay_comes_before_if_match(api: Api):
    code = api.submitted()
    path = f"cases/{code}/receive"
    first = api.technician.post(
        path, SENT, key="k-1", match=api.technician.version(code)
    )
    again = api.technician.post(path, SENT, key='"k-1"')
    assert (again.status_code, again.content) == (200, first.content)


def test_a_created_case_is_created_once(api: Api):
    body = api.draft_body()
    first = api.clinician.post("cases", body, key="new")
    again = api.clinician.post("cases", body, key="new")
    assert first.status_code == again.status_code == 201
    assert again.headers["Location"] == first.headers["Location"]
    assert again.headers["Location"] == f"/api/v1/cases/{first.json()['code']}"
    assert len(api.clinician.get("cases").json()["items"]) == 1


def test_the_same_key_with_another_body_is_refused(api: Api):
    code = api.submitted()
    path = f"cases/{code}/messages"
    api.clinician.post(path, {"body": "One."}, key="k")
    other = api.clinician.post(path, {"body": "Two."}, key="k")
    assert other.status_code == 422
    assert other.json()["type"] == "urn:chairbench:problem:idempotency-key-reused"
    assert len(api.clinician.get(path).json()["items"]) == 1


def test_keys_of_others_and_of_other_routes_are_their_own(api: Api):
    one, two = api.submitted(), api.submitted(unit(tooth="37"))
    for caller, code in (
        (api.clinician, one),
        (api.clinician, two),
        (api.assistant, one),
        (api.technician, one),
    ):
        response = caller.post(f"cases/{code}/messages", {"body": "Hello."}, key="k")
        assert response.status_code == 201
        assert "Idempotency-Replayed" not in response.headers
    assert len(api.clinician.get(f"cases/{one}/messages").json()["items"]) == 3


@pytest.mark.parametrize(
    "key", [None, "x" * 81, "a b", "tab\tkey", '"', '""', '"open', "é"]
)
def test_a_request_that_stores_needs_a_usable_key(api: Api, key: str | None):
    response = api.clinician.post("cases", api.draft_body(), key=key)
    assert response.status_code == 400
    assert response.json()["type"] == "urn:chairbench:problem:idempotency-key-required"
    assert api.clinician.get("cases").json()["items"] == []


@pytest.mark.parametrize("key", ["x" * 80, '"a b"', "~!#", '"' + "y" * 80 + '"'])
def test_any_eighty_printable_characters_are_a_key(api: Api, key: str):
    assert api.clinician.post("cases", api.draft_body(), key=key).status_code == 201


def test_what_failed_may_be_corrected_under_the_same_key(api: Api):
    code = api.submitted()
    path, version = f"cases/{code}/receive", api.technician.version(code)
    wrong = {"contents": ["parcel"]}
    assert api.technician.post(path, wrong, key="k", match=version).status_code == 422
    assert api.technician.post(path, SENT, key="k", match=version - 1).status_code == (
        412
    )
    assert api.technician.post(path, SENT, key="k").status_code == 428
    assert api.technician.post(path, SENT, key="k", match=version).status_code == 200


def test_a_replay_asks_again_who_may(api: Api):
    code = api.submitted()
    body = {"body": "Hello."}
    path = f"cases/{code}/messages"
    assert api.clinician.post(path, body, key="k").status_code == 201
    membership = api.personas.clinician.membership
    clinic_b = api.personas.clinic_b
    with acting(api.personas.clinician.actor):
        type(membership).objects.filter(pk=membership.pk).update(
            ended_at=datetime.now(UTC)
        )
    assert api.clinician.post(path, body, key="k").status_code == 401
    moved = factories.make_membership(
        clinic_b, api.personas.clinician.user, "clinician"
    )
    token = factories.make_token(factories.actor_of(moved))
    api.clinician.token = token
    assert api.clinician.post(path, body, key="k").status_code == 404


def test_a_role_that_no_longer_may_gets_no_replay(api: Api):
    code = api.draft()
    body = {"signature": api.clinician.grant(f"cases/{code}/submit")}
    path, version = f"cases/{code}/submit", api.clinician.version(code)
    assert api.clinician.post(path, body, key="k", match=version).status_code == 200
    helper = factories.make_membership(
        api.personas.clinic_a, api.personas.clinician.user, "assistant"
    )
    api.clinician.token = factories.make_token(factories.actor_of(helper))
    assert api.clinician.post(path, body, key="k", match=version).status_code == 403


def test_a_discarded_draft_is_gone_and_its_retry_is_answered(api: Api):
    code = api.draft()
    path = f"cases/{code}/discard"
    first = api.clinician.post(path, key="k", match=api.clinician.version(code))
    assert (first.status_code, first.content) == (204, b"")
    assert api.clinician.get(f"cases/{code}").status_code == 404
    assert api.clinician.post(path, key="k").status_code == 204
    assert api.clinician.post(path, key="other").status_code == 404
    assert api.clinician.post(path, key=None).status_code == 404
    assert api.clinician_b.post(path, key="k").status_code == 404


def test_after_a_day_a_key_is_forgotten(api: Api):
    code = api.submitted()
    path = f"cases/{code}/messages"
    assert api.clinician.post(path, {"body": "One."}, key="k").status_code == 201
    actor = api.personas.clinician.actor
    with acting(actor):
        old = datetime.now(UTC) - timedelta(hours=24, minutes=1)
        IdempotencyKey.objects.update(created_at=old)
    again = api.clinician.post(path, {"body": "Two."}, key="k")
    assert again.status_code == 201
    assert "Idempotency-Replayed" not in again.headers
    with acting(actor):
        assert IdempotencyKey.objects.filter(route=f"/api/v1/{path}").count() == 1
        assert IdempotencyKey.objects.count() == 1


def test_a_grant_is_never_handed_out_twice(api: Api):
    code = api.draft()
    shown = api.clinician.post(f"cases/{code}/submit/preview", key=None).json()
    body = {
        "purpose": "prescription",
        "target": code,
        "content_sha256": shown["content_sha256"],
        "password": factories.PASSWORD,
    }
    first = api.clinician.post("signing-grants", body, key="k")
    again = api.clinician.post("signing-grants", body, key="k")
    assert first.status_code == 201
    assert again.status_code == 409
    assert again.headers["Content-Type"] == "application/problem+json"
    assert again.json()["type"] == "urn:chairbench:problem:grant-already-issued"
    with acting(api.personas.clinician.actor):
        assert SigningGrant.objects.count() == 1
        kept = IdempotencyKey.objects.get(route="/api/v1/signing-grants")
    secret = first.json()["grant"]
    assert secret not in f"{kept.body}{kept.headers}{kept.body_sha256}"


@pytest.mark.django_db(transaction=True)
def test_concurrent_twins_have_one_effect_and_one_answer():
    cache.clear()
    api = Api(make_personas())
    code = api.submitted()
    version = api.technician.version(code)
    barrier, answers = threading.Barrier(3), []

    def send() -> None:
        try:
            barrier.wait(10)
            response = api.technician.post(
                f"cases/{code}/receive", SENT, key="twin", match=version
            )
            answers.append(
                (
                    response.status_code,
                    response.content,
                    response.headers.get("Idempotency-Replayed"),
                )
            )
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert [a[0] for a in answers] == [200, 200, 200]
    assert len({a[1] for a in answers}) == 1
    assert sorted(str(a[2]) for a in answers) == ["None", "true", "true"]
    with acting(api.personas.technician.actor):
        assert Case.objects.get(code=code).version == version + 1


@pytest.mark.django_db(transaction=True)
def test_two_answers_at_once_one_wins_and_the_other_is_told():
    cache.clear()
    api = Api(make_personas())
    code, flag = api.flagged()
    version = api.clinician.version(code)
    bodies = [
        {"kind": "re_preparation"},
        {"kind": "reduction_coping", "grounds": "One cusp only."},
    ]
    signed = [
        {**body, "signature": api.clinician.grant(f"flags/{flag}/answer", body)}
        for body in bodies
    ]
    barrier, statuses = threading.Barrier(2), []

    def send(body: dict) -> None:
        try:
            barrier.wait(10)
            response = api.clinician.post(f"flags/{flag}/answer", body, match=version)
            statuses.append(response.status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=send, args=[body]) for body in signed]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(statuses) == [200, 412]
    assert len(api.clinician.case(code)["flags"][0]["answers"]) == 1


def test_a_message_with_its_own_id_is_stored_once(api: Api):
    code = api.submitted()
    body = {"body": "Hello.", "client_id": "mine-1"}
    one = api.clinician.post(f"cases/{code}/messages", body)
    two = api.clinician.post(f"cases/{code}/messages", body)
    assert one.json()["code"] == two.json()["code"]
    with acting(api.personas.clinician.actor):
        assert Message.objects.count() == 1


def test_the_files_of_a_discarded_draft_go_with_it(
    api: Api, django_capture_on_commit_callbacks
):
    code = api.draft()
    out = io.BytesIO()
    Image.new("RGB", (4, 4)).save(out, "PNG")
    api.clinician.request(
        "post",
        f"cases/{code}/attachments",
        data={"file": SimpleUploadedFile("p.png", out.getvalue())},
        headers={"Idempotency-Key": "file"},
    )
    with acting(api.personas.clinician.actor):
        key = Attachment.objects.get().storage_key
    assert storage.get(key)
    with django_capture_on_commit_callbacks(execute=True):
        response = api.clinician.post(
            f"cases/{code}/discard", match=api.clinician.version(code)
        )
    assert response.status_code == 204
    with pytest.raises(StorageUnavailable):
        storage.get(key)

"""The thread, the files, the timeline and the work order over HTTP."""

import hashlib
import io
from typing import Any
from uuid import uuid4

import pytest
import rfc8785
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from cases import storage
from cases.models import WorkOrder
from cases.services.rendering import work_order_rendered
from cases.tenancy import acting
from tests import factories
from tests.cases.api.conftest import Api, Caller
from tests.play import sufficient_unit

EXECUTABLE = b"MZ\x90\x00" + b"\x00" * 200


def photo(size: tuple[int, int] = (40, 30)) -> bytes:
    """Return a small JPEG with a place in its metadata."""
    image, out = Image.new("RGB", size, "white"), io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "secret place"
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def bomb() -> bytes:
    """Return a small PNG that would unpack to 49 million pixels."""
    out = io.BytesIO()
    Image.new("1", (7000, 7000)).save(out, "PNG")
    return out.getvalue()


def upload(
    caller: Caller, code: str, content: bytes, name: str = "p.jpg", **more: Any
) -> Any:
    """Add a file to a case."""
    key = more.pop("key", "") or str(uuid4())
    return caller.request(
        "post",
        f"cases/{code}/attachments",
        data={"file": SimpleUploadedFile(name, content), **more},
        headers={"Idempotency-Key": key},
    )


def test_messages_cross_the_bench_and_notes_do_not(api: Api):
    code = api.submitted()
    version = api.clinician.version(code)
    path = f"cases/{code}/messages"
    sent = api.technician.post(path, {"body": " <b>Hello</b> {{7*7}} "})
    assert sent.status_code == 201
    assert sent.headers["Location"] == f"/api/v1/{path}"
    assert sent.json()["body"] == "<b>Hello</b> {{7*7}}"
    note = api.technician.post(path, {"body": "Ask Monday.", "internal": True})
    assert note.status_code == 201

    def bodies(caller: Caller) -> list[str]:
        return [m["body"] for m in caller.get(path).json()["items"]]

    assert bodies(api.clinician) == ["<b>Hello</b> {{7*7}}"]
    assert bodies(api.lab_manager) == ["<b>Hello</b> {{7*7}}", "Ask Monday."]
    assert api.clinician.version(code) == version
    whole = api.clinician.get(f"cases/{code}").content
    assert b"Ask Monday" not in whole


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/body"),
        ({"body": "  "}, "/body"),
        ({"body": 5}, "/body"),
        ({"body": "x" * 8001}, "/body"),
        ({"body": "x", "internal": "true"}, "/internal"),
        ({"body": "x", "client_id": "y" * 41}, "/client_id"),
        ({"body": "x", "attachments": ["0000000000"]}, "/attachments"),
        ({"body": "x", "attachments": "0000000000"}, "/attachments"),
        ({"body": "x", "author": "me"}, "/author"),
    ],
)
def test_a_message_that_cannot_be_is_named(api: Api, body: dict, pointer: str):
    code = api.submitted()
    response = api.clinician.post(f"cases/{code}/messages", body)
    assert response.status_code == 422
    assert [e["pointer"] for e in response.json()["errors"]] == [pointer]
    assert api.clinician.get(f"cases/{code}/messages").json()["items"] == []


def test_a_clinic_writes_no_internal_notes(api: Api):
    code = api.submitted()
    response = api.clinician.post(
        f"cases/{code}/messages", {"body": "x", "internal": True}
    )
    assert response.status_code == 403


def test_a_message_to_a_cancelled_case_is_409(api: Api):
    code = api.submitted()
    api.clinician.do(code, "cancel", {"reason": "Extraction."})
    response = api.clinician.post(f"cases/{code}/messages", {"body": "x"})
    assert response.status_code == 409


def test_a_photo_is_stored_clean_and_handed_out_as_a_download(api: Api):
    code = api.submitted()
    added = upload(api.clinician, code, photo(), "../мой зуб.png")
    assert added.status_code == 201, added.content
    told = added.json()
    assert (told["kind"], told["content_type"]) == ("photo", "image/jpeg")
    assert told["file_name"].endswith(".jpg")
    assert "/" not in told["file_name"]
    assert added.headers["Location"] == told["content"]
    message = api.clinician.post(
        f"cases/{code}/messages", {"body": "See.", "attachments": [told["code"]]}
    )
    assert message.json()["attachments"] == [told["code"]]

    file = api.technician.get(told["content"])
    assert file.status_code == 200
    assert hashlib.sha256(file.content).hexdigest() == told["sha256"]
    assert b"secret place" not in file.content
    assert file.headers["Content-Type"] == "image/jpeg"
    assert file.headers["Content-Disposition"].startswith("attachment; filename*=")
    assert file.headers["X-Content-Type-Options"] == "nosniff"
    assert file.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert file.headers["Cache-Control"] == "private, no-store"
    listed = api.technician.get(f"cases/{code}/attachments").json()["items"]
    assert [row["code"] for row in listed] == [told["code"]]


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (EXECUTABLE, "tooth.jpg"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "p.jpg"),
        (b"GIF89a" + b"\x00" * 50, "p.jpg"),
        (photo()[:300], "p.jpg"),
        (bomb(), "p.png"),
        (b"", "p.jpg"),
    ],
    ids=["executable", "svg", "gif", "cut off", "bomb", "empty"],
)
def test_a_file_that_is_not_what_it_says_is_refused(api: Api, content, name):
    code = api.submitted()
    response = upload(api.clinician, code, content, name)
    assert response.status_code == 422
    assert [e["pointer"] for e in response.json()["errors"]] == ["/file"]
    assert api.clinician.get(f"cases/{code}/attachments").json()["items"] == []


def test_ten_megabytes_are_the_limit_of_a_file(api: Api, settings):
    code = api.submitted()
    limit = settings.MAX_ATTACHMENT_BYTES
    assert limit == 10 * 1024 * 1024
    pdf = b"%PDF-1.7\n"
    over = upload(api.clinician, code, pdf.ljust(limit + 1, b" "), "r.pdf")
    assert over.status_code == 413
    far = upload(api.clinician, code, pdf.ljust(limit + 2**20, b" "), "r.pdf")
    assert far.status_code == 413
    fits = upload(api.clinician, code, pdf.ljust(limit, b" "), "r.pdf")
    assert (fits.status_code, fits.json()["kind"]) == (201, "document")


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        ({}, "/file"),
        ({"file": "text"}, "/file"),
        ({"internal": "yes"}, "/internal"),
        ({"caption": "x"}, "/caption"),
    ],
)
def test_a_form_that_cannot_be_is_named(api: Api, data: dict, pointer: str):
    code = api.submitted()
    file = SimpleUploadedFile("p.jpg", photo())
    if pointer != "/file":
        data = {**data, "file": file}
    response = api.clinician.request(
        "post",
        f"cases/{code}/attachments",
        data=data,
        headers={"Idempotency-Key": "k"},
    )
    assert response.status_code == 422
    assert [e["pointer"] for e in response.json()["errors"]] == [pointer]


def test_json_is_no_file(api: Api):
    code = api.submitted()
    response = api.clinician.post(f"cases/{code}/attachments", {"file": "x"})
    assert response.status_code == 415


def test_a_file_is_stored_once_however_its_form_is_wrapped(api: Api):
    code = api.submitted()
    content = photo()
    one = upload(api.clinician, code, content, key="k")
    two = upload(api.clinician, code, content, key="k")
    other = upload(api.clinician, code, photo((41, 31)), key="k")
    assert (one.status_code, two.status_code, other.status_code) == (201, 201, 422)
    assert one.content == two.content
    assert len(api.clinician.get(f"cases/{code}/attachments").json()["items"]) == 1


def test_an_internal_file_is_the_laboratorys(api: Api):
    code = api.submitted()
    kept = upload(api.technician, code, photo(), internal="true").json()
    assert kept["internal"] is True
    assert api.clinician.get(kept["content"]).status_code == 404
    assert api.clinician.get(f"cases/{code}/attachments").json()["items"] == []
    assert api.lab_manager.get(kept["content"]).status_code == 200
    assert upload(api.clinician, code, photo(), internal="true").status_code == 403


def test_a_file_belongs_to_its_case(api: Api):
    one, two = api.submitted(), api.submitted()
    file = upload(api.clinician, one, photo()).json()["code"]
    crossed = api.clinician.get(f"cases/{two}/attachments/{file}")
    nobodys = api.clinician.get(f"cases/{two}/attachments/0000000000")
    assert crossed.status_code == nobodys.status_code == 404
    assert crossed.content == nobodys.content


def test_the_timeline_can_be_verified_outside(api: Api):
    code = api.submitted()
    api.technician.post(f"cases/{code}/messages", {"body": "x", "internal": True})
    api.technician.do(code, "receive", {"contents": ["impression"]})
    whole = api.technician.get(f"cases/{code}/timeline").json()
    assert (whole["verified"], whole["withheld"], whole["faults"]) == (True, [], [])
    previous = "0" * 64
    for position, entry in enumerate(whole["items"], start=1):
        text = f"{previous}\n{position}\n{entry['canonical']}"
        assert entry["prev_hash"] == previous
        assert entry["hash"] == hashlib.sha256(text.encode()).hexdigest()
        bound = entry["salt"].encode() + b"\n" + rfc8785.dumps(entry["content"])
        assert entry["content_commitment"] == hashlib.sha256(bound).hexdigest()
        previous = entry["hash"]
    seen = api.clinician.get(f"cases/{code}/timeline").json()
    assert [e["position"] for e in seen["items"]] == [1, 3]
    assert (seen["verified"], seen["withheld"]) == (True, [2])


def test_a_work_order_and_its_document(api: Api):
    code, order = api.released()
    record = api.clinician.get(f"work-orders/{order}").json()
    digest = hashlib.sha256(rfc8785.dumps(record["content"])).hexdigest()
    assert record["content_sha256"] == digest
    assert (record["case"], record["pdf_sha256"]) == (code, None)
    waiting = api.technician.get(record["pdf"])
    assert waiting.status_code == 503
    assert waiting.headers["Retry-After"] == "5"
    assert waiting.json()["type"] == "urn:chairbench:problem:not-rendered"

    content = b"%PDF-1.7 made by the worker"
    with acting(api.personas.technician.actor):
        work_order_rendered(
            order=WorkOrder.objects.get(code=order),
            storage_key=storage.put("pdf", content),
            pdf_sha256=hashlib.sha256(content).hexdigest(),
            at=factories.AT,
        )
    document = api.clinician.get(record["pdf"])
    assert (document.status_code, document.content) == (200, content)
    assert document.headers["Content-Type"] == "application/pdf"
    assert document.headers["Content-Disposition"] == (
        f'attachment; filename="work-order-{order}.pdf"'
    )
    assert document.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    record = api.clinician.get(f"work-orders/{order}").json()
    assert record["pdf_sha256"] == hashlib.sha256(content).hexdigest()


def test_what_is_created_says_where_it_is(api: Api):
    code = api.at_check(sufficient_unit())
    api.technician.do(code, "clear")
    version = api.technician.version(code)
    made = api.technician.post(f"cases/{code}/release", match=version)
    assert made.status_code == 201
    assert made.headers["ETag"] == f'"{version + 1}"'
    assert api.technician.get(made.headers["Location"]).json() == made.json()
    flag = api.technician.post(
        f"cases/{code}/flags",
        {"reasons": ["shade"], "text": "Which?"},
        match=version + 1,
    )
    assert flag.headers["Location"] == f"/api/v1/cases/{code}"

"""The conversation of a case: once, escaped, with its file, or kept as a draft."""

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from cases import storage
from cases.models import Attachment, Message
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit


def photo(name: str = "36 occlusal.jpg") -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), (120, 90, 80)).save(out, "JPEG")
    return SimpleUploadedFile(name, out.getvalue(), content_type="image/jpeg")


def body_of(text: str, **more):
    return {"client_id": str(uuid.uuid4()), "body": text, **more}


def post(desk: Desk, case, data, who: str = "clinician", **headers):
    url = f"/cases/{case.code}/messages/"
    return desk.browser(who).post(url, data, headers=headers)


def messages(desk: Desk, case) -> list[str]:
    with acting(desk.personas.technician.actor):
        rows = Message.objects.filter(case=case).order_by("id")
        return list(rows.values_list("body", flat=True))


def test_without_script_it_posts_and_leads_back(desk: Desk):
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of("Shall I bring the provisional?"))
    assert response.status_code == 302
    assert response["Location"] == f"/cases/{case.code}/#conversation"
    assert messages(desk, case) == ["Shall I bring the provisional?"]


def test_with_script_only_the_part_comes_back(desk: Desk):
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of("Hello."), **{"HX-Request": "true"})
    shown = response.content.decode()
    assert response.status_code == 200
    assert "Hello." in shown
    assert "<html" not in shown
    assert 'id="conversation"' in shown


def test_sent_twice_there_is_one_message_and_one_file(desk: Desk):
    case = desk.play.at_check(unit())
    data = body_of("With a photo.")
    for _again in range(2):
        response = post(desk, case, {**data, "file": photo()})
        assert response.status_code == 302
    assert messages(desk, case) == ["With a photo."]
    with acting(desk.personas.clinician.actor):
        assert Attachment.objects.get(case=case).message is not None


def test_html_in_a_message_is_text(desk: Desk):
    case = desk.play.at_check(unit())
    post(desk, case, body_of("<script>alert(1)</script><b>bold</b>"))
    shown = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&lt;b&gt;bold" in shown
    assert "<script>alert" not in shown


@pytest.mark.parametrize(
    ("text", "said"),
    [("   ", "Write a message."), ("x" * 8001, "Write at most 8000 characters")],
)
def test_a_refused_message_keeps_its_text(desk: Desk, text: str, said: str):
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of(text))
    shown = response.content.decode()
    assert response.status_code == 422
    assert said in shown
    assert text.strip() in shown
    part = post(desk, case, body_of(text), **{"HX-Request": "true"})
    assert part.status_code == 422
    assert said in part.content.decode()
    assert messages(desk, case) == []


def test_a_message_of_ten_megabytes_is_refused_clearly(desk: Desk):
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of("x" * 10_000_000))
    assert response.status_code == 422
    shown = response.content.decode()
    assert "Write at most 8000 characters; attach longer texts as a file." in shown
    assert "x" * 10_000_000 in shown
    assert messages(desk, case) == []


def test_a_body_over_the_servers_limit_is_refused_clearly(desk: Desk, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100_000
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of("x" * 200_000))
    assert response.status_code == 413
    assert "too large" in response.content.decode()
    assert messages(desk, case) == []


def test_a_file_over_the_limit_is_refused_before_it_is_read(desk: Desk):
    case = desk.play.at_check(unit())
    big = SimpleUploadedFile("big.jpg", b"x" * (10 * 2**20 + 1))
    response = post(desk, case, body_of("Here.", file=big))
    assert response.status_code == 422
    assert "larger than 10 MB" in response.content.decode()
    assert messages(desk, case) == []


def test_a_renamed_executable_is_no_photo(desk: Desk):
    case = desk.play.at_check(unit())
    fake = SimpleUploadedFile("x.jpg", b"MZ\x90\x00" + b"\x00" * 200, "image/jpeg")
    response = post(desk, case, body_of("Here.", file=fake))
    shown = response.content.decode()
    assert response.status_code == 422
    assert "The content decides, not the name." in shown
    assert "Here." in shown
    assert messages(desk, case) == []
    with acting(desk.personas.clinician.actor):
        assert not Attachment.objects.filter(case=case).exists()


def test_a_file_without_a_message_is_not_kept(desk: Desk, monkeypatch):
    kept: list[str] = []
    deleted: list[str] = []
    put, delete = storage.put, storage.delete

    def noting(kind: str, content: bytes) -> str:
        kept.append(put(kind, content))
        return kept[-1]

    monkeypatch.setattr(storage, "put", noting)

    def forgetting(key: str) -> None:
        deleted.append(key)
        delete(key)

    monkeypatch.setattr(storage, "delete", forgetting)
    case = desk.play.at_check(unit())
    response = post(desk, case, body_of("", file=photo()))
    assert response.status_code == 422
    assert kept == deleted
    assert len(kept) == 1
    with acting(desk.personas.clinician.actor):
        assert not Attachment.objects.filter(case=case).exists()


def test_an_internal_note_never_reaches_the_clinic(desk: Desk):
    case = desk.play.at_check(unit())
    post(desk, case, body_of("Upper shelf.", internal="on"), who="technician")
    lab = desk.browser("lab_manager").get(f"/cases/{case.code}/").content.decode()
    assert "Upper shelf." in lab
    assert "msg-internal" in lab
    for who in ("clinician", "assistant", "clinic_manager"):
        shown = desk.browser(who).get(f"/cases/{case.code}/").content.decode()
        assert "Upper shelf." not in shown
        assert "Chain checked" in shown
        assert 'name="internal"' not in shown


def test_the_clinic_cannot_write_internal_notes(desk: Desk):
    case = desk.play.at_check(unit())
    post(desk, case, body_of("For all.", internal="on"))
    with acting(desk.personas.clinician.actor):
        assert Message.objects.get(case=case).internal is False


def test_who_may_write(desk: Desk):
    case = desk.play.at_check(unit())
    for who, status in (
        ("clinician_b", 404),
        ("technician_m", 404),
        ("clinic_manager", 302),
        ("lab_manager", 302),
    ):
        assert post(desk, case, body_of("Hi."), who=who).status_code == status
    draft = desk.play.draft(unit())
    assert post(desk, draft, body_of("Hi.")).status_code == 409
    assert desk.browser("clinician").get(
        f"/cases/{case.code}/messages/"
    ).status_code == 405  # fmt: skip


def test_a_damaged_client_id_is_said(desk: Desk):
    case = desk.play.at_check(unit())
    response = post(desk, case, {"client_id": "1", "body": "Hi."})
    assert response.status_code == 422
    assert messages(desk, case) == []

"""Handing out attachments and work orders: as downloads, to who may see them."""

import io

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from cases import storage
from cases.models import WorkOrder
from cases.services.attachments import attachment_add
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit, unit

PDF = b"%PDF-1.7\n1 0 obj<</Type/Catalog>>endobj\n%%EOF\n"


def add(
    desk: Desk, case, name: str, content: bytes, *, who="technician", internal=False
):
    actor = desk.personas.named(who).actor
    with acting(actor):
        return attachment_add(
            actor=actor,
            code=case.code,
            name=name,
            content=content,
            internal=internal,
            at=desk.play.tick(),
        )


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), (120, 90, 80)).save(out, "JPEG")
    return out.getvalue()


def get(desk: Desk, case, row, who: str = "clinician", query: str = ""):
    return desk.browser(who).get(f"/cases/{case.code}/files/{row.code}/{query}")


def test_a_file_leaves_as_a_sandboxed_download(desk: Desk):
    case = desk.play.at_check(unit())
    row = add(desk, case, "Zäh…\r\nSet-Cookie: x=1.pdf", PDF)
    response = get(desk, case, row)
    assert response.status_code == 200
    assert response.content == PDF
    assert response["Content-Type"] == "application/pdf"
    disposition = response["Content-Disposition"]
    assert disposition.startswith("attachment; filename*=utf-8''")
    assert "\n" not in disposition
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert "no-store" in response["Cache-Control"]


def test_only_a_photo_is_shown_in_the_page(desk: Desk):
    case = desk.play.at_check(unit())
    shot = add(desk, case, "36.jpg", jpeg())
    document = add(desk, case, "letter.pdf", PDF)
    inline = get(desk, case, shot, query="?inline")
    assert inline["Content-Disposition"].startswith("inline")
    assert inline["Content-Type"] == "image/jpeg"
    assert get(desk, case, shot)["Content-Disposition"].startswith("attachment")
    refused = get(desk, case, document, query="?inline")
    assert refused["Content-Disposition"].startswith("attachment")


def test_strangers_and_other_cases_do_not_find_it(desk: Desk):
    case, other = desk.play.at_check(unit()), desk.play.at_check(unit())
    row = add(desk, case, "36.jpg", jpeg())
    assert get(desk, case, row, "clinician_b").status_code == 404
    assert get(desk, case, row, "technician_m").status_code == 404
    assert get(desk, other, row).status_code == 404


def test_an_internal_file_is_the_laboratorys(desk: Desk):
    case = desk.play.at_check(unit())
    row = add(desk, case, "shelf.jpg", jpeg(), internal=True)
    assert get(desk, case, row, "technician").status_code == 200
    assert get(desk, case, row, "clinician").status_code == 404
    page = desk.browser("clinician").get(f"/cases/{case.code}/").content.decode()
    assert row.code not in page


def test_an_uploaded_page_never_runs(desk: Desk):
    case = desk.play.at_check(unit())
    page = SimpleUploadedFile("a.pdf", b"<html><script>alert(1)</script>")
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/messages/",
        {
            "client_id": "7b7f2a3e-1111-4222-8333-444455556666",
            "body": "x",
            "file": page,
        },
    )
    assert response.status_code == 422


def released(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    desk.play.clear(case)
    return case, desk.play.release(case)


def test_a_work_order_without_its_document_says_so(desk: Desk):
    _case, order = released(desk)
    response = desk.browser("technician").get(f"/work-orders/{order.code}/pdf/")
    assert response.status_code == 503
    assert response["Retry-After"] == "5"
    assert "still being made" in response.content.decode()


def test_both_sides_get_the_document_and_strangers_do_not(desk: Desk):
    case, order = released(desk)
    with acting(desk.personas.technician.actor):
        WorkOrder.objects.filter(pk=order.pk).update(
            storage_key=storage.put("pdf", PDF)
        )
    url = f"/work-orders/{order.code}/pdf/"
    for who in ("technician", "clinician", "clinic_manager"):
        response = desk.browser(who).get(url)
        assert response.content == PDF
        assert response["Content-Disposition"] == (
            'attachment; filename="work-order-1.pdf"'
        )
    assert desk.browser("clinician_b").get(url).status_code == 404
    assert desk.browser("technician_m").get(url).status_code == 404
    page = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    assert url in page

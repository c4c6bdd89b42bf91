"""Render a released work order and store it; called by the worker only."""

from datetime import datetime

from django.conf import settings

from cases import storage
from cases.canonical import sha256_hex
from cases.documents.work_order import PatientLine, render_work_order
from cases.selectors.unscoped import work_order_to_render
from cases.services.rendering import work_order_rendered

__all__ = ["render_and_store", "verify_url"]


def verify_url(code: str, digest: str) -> str:
    """Return the address that says whether a printed order is genuine."""
    return f"{settings.BASE_URL}/verify/{code}/{digest}/"


def render_and_store(*, code: str, at: datetime) -> None:
    """Make the document of a work order once; a second call changes nothing."""
    order, patient = work_order_to_render(code)
    if order.pdf_sha256:
        return
    document = render_work_order(
        content=order.content,
        patient=PatientLine(
            reference=patient.reference if patient else "",
            initials=patient.initials if patient else "",
            age_band=patient.age_band if patient else "",
        ),
        verify_url=verify_url(order.code, order.content_sha256),
        digest=order.content_sha256,
    )
    key = storage.put("pdf", document)
    work_order_rendered(
        order=order, storage_key=key, pdf_sha256=sha256_hex(document), at=at
    )

"""Handing out what is stored: attachments and work orders, to who may see them.

A file is never run in the portal's name: it leaves as a download, with its type
fixed and sandboxed. Only photos, which were decoded and written anew when they
came in, may also be shown in a page.
"""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from cases.selectors.records import attachment_content, work_order_pdf
from cases.views.access import ActingRequest, acting_required

__all__ = ["attachment", "work_order_document"]

INLINE = "image/jpeg"


def _handed_out(
    content: bytes, *, content_type: str, name: str, inline: bool = False
) -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response.headers["Content-Disposition"] = str(
        content_disposition_header(not inline, name)
    )
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


@require_safe
@acting_required
def attachment(request: ActingRequest, code: str, attachment: str) -> HttpResponse:
    """Hand out a file of a case; ``?inline`` shows a photo in the page."""
    row, content = attachment_content(
        actor=request.actor, code=code, attachment=attachment
    )
    inline = "inline" in request.GET and row.content_type == INLINE
    return _handed_out(
        content, content_type=row.content_type, name=row.file_name, inline=inline
    )


@require_safe
@acting_required
def work_order_document(request: ActingRequest, code: str) -> HttpResponse:
    """Hand out the PDF, or say that it is still being made (503)."""
    order, content = work_order_pdf(actor=request.actor, code=code)
    if content is None:
        context = {"order": order, "case": order.case}
        response = render(request, "cases/order_waiting.html", context, status=503)
        response.headers["Retry-After"] = "5"
        return response
    return _handed_out(
        content,
        content_type="application/pdf",
        name=f"work-order-{order.number}.pdf",
    )

"""What hangs on a case: its thread, its files, its timeline, its work orders."""

from typing import Any, ClassVar
from uuid import uuid4

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import APIException
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from cases import clock
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Call, CaseCommand, Endpoint
from cases.api.fields import Body, listing, text, truth
from cases.api.once import Reply, once
from cases.api.parsers import TooLarge, declared_length
from cases.api.representations.records import (
    attachment_json,
    message_json,
    timeline_json,
    work_order_json,
)
from cases.canonical import canonical_json, sha256_hex
from cases.errors import Invalid, InvalidField
from cases.lifecycle import Command
from cases.selectors.cases import case_detail
from cases.selectors.records import (
    attachment_content,
    timeline_rows,
    work_order_get,
    work_order_pdf,
)
from cases.services.attachments import attachment_add
from cases.services.thread import MAX_MESSAGE, message_post

__all__ = [
    "Attachment",
    "Attachments",
    "Messages",
    "Timeline",
    "WorkOrder",
    "WorkOrderDocument",
]

# Room for the boundaries and headers of a multipart body around the file itself.
_WRAPPING = 64 * 1024


class Messages(CaseCommand):
    """Read the thread of a case; write to the other side, or a note within."""

    command = Command.MESSAGE
    versioned = False
    success = 201
    returns = "Message"
    body = Body(
        {
            "body": text(MAX_MESSAGE, needed=True),
            "internal": truth(),
            "client_id": text(40),
            "attachments": listing(text(10), at_most=20),
        }
    )

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return reading and writing."""
        return {"get": Operation(returns="MessageList"), **super().described()}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer all messages, oldest first."""
        actor = actor_of(request)
        detail = case_detail(actor=actor, code=code)
        items = [
            message_json(row, [file.code for file in row.attachments.all()])
            for row in detail.messages
            if not (row.internal and actor.is_clinic)
        ]
        return self.answer({"items": items})

    def perform(self, call: Call) -> Reply:
        """Post. The same ``client_id`` again is the same message."""
        values = {**call.data, "client_id": call.data["client_id"] or uuid4().hex}
        message = message_post(actor=call.actor, code=call.code, at=call.at, **values)
        return Reply(
            message_json(message, sorted(values["attachments"])),
            status=201,
            location=reverse("api_messages", args=[call.code]),
        )


class Attachments(CaseCommand):
    """List the files of a case; add a photo, a PDF or a scan."""

    command = Command.ATTACH
    versioned = False
    success = 201
    parser_classes = (MultiPartParser,)

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return listing and adding."""
        form = {
            "type": "object",
            "properties": {
                "file": {"type": "string", "format": "binary"},
                "internal": {"type": "string", "enum": ["true", "false"]},
            },
            "required": ["file"],
            "additionalProperties": False,
        }
        return {
            "get": Operation(returns="AttachmentList"),
            "post": Operation(
                request=form,
                request_type="multipart/form-data",
                returns="Attachment",
                status=201,
                once=True,
            ),
        }

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer all files, oldest first."""
        actor = actor_of(request)
        detail = case_detail(actor=actor, code=code)
        items = [
            attachment_json(row, code)
            for row in detail.attachments
            if not (row.internal and actor.is_clinic)
        ]
        return self.answer({"items": items})

    def post(self, request: Request, code: str) -> HttpResponse:
        """Store the file once; a retry is known by name and content."""
        actor, at = actor_of(request), clock.now()
        if declared_length(self.http) > settings.MAX_ATTACHMENT_BYTES + _WRAPPING:
            raise TooLarge(_too_large())
        self.admit(actor, code)
        file, internal = _form(request)
        content = file.read()
        told = [file.name, sha256_hex(content), internal]

        def work() -> Reply:
            row = attachment_add(
                actor=actor,
                code=code,
                name=file.name or "",
                content=content,
                internal=internal,
                at=at,
            )
            return Reply(
                attachment_json(row, code),
                status=201,
                location=reverse("api_attachment", args=[code, row.code]),
            )

        digest = sha256_hex(canonical_json(told))
        return once(request, work, actor=actor, digest=digest, at=at)


def _too_large() -> str:
    limit = settings.MAX_ATTACHMENT_BYTES // 2**20
    return _("The file is larger than {limit} MB.").format(limit=limit)


def _form(request: Request) -> "tuple[UploadedFile[Any], bool]":
    """Return the one file of a multipart body and whether it is internal.

    Raises:
        TooLarge: over the limit.
        Invalid: no file, several, or fields that are not known.
    """
    data: Any = request.data
    fields = {key: data.getlist(key) for key in data} if data else {}
    faults = [
        InvalidField(f"/{key}", "Known fields are file and internal.")
        for key in fields
        if key not in {"file", "internal"}
    ]
    files = [f for f in fields.get("file", []) if isinstance(f, UploadedFile)]
    if len(files) != 1 or len(fields["file"]) != 1:
        faults.append(InvalidField("/file", "Send one file."))
    internal = fields.get("internal", ["false"])
    if internal not in (["true"], ["false"]):
        faults.append(InvalidField("/internal", "Only true or false belongs here."))
    if faults:
        raise Invalid(*faults)
    if (files[0].size or 0) > settings.MAX_ATTACHMENT_BYTES:
        raise TooLarge(_too_large())
    return files[0], internal == ["true"]


def _download(content: bytes, *, content_type: str, name: str) -> HttpResponse:
    """Return bytes that a browser saves and never shows or runs."""
    return HttpResponse(
        content,
        headers={
            "Content-Type": content_type,
            "Content-Disposition": content_disposition_header(True, name) or "",
            "Content-Security-Policy": "sandbox; default-src 'none'",
            "X-Content-Type-Options": "nosniff",
        },
    )


class Attachment(Endpoint):
    """Download a file of a case."""

    operations: ClassVar[dict[str, Operation]] = {
        "get": Operation(media_type="application/octet-stream")
    }

    def get(self, request: Request, code: str, attachment: str) -> HttpResponse:
        """Answer the bytes; both codes must belong together."""
        row, content = attachment_content(
            actor=actor_of(request), code=code, attachment=attachment
        )
        return _download(content, content_type=row.content_type, name=row.file_name)


class Timeline(Endpoint):
    """Tell everything that happened to a case, in order, with its chained hash."""

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="Timeline")}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the entries and whether the chain holds."""
        actor = actor_of(request)
        return self.answer(timeline_json(timeline_rows(actor=actor, code=code), actor))


class WorkOrder(Endpoint):
    """Show a work order: number, status, frozen content, digests."""

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="WorkOrder")}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the record."""
        order = work_order_get(actor=actor_of(request), code=code)
        return self.answer(work_order_json(order, order.case.code))


class NotRendered(APIException):
    """The worker has not made the document yet."""

    status_code = 503
    default_code = "not_rendered"
    default_detail = gettext_lazy(
        "The document is being made. Ask again in some seconds."
    )
    wait = 5


class WorkOrderDocument(Endpoint):
    """Download the document of a work order; 503 until the worker has made it."""

    operations: ClassVar[dict[str, Operation]] = {
        "get": Operation(media_type="application/pdf")
    }

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the original bytes under a name that says nothing of the case."""
        order, content = work_order_pdf(actor=actor_of(request), code=code)
        if content is None:
            raise NotRendered
        name = f"work-order-{order.code}.pdf"
        return _download(content, content_type="application/pdf", name=name)

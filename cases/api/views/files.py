"""Files of a case: list, add, download."""

from typing import Any, ClassVar

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from cases import clock
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import CaseCommand, Endpoint
from cases.api.once import Reply, once
from cases.api.parsers import TooLarge, declared_length
from cases.api.representations.records import attachment_json
from cases.canonical import canonical_json, sha256_hex
from cases.errors import Invalid, InvalidField
from cases.lifecycle import Command
from cases.selectors.cases import case_detail
from cases.selectors.records import attachment_content
from cases.services.attachments import attachment_add

__all__ = ["Attachment", "Attachments", "download"]

# Room for the boundaries and headers of a multipart body around the file itself.
_WRAPPING = 64 * 1024


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


def download(content: bytes, *, content_type: str, name: str) -> HttpResponse:
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
        return download(content, content_type=row.content_type, name=row.file_name)

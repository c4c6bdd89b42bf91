"""Schemas of what hangs on a case, of signing, and of a problem."""

from cases.api.schemas.shapes import (
    FLAG,
    MOMENT,
    TEXT,
    WHOLE,
    Schema,
    array,
    nullable,
    record,
    ref,
    words,
)
from cases.enums import AuditEvent, Side, WorkOrderStatus
from cases.lifecycle import CaseState
from cases.services.signing import PURPOSES

__all__ = ["COMPONENTS"]

_MESSAGE = record(
    {
        "code": TEXT,
        "author": TEXT,
        "side": words(Side.values),
        "internal": FLAG,
        "body": TEXT,
        "client_id": TEXT,
        "written_at": MOMENT,
        "attachments": array(TEXT),
    }
)
_ATTACHMENT = record(
    {
        "code": TEXT,
        "kind": words(("photo", "document", "scan")),
        "file_name": TEXT,
        "content_type": TEXT,
        "size": WHOLE,
        "sha256": TEXT,
        "side": words(Side.values),
        "internal": FLAG,
        "uploaded_by": TEXT,
        "uploaded_at": MOMENT,
        "content": TEXT,
    }
)
_ENTRY = record(
    {
        "position": WHOLE,
        "event": words(AuditEvent.values),
        "at": MOMENT,
        "side": words(Side.values),
        "before": words(CaseState),
        "after": words(CaseState),
        "internal": FLAG,
        "content": {"type": ["object", "null"]},
        "salt": nullable(TEXT),
        "content_commitment": TEXT,
        "canonical": TEXT,
        "prev_hash": TEXT,
        "hash": TEXT,
    },
    about="hash: SHA-256 of prev_hash, position and canonical joined by line feeds.",
)
_FAULT = record({"pointer": TEXT, "detail": TEXT})

COMPONENTS: dict[str, Schema] = {
    "Message": _MESSAGE,
    "MessageList": record({"items": array(ref("Message"))}),
    "Attachment": _ATTACHMENT,
    "AttachmentList": record({"items": array(ref("Attachment"))}),
    "Timeline": record(
        {
            "items": array(_ENTRY),
            "withheld": array(WHOLE),
            "verified": FLAG,
            "faults": array(TEXT),
        }
    ),
    "WorkOrder": record(
        {
            "code": TEXT,
            "number": WHOLE,
            "case": TEXT,
            "status": words(WorkOrderStatus.values),
            "revision": WHOLE,
            "round": WHOLE,
            "content": {"type": "object"},
            "content_sha256": TEXT,
            "released_at": MOMENT,
            "superseded_at": nullable(MOMENT),
            "rendered_at": nullable(MOMENT),
            "pdf_sha256": nullable(TEXT),
            "pdf": TEXT,
        }
    ),
    "SigningPreview": record(
        {
            "purpose": words(PURPOSES),
            "target": TEXT,
            "content": {"type": "object"},
            "content_sha256": TEXT,
        }
    ),
    "SigningGrant": record({"grant": TEXT, "expires_at": MOMENT}),
    "Problem": record(
        {
            "type": TEXT,
            "title": TEXT,
            "status": WHOLE,
            "detail": TEXT,
            "errors": array(_FAULT),
            "reasons": array(TEXT),
            "version": WHOLE,
            "content_sha256": TEXT,
        },
        optional=("errors", "reasons", "version", "content_sha256"),
        about="RFC 9457. Each error has the JSON pointer of the value it is about.",
    ),
}

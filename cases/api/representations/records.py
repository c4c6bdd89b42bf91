"""What hangs on a case as JSON: messages, files, work orders, the timeline."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cases.api.representations.values import iso
from cases.tenancy import Actor
from cases.timeline import chain_faults

if TYPE_CHECKING:
    from cases.models import Attachment, Message, WorkOrder
    from cases.selectors.records import TimelineRow

__all__ = ["attachment_json", "message_json", "timeline_json", "work_order_json"]


def attachment_json(row: "Attachment", case: str) -> dict[str, Any]:
    """Return a file of the case with this code; its bytes are at ``content``."""
    return {
        "code": row.code,
        "kind": row.kind,
        "file_name": row.file_name,
        "content_type": row.content_type,
        "size": row.size,
        "sha256": row.sha256,
        "side": row.side,
        "internal": row.internal,
        "uploaded_by": row.uploaded_by_name,
        "uploaded_at": iso(row.uploaded_at),
        "content": f"/api/v1/cases/{case}/attachments/{row.code}",
    }


def message_json(row: "Message", attachments: list[str]) -> dict[str, Any]:
    """Return a message with the codes of its files."""
    return {
        "code": row.code,
        "author": row.author_name,
        "side": row.side,
        "internal": row.internal,
        "body": row.body,
        "client_id": row.client_id,
        "written_at": iso(row.written_at),
        "attachments": attachments,
    }


def work_order_json(order: "WorkOrder", case: str) -> dict[str, Any]:
    """Return a work order with its frozen content.

    ``content_sha256`` is the SHA-256 of the RFC 8785 form of ``content``;
    ``pdf_sha256`` that of the document, null until it is rendered.
    """
    return {
        "code": order.code,
        "number": order.number,
        "case": case,
        "status": order.status,
        "revision": order.revision,
        "round": order.round,
        "content": order.content,
        "content_sha256": order.content_sha256,
        "released_at": iso(order.released_at),
        "superseded_at": iso(order.superseded_at),
        "rendered_at": iso(order.rendered_at),
        "pdf_sha256": order.pdf_sha256 or None,
        "pdf": f"/api/v1/work-orders/{order.code}.pdf",
    }


def _entry(row: "TimelineRow") -> dict[str, Any]:
    entry = row.entry
    return {
        "position": entry.position,
        "event": entry.event,
        "at": iso(entry.at),
        "side": entry.actor_side,
        "before": entry.state_before,
        "after": entry.state_after,
        "internal": entry.internal,
        "content": row.content,
        "salt": row.salt,
        "content_commitment": entry.content_commitment,
        "canonical": entry.canonical,
        "prev_hash": entry.prev_hash,
        "hash": entry.entry_hash,
    }


def timeline_json(rows: Sequence["TimelineRow"], actor: Actor) -> dict[str, Any]:
    """Return the timeline and whether its chain holds.

    ``hash`` is the SHA-256 of ``prev_hash``, ``position`` and ``canonical``, joined
    by line feeds; ``content_commitment`` that of ``salt``, a line feed and the
    RFC 8785 form of ``content`` (both null once erased). The laboratory's own notes
    are withheld from the clinic: ``withheld`` lists their positions.
    """
    positions = {row.entry.position for row in rows}
    withheld = [p for p in range(1, max(positions, default=0)) if p not in positions]
    faults = chain_faults((row.entry for row in rows), withheld=actor.is_clinic)
    return {
        "items": [_entry(row) for row in rows],
        "withheld": withheld,
        "verified": not faults,
        "faults": faults,
    }

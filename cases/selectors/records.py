"""Reading what hangs on a case: timeline, files, orders, queries, notices."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import connection

from cases import storage
from cases.errors import NotFound
from cases.models import (
    Attachment,
    Case,
    Flag,
    Notice,
    TimelineContent,
    TimelineEntry,
    WorkOrder,
)
from cases.selectors.cases import case_get
from cases.tenancy import Actor

__all__ = [
    "TimelineRow",
    "attachment_content",
    "flag_get",
    "notice_list",
    "notice_unread",
    "timeline_rows",
    "work_order_get",
    "work_order_pdf",
    "work_order_status",
]


@dataclass(frozen=True, slots=True)
class TimelineRow:
    """One entry with content and salt, which may have been erased (None)."""

    entry: TimelineEntry
    content: dict[str, object] | None
    salt: str | None = None


def timeline_rows(*, actor: Actor, code: str) -> list[TimelineRow]:
    """Return what happened to a case, in order of position."""
    case = case_get(actor=actor, code=code)
    entries = list(TimelineEntry.objects.filter(case=case).order_by("position"))
    contents = {
        row.entry_id: (row.content, row.salt)
        for row in TimelineContent.objects.filter(case=case)
    }
    return [
        TimelineRow(entry, *contents.get(entry.pk, (None, None))) for entry in entries
    ]


def flag_get(*, actor: Actor, code: str) -> Flag:
    """Return a query of a case the actor may see, with its case."""
    flag = (
        Flag.objects.filter(code=code, case__in=Case.objects.visible_to(actor))
        .select_related("case__clinic", "case__laboratory", "case__prescriber")
        .first()
    )
    if flag is None:
        raise NotFound
    return flag


def attachment_content(
    *, actor: Actor, code: str, attachment: str
) -> tuple[Attachment, bytes]:
    """Return a file of a case and its bytes; both codes must belong together."""
    case = case_get(actor=actor, code=code)
    row = Attachment.objects.filter(case=case, code=attachment).first()
    if row is None or (actor.is_clinic and row.internal):
        raise NotFound
    return row, storage.get(row.storage_key)


def work_order_get(*, actor: Actor, code: str) -> WorkOrder:
    """Return a work order of a case the actor may see."""
    order = (
        WorkOrder.objects.filter(code=code, case__in=Case.objects.visible_to(actor))
        .select_related("case")
        .first()
    )
    if order is None:
        raise NotFound
    return order


def work_order_pdf(*, actor: Actor, code: str) -> tuple[WorkOrder, bytes | None]:
    """Return the document's bytes, or None while the worker has not made it."""
    order = work_order_get(actor=actor, code=code)
    return order, storage.get(order.storage_key) if order.storage_key else None


def work_order_status(*, code: str, digest: str) -> str:
    """Return "active", "suspended", "superseded", or "" for not genuine.

    Needs no tenant: whoever holds the paper may ask whether it is genuine and
    current, and learns nothing else.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT work_order_genuine(%s, %s)", [code, digest])
        row = cursor.fetchone()
    return (row[0] or "") if row else ""


def notice_list(*, actor: Actor, limit: int = 50) -> Sequence[Notice]:
    """Return the person's newest notices in the portal."""
    return list(
        Notice.objects.filter(membership_id=actor.membership_id, channel="portal")
        .select_related("case__patient")
        .order_by("-created_at", "-id")[:limit]
    )


def notice_unread(*, actor: Actor) -> int:
    """Return how many notices the person has not read."""
    return Notice.objects.filter(
        membership_id=actor.membership_id, channel="portal", read_at__isnull=True
    ).count()

"""Notices as rows: made once, read, and marked when their mail went out."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.text import slugify

from cases.models import Notice, Recipient
from cases.tenancy import Actor, tenant

__all__ = [
    "MailDue",
    "notice_mail_due",
    "notice_mail_sent",
    "notices_create",
    "notices_read",
]


@dataclass(frozen=True, slots=True)
class MailDue:
    """One mail to send, complete: nothing is read while it is on its way."""

    notice_id: int
    person: Recipient
    kind: str
    case_code: str
    message_id: str


def notices_create(
    *,
    organisation_id: int,
    people: Sequence[Recipient],
    kind: str,
    event: str,
    case_id: int | None,
    at: datetime,
    no_mail: Collection[int] = (),
) -> None:
    """Create what is not there yet: one per event, person and channel.

    ``no_mail``: memberships that are told in the portal only.
    """
    Notice.objects.bulk_create(
        (
            Notice(
                organisation_id=organisation_id,
                recipient_id=person.user_id,
                membership_id=person.membership_id,
                case_id=case_id,
                event=event,
                kind=kind,
                channel=channel,
                created_at=at,
                message_id=(
                    f"<{slugify(event)}.{person.user_id}@chairbench.invalid>"
                    if channel == "mail"
                    else ""
                ),
            )
            for person in people
            for channel in ("portal", "mail")
            if channel == "portal" or person.membership_id not in no_mail
        ),
        ignore_conflicts=True,
    )


def notice_mail_due(*, event: str, organisation_id: int) -> list[MailDue]:
    """Return the mails of an event that were not sent yet."""
    with tenant(organisation_id):
        rows = (
            Notice.objects.filter(event=event, channel="mail", sent_at__isnull=True)
            .select_related("recipient", "organisation", "case")
            .order_by("id")
        )
        return [
            MailDue(
                notice_id=row.pk,
                person=Recipient(
                    user_id=row.recipient_id,
                    membership_id=row.membership_id,
                    email=row.recipient.email,
                    language=row.organisation.language,
                ),
                kind=row.kind,
                case_code=row.case.code if row.case else "",
                message_id=row.message_id,
            )
            for row in rows
            if row.recipient.is_active
        ]


def notice_mail_sent(*, notice_id: int, organisation_id: int, at: datetime) -> None:
    """Mark a mail as gone."""
    with tenant(organisation_id):
        Notice.objects.filter(pk=notice_id).update(sent_at=at)


@transaction.atomic
def notices_read(*, actor: Actor, at: datetime, notice_id: int | None = None) -> int:
    """Mark the person's notices (or one of them) as read; return how many."""
    rows = Notice.objects.filter(
        membership_id=actor.membership_id, channel="portal", read_at__isnull=True
    )
    if notice_id is not None:
        rows = rows.filter(pk=notice_id)
    return rows.update(read_at=at)

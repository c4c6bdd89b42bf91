"""The few reads without an actor, for background work only.

They still run inside ``tenant()`` of the row the work belongs to.
"""

from collections.abc import Sequence
from uuid import UUID

from cases.models import (
    Invitation,
    Membership,
    OutboxRow,
    PatientIdentity,
    Recipient,
    User,
    WorkOrder,
)

__all__ = [
    "invitation_to_send",
    "outbox_row",
    "person_to_write",
    "recipients_of",
    "work_order_to_render",
]


def recipients_of(*, organisation_id: int, roles: Sequence[str]) -> list[Recipient]:
    """Return the active people of an organisation in these roles, each once."""
    rows = (
        Membership.objects.filter(
            organisation_id=organisation_id,
            role__in=roles,
            ended_at__isnull=True,
            user__is_active=True,
        )
        .select_related("user", "organisation")
        .order_by("user_id", "id")
    )
    found: dict[int, Recipient] = {}
    for row in rows:
        found.setdefault(
            row.user_id,
            Recipient(row.user_id, row.pk, row.user.email, row.organisation.language),
        )
    return list(found.values())


def outbox_row(row_id: UUID) -> OutboxRow | None:
    """Return a claimed outbox row, locked, unless it is done meanwhile."""
    return (
        OutboxRow.objects.select_for_update()
        .filter(pk=row_id, done_at__isnull=True, dead_at__isnull=True)
        .first()
    )


def work_order_to_render(code: str) -> tuple[WorkOrder, PatientIdentity | None]:
    """Return a work order and the patient's identity (None once erased)."""
    order = WorkOrder.objects.select_related("case", "laboratory").get(code=code)
    return order, PatientIdentity.objects.filter(case_id=order.case_id).first()


def invitation_to_send(code: str) -> Invitation | None:
    """Return an invitation that can still be used, with its organisation."""
    return (
        Invitation.objects.filter(
            code=code, used_at__isnull=True, revoked_at__isnull=True
        )
        .select_related("organisation")
        .first()
    )


def person_to_write(user_id: int) -> User | None:
    """Return an active person by id."""
    return User.objects.filter(pk=user_id, is_active=True).first()

"""The few reads without an actor, for background work only.

They still run inside ``tenant()`` of the row the work belongs to.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from cases.models import Membership, OutboxRow, PatientIdentity, WorkOrder

__all__ = ["Recipient", "outbox_row", "recipients_of", "work_order_to_render"]


@dataclass(frozen=True, slots=True)
class Recipient:
    """A person to be told, through one membership."""

    user_id: int
    membership_id: int
    email: str
    language: str


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


def outbox_row(row_id: object) -> OutboxRow | None:
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

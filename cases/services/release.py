"""Clear the case and release its work order.

Release takes the next gap-free number of the laboratory from a locked row,
freezes the content and commits; a worker renders the document afterwards.
"""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from cases.canonical import canonical_json, new_code, sha256_hex
from cases.enums import AuditEvent, WorkOrderStatus
from cases.lifecycle import Command
from cases.models import Case, Prescription, WorkOrder, WorkOrderCounter
from cases.services.base import advance, begin, database_guards, tell
from cases.services.gate import cover_within_uncertainty, require_open_gate
from cases.services.work_order_content import work_order_content
from cases.tenancy import Actor

__all__ = ["case_clear", "work_order_release"]


@transaction.atomic
def case_clear(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    within_uncertainty: Sequence[tuple[str, str]],
    at: datetime,
) -> Case:
    """Clear the case for fabrication.

    ``within_uncertainty`` lists (tooth, site) the technician clears on the
    record because the reading is at or above the need but not proven.

    Raises:
        Conflict: the gate is shut, with every reason.
    """
    case = begin(actor=actor, code=code, command=Command.CLEAR, version=version)
    cover_within_uncertainty(case, sites=within_uncertainty, actor=actor, at=at)
    require_open_gate(case)
    with database_guards():
        advance(
            case,
            command=Command.CLEAR,
            event=AuditEvent.CASE_CLEARED,
            actor=actor,
            at=at,
            content={
                "within_uncertainty": [
                    {"tooth": tooth, "site": site} for tooth, site in within_uncertainty
                ]
            },
        )
    return case


def _next_number(laboratory_id: int) -> int:
    """Return the laboratory's next number; the row stays locked until commit."""
    WorkOrderCounter.objects.get_or_create(laboratory_id=laboratory_id)
    counter = WorkOrderCounter.objects.select_for_update().get(
        laboratory_id=laboratory_id
    )
    counter.last_number += 1
    counter.save(update_fields=["last_number"])
    return counter.last_number


@transaction.atomic
def work_order_release(
    *, actor: Actor, code: str, version: int | None, at: datetime
) -> WorkOrder:
    """Release the work order of a cleared case; older ones are superseded.

    Raises:
        Conflict: the gate is shut, in code or in the database.
    """
    case = begin(actor=actor, code=code, command=Command.RELEASE, version=version)
    require_open_gate(case)
    prescription = Prescription.objects.select_related("signature").get(
        case=case, revision=case.revision
    )
    check, signature = case.current_check, prescription.signature
    assert check is not None  # noqa: S101 -- the gate asked for it
    assert signature is not None  # noqa: S101 -- the gate asked for it
    number = _next_number(case.laboratory_id)
    order_code = new_code()
    content = work_order_content(
        case=case,
        prescription=prescription,
        number=number,
        order_code=order_code,
        released_by=actor.name,
        at=at,
    )
    with database_guards():
        WorkOrder.objects.filter(case=case).exclude(
            status=WorkOrderStatus.SUPERSEDED
        ).update(status=WorkOrderStatus.SUPERSEDED, superseded_at=at)
        order = WorkOrder.objects.create(
            code=order_code,
            case=case,
            laboratory_id=case.laboratory_id,
            number=number,
            revision=case.revision,
            round=case.round,
            based_on=check,
            prescription_signature=signature,
            content=content,
            content_sha256=sha256_hex(canonical_json(content)),
            released_by_id=actor.membership_id,
            released_at=at,
        )
        advance(
            case,
            command=Command.RELEASE,
            event=AuditEvent.WORK_ORDER_RELEASED,
            actor=actor,
            at=at,
            content={
                "work_order": order.code,
                "number": number,
                "content_sha256": order.content_sha256,
            },
        )
    tell(
        case=case,
        organisation_id=case.laboratory_id,
        kind="render_work_order",
        key=f"render-{order.code}",
        at=at,
        work_order=order.code,
    )
    return order

"""How a case enters and leaves a hold, in one place.

A hold remembers where it came from. Several queries may be open; the case
leaves when none is, to the strongest of their answers.
"""

from datetime import datetime

from cases.enums import WorkOrderStatus
from cases.lifecycle import CaseState, settled_target
from cases.models import Case, WorkOrder
from cases.selectors.grounds import open_flags

__all__ = ["HOLD_FIELDS", "enter_hold", "leave_target", "restore_order"]

HOLD_FIELDS = ("held_from", "hold_targets")


def enter_hold(case: Case) -> None:
    """Remember where the hold came from and suspend an active work order."""
    if case.state != CaseState.ON_HOLD:
        case.held_from = case.state
        case.hold_targets = []
    WorkOrder.objects.filter(case=case, status=WorkOrderStatus.ACTIVE).update(
        status=WorkOrderStatus.SUSPENDED
    )


def leave_target(case: Case) -> CaseState:
    """Return where the case goes now that one more query was settled."""
    if open_flags(case):
        return CaseState.ON_HOLD
    if case.hold_targets:
        return settled_target([CaseState(t) for t in case.hold_targets])
    return CaseState(case.held_from)


def restore_order(case: Case, *, target: CaseState, at: datetime) -> None:
    """Reactivate the order the hold suspended, or supersede it on cancelling."""
    suspended = WorkOrder.objects.filter(case=case, status=WorkOrderStatus.SUSPENDED)
    if target in (CaseState.IN_FABRICATION, CaseState.AT_TRY_IN):
        newest = suspended.order_by("-released_at", "-id").first()
        if newest is not None:
            newest.status = WorkOrderStatus.ACTIVE
            newest.save(update_fields=["status"])
    elif target is CaseState.CANCELLED:
        suspended.update(status=WorkOrderStatus.SUPERSEDED, superseded_at=at)

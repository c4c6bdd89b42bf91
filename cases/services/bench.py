"""After release: try-in, return, dispatch, receipt, internal remake, cancel."""

from datetime import datetime

from django.db import transaction

from cases.enums import AuditEvent, FlagStatus, WorkOrderStatus
from cases.errors import Invalid, NotAllowed
from cases.lifecycle import CaseState, Command
from cases.models import Case, Flag, Remake, WorkOrder
from cases.services.base import advance, begin, database_guards
from cases.services.remake_parts import (
    ATTRIBUTIONS,
    CAUSES,
    DETECTED_BEFORE,
    RemakeDetails,
    remake_read,
)
from cases.services.remake_store import remake_store
from cases.services.remake_traces import remake_content, traces_draw
from cases.tenancy import Actor

__all__ = [
    "ATTRIBUTIONS",
    "CAUSES",
    "case_cancel",
    "case_dispatch",
    "case_receipt",
    "case_resume",
    "case_return",
    "case_try_in",
    "internal_remake",
]


def check_text(pointer: str, text: str, *, message: str) -> str:
    """Return the stripped text, or raise Invalid when empty or over 4000."""
    if not text.strip():
        raise Invalid.one(pointer, message)
    if len(text) > 4000:
        raise Invalid.one(pointer, "Write at most 4000 characters.")
    return text.strip()


def _moved(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    command: Command,
    event: AuditEvent,
    note: str,
    at: datetime,
) -> Case:
    case = begin(actor=actor, code=code, command=command, version=version)
    if len(note) > 4000:
        raise Invalid.one("/note", "Write at most 4000 characters.")
    with database_guards():
        advance(
            case,
            command=command,
            event=event,
            actor=actor,
            at=at,
            content={"note": note.strip()},
        )
    return case


@transaction.atomic
def case_try_in(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Send the work to the clinic for a try-in."""
    return _moved(
        actor=actor,
        code=code,
        version=version,
        command=Command.TRY_IN,
        event=AuditEvent.SENT_TO_TRY_IN,
        note=note,
        at=at,
    )


@transaction.atomic
def case_return(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Return the work with notes: after try-in, or for adjustment."""
    check_text("/note", note, message="Say what the laboratory should do.")
    return _moved(
        actor=actor,
        code=code,
        version=version,
        command=Command.RETURN,
        event=AuditEvent.RETURNED,
        note=note,
        at=at,
    )


@transaction.atomic
def case_dispatch(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Send the finished work to the clinic (``note``: carrier and reference)."""
    return _moved(
        actor=actor,
        code=code,
        version=version,
        command=Command.DISPATCH,
        event=AuditEvent.DISPATCHED,
        note=note,
        at=at,
    )


@transaction.atomic
def case_receipt(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Confirm that the work arrived at the clinic."""
    return _moved(
        actor=actor,
        code=code,
        version=version,
        command=Command.RECEIPT,
        event=AuditEvent.RECEIPT,
        note=note,
        at=at,
    )


@transaction.atomic
def case_resume(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Take up a deferred case: new records are due."""
    case = begin(actor=actor, code=code, command=Command.RESUME, version=version)
    case.records_due = ["impression", "jaw_record", "readings"]
    case.review_on = None
    advance(
        case,
        command=Command.RESUME,
        event=AuditEvent.CASE_RESUMED,
        actor=actor,
        at=at,
        fields=("records_due", "review_on"),
        content={"note": note.strip()},
    )
    return case


@transaction.atomic
def case_cancel(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    reason: str,
    at: datetime,
    charged_work: str = "",
) -> Case:
    """Cancel before dispatch; open queries are withdrawn, orders superseded.

    ``charged_work`` says what was done already and is charged.
    """
    case = begin(actor=actor, code=code, command=Command.CANCEL, version=version)
    if actor.user_id != case.prescriber_id:
        raise NotAllowed("Only the prescriber cancels a case.")
    reason = check_text("/reason", reason, message="Say why the case is cancelled.")
    if len(charged_work) > 4000:
        raise Invalid.one("/charged_work", "Write at most 4000 characters.")
    case.charged_work = charged_work.strip()
    WorkOrder.objects.filter(case=case).exclude(
        status=WorkOrderStatus.SUPERSEDED
    ).update(status=WorkOrderStatus.SUPERSEDED, superseded_at=at)
    with database_guards():
        advance(
            case,
            command=Command.CANCEL,
            event=AuditEvent.CASE_CANCELLED,
            actor=actor,
            at=at,
            target=CaseState.CANCELLED,
            fields=("charged_work",),
            content={"reason": reason, "charged_work": case.charged_work},
        )
        # The database lets the other side's queries go once the case is cancelled.
        Flag.objects.filter(
            case=case, status__in=[FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE]
        ).update(
            status=FlagStatus.WITHDRAWN,
            settled_at=at,
            withdrawn_reason=reason,
        )
    return case


@transaction.atomic
def internal_remake(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    cause: str,
    detected_at: str,
    note: str,
    at: datetime,
    attribution: str = "",
    details: RemakeDetails | None = None,
) -> Remake:
    """Record work made again before dispatch; the case stays in fabrication.

    ``attribution`` is the laboratory's. Lines to the verdicts and answers it may go
    back to are drawn at once.

    Raises:
        NotFound, NotAllowed, StaleVersion, IllegalTransition: as ever.
        Invalid: every field that cannot be used.
    """
    case = begin(
        actor=actor, code=code, command=Command.INTERNAL_REMAKE, version=version
    )
    parts = remake_read(
        case,
        cause=cause,
        detected_at=detected_at,
        detected_known=DETECTED_BEFORE,
        attribution=attribution,
        note=note,
        details=details or RemakeDetails(),
        whole_spans=False,
    )
    with remake_store(case, parts, actor=actor, new_case=None, at=at) as remake:
        drawn = traces_draw(remake, actor=actor, at=at)
        with database_guards():
            advance(
                case,
                command=Command.INTERNAL_REMAKE,
                event=AuditEvent.INTERNAL_REMAKE,
                actor=actor,
                at=at,
                content=remake_content(remake, drawn),
            )
    return remake

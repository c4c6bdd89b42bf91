"""What each side adds to a recorded remake: attribution, traces, its own loss."""

from datetime import datetime

from django.db import transaction

from cases import policies, timeline
from cases.enums import Attribution, AuditEvent
from cases.errors import Conflict, Invalid, InvalidField, NotFound
from cases.models import (
    Case,
    Remake,
    RemakeLoss,
    RemakeStatement,
    RemakeTrace,
    SiteVerdict,
)
from cases.selectors.remakes import first_check, last_order, traceable
from cases.services.base import other_side, tell
from cases.services.remake_parts import LossInput, loss_faults, text_faults
from cases.services.remake_store import loss_store, statement_store
from cases.services.remake_traces import trace_store
from cases.tenancy import Actor

__all__ = [
    "remake_loss_set",
    "remake_state",
    "remake_trace_add",
    "remake_trace_withdraw",
]

_MAX_REASON = 200


def _opened(*, actor: Actor, code: str, remake: int) -> tuple[Case, Remake]:
    """Return a case, locked, and a remake of it.

    Raises:
        NotFound: absent, another organisation's, or of another case.
        NotAllowed: the actor's role never may.
    """
    case = Case.objects.visible_to(actor).locked().filter(code=code).first()
    found = Remake.objects.filter(case=case, pk=remake).first() if case else None
    if case is None or found is None:
        raise NotFound
    policies.require_right(actor, "remakes")
    found.case = case
    return case, found


@transaction.atomic
def remake_state(
    *,
    actor: Actor,
    code: str,
    remake: int,
    attribution: str,
    note: str = "",
    at: datetime,
) -> RemakeStatement:
    """State to whom the remake goes back, as the actor's side sees it.

    Earlier statements stay; the latest of a side counts. The same again changes
    nothing.

    Raises:
        NotFound, NotAllowed, Invalid.
    """
    case, row = _opened(actor=actor, code=code, remake=remake)
    faults = text_faults("/note", note)
    if attribution not in Attribution.values:
        faults.append(InvalidField("/attribution", "Choose from the list."))
    if faults:
        raise Invalid(*faults)
    note = note.strip()
    mine = RemakeStatement.objects.filter(remake=row, side=actor.side)
    last = mine.order_by("-made_at", "-id").first()
    if last is not None and (last.attribution, last.note) == (attribution, note):
        return last
    made = statement_store(row, actor=actor, attribution=attribution, note=note, at=at)
    # The case tells both attributions: whoever holds an older version is told so.
    case.version += 1
    case.save(update_fields=["version"])
    entry = timeline.record(
        case=case,
        event=AuditEvent.REMAKE_STATED,
        actor=actor,
        at=at,
        before=case.state,
        content={
            "remake": row.pk,
            "side": actor.side,
            "attribution": attribution,
            "note": note,
        },
    )
    tell(
        case=case,
        organisation_id=other_side(case, actor),
        kind=AuditEvent.REMAKE_STATED.value,
        key=str(entry.pk),
        at=at,
    )
    return made


def _corrected(case: Case, trace: RemakeTrace, *, actor: Actor, at: datetime) -> None:
    site: SiteVerdict = trace.site_verdict
    withdrawn = trace.withdrawn_at is not None
    timeline.record(
        case=case,
        event=AuditEvent.REMAKE_TRACED,
        actor=actor,
        at=at,
        before=case.state,
        content={
            "remake": trace.remake_id,
            "tooth": site.tooth,
            "site": site.site,
            "quantity": site.quantity,
            "verdict": site.verdict,
            "withdrawn": withdrawn,
            "reason": trace.withdrawn_reason,
        },
    )


@transaction.atomic
def remake_trace_add(
    *, actor: Actor, code: str, remake: int, site_verdict: int, at: datetime
) -> RemakeTrace:
    """Draw a line from the remake to a verdict of its case.

    ``site_verdict`` is one of ``selectors.remakes.traceable``: the check at the first
    submission, or the one the work order rested on.

    Raises:
        NotFound, NotAllowed, Invalid.
    """
    case, row = _opened(actor=actor, code=code, remake=remake)
    found = traceable(first_check(case), last_order(case))
    verdict = next((v for v in found if v.pk == site_verdict), None)
    if verdict is None:
        raise Invalid.one("/site_verdict", "Choose a site of this case.")
    standing = RemakeTrace.objects.filter(
        remake=row, site_verdict=verdict, withdrawn_at__isnull=True
    )
    if standing.exists():
        raise Invalid.one("/site_verdict", "The remake goes back to this site already.")
    trace = trace_store(row, verdict, actor=actor, automatic=False, at=at)
    _corrected(case, trace, actor=actor, at=at)
    return trace


@transaction.atomic
def remake_trace_withdraw(
    *, actor: Actor, code: str, remake: int, trace: int, reason: str, at: datetime
) -> RemakeTrace:
    """Take a line back; it stays to be read, with who withdrew it and why.

    Raises:
        NotFound, NotAllowed, Invalid: no reason.
        Conflict: it is withdrawn already.
    """
    case, row = _opened(actor=actor, code=code, remake=remake)
    found = (
        RemakeTrace.objects.filter(remake=row, pk=trace)
        .select_related("site_verdict")
        .first()
    )
    if found is None:
        raise NotFound
    if found.withdrawn_at is not None:
        raise Conflict(
            "This line was withdrawn already, by {name}.", name=found.withdrawn_by_name
        )
    faults = text_faults("/reason", reason, limit=_MAX_REASON)
    if not reason.strip():
        faults.append(
            InvalidField("/reason", "Say why the remake does not go back to it.")
        )
    if faults:
        raise Invalid(*faults)
    found.withdrawn_by_id = actor.membership_id
    found.withdrawn_by_name = actor.name
    found.withdrawn_reason = reason.strip()
    found.withdrawn_at = at
    found.save(
        update_fields=[
            "withdrawn_by",
            "withdrawn_by_name",
            "withdrawn_reason",
            "withdrawn_at",
        ]
    )
    _corrected(case, found, actor=actor, at=at)
    return found


@transaction.atomic
def remake_loss_set(
    *, actor: Actor, code: str, remake: int, loss: LossInput, at: datetime
) -> RemakeLoss:
    """Say what the remake costs the actor's side; the latest figures count.

    The other side sees nothing of it, not even that it was entered.

    Raises:
        NotFound, NotAllowed, Invalid: nothing entered, or a figure that cannot be.
    """
    _case, row = _opened(actor=actor, code=code, remake=remake)
    faults = loss_faults(loss, "")
    if loss.empty:
        faults.append(InvalidField("/amount", "Enter at least one figure."))
    if faults:
        raise Invalid(*faults)
    return loss_store(row, loss, actor=actor, at=at)

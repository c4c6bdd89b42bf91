"""Delegation: a clinician lets a colleague sign for them, dated and in writing."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from cases import outbox, policies
from cases.errors import Conflict, Invalid, InvalidField, NotAllowed, NotFound
from cases.models import Delegation
from cases.selectors import people as selectors
from cases.tenancy import Actor

__all__ = ["LONGEST", "delegation_create", "delegation_end"]

# Common practice, no source: an absence, not a standing arrangement.
LONGEST = timedelta(days=366)


def _faults(
    actor: Actor, starts_on: date, ends_on: date, note: str, at: datetime
) -> list[InvalidField]:
    today = at.astimezone(ZoneInfo(actor.time_zone)).date()
    faults = []
    if ends_on < starts_on:
        faults.append(
            InvalidField("/ends_on", "The last day cannot be before the first.")
        )
    elif ends_on < today:
        faults.append(InvalidField("/ends_on", "The last day has passed already."))
    elif ends_on - starts_on > LONGEST:
        faults.append(InvalidField("/ends_on", "Delegate for a year at most."))
    if not note.strip():
        faults.append(
            InvalidField("/note", "Write what may be signed for you, and why.")
        )
    return faults


@transaction.atomic
def delegation_create(
    *,
    actor: Actor,
    delegate_membership_id: int,
    starts_on: date,
    ends_on: date,
    note: str,
    at: datetime,
) -> Delegation:
    """Let a colleague sign for the actor on these days, and tell the colleague.

    Raises:
        NotAllowed: the actor is not a clinician.
        Invalid: not a clinician of this clinic, dates out of order, no reason.
    """
    policies.require_right(actor, "delegate")
    delegate = (
        selectors.delegates_for(actor=actor).filter(pk=delegate_membership_id).first()
    )
    faults = _faults(actor, starts_on, ends_on, note, at)
    if delegate is None:
        faults.insert(
            0, InvalidField("/delegate", "Choose a clinician of your clinic.")
        )
    if delegate is None or faults:
        raise Invalid(*faults)
    delegation = Delegation.objects.create(
        organisation_id=actor.organisation_id,
        prescriber_id=actor.user_id,
        delegate_id=delegate.user_id,
        starts_on=starts_on,
        ends_on=ends_on,
        note=note.strip(),
        created_at=at,
    )
    outbox.enqueue(
        kind="delegation_created",
        organisation_id=actor.organisation_id,
        case=None,
        dedupe_key=f"delegation_created:{delegation.pk}",
        payload={"delegation": delegation.pk, "user": delegate.user_id},
        at=at,
    )
    return delegation


@transaction.atomic
def delegation_end(*, actor: Actor, delegation_id: int, at: datetime) -> Delegation:
    """Take a delegation back at once; what was signed under it stays signed.

    Raises:
        NotFound: no such delegation here.
        NotAllowed: it is somebody else's to take back.
        Conflict: taken back already.
    """
    delegation = (
        Delegation.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, pk=delegation_id)
        .first()
    )
    if delegation is None:
        raise NotFound
    if actor.user_id != delegation.prescriber_id:
        raise NotAllowed("Only the clinician who delegated can take it back.")
    if delegation.ended_at is not None:
        raise Conflict("This delegation was taken back already.")
    delegation.ended_at = at
    delegation.save(update_fields=["ended_at"])
    return delegation

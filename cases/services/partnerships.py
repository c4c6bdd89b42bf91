"""Partnerships: a clinic and a laboratory agree to work together.

One side asks by the other's code, the other accepts. Either may end it; what
was sent before stays visible to both.
"""

from datetime import datetime

from django.db import transaction
from django.db.models import Q

from cases import outbox, policies
from cases.enums import Side
from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Partnership
from cases.selectors import people as selectors
from cases.tenancy import Actor

__all__ = [
    "partnership_accept",
    "partnership_ask",
    "partnership_end",
    "read_code",
    "require_partners",
]

# Crockford's base32 reads these as the digits they look like.
_LOOKALIKES = str.maketrans({"O": "0", "I": "1", "L": "1", "-": "", " ": ""})


def read_code(text: str) -> str:
    """Return a code as it is stored, from how a person may type it."""
    return text.upper().translate(_LOOKALIKES)


def require_partners(*, clinic_id: int, laboratory_id: int) -> None:
    """Raise Conflict unless the two work together now: a new case could not go."""
    if not Partnership.objects.filter(
        clinic_id=clinic_id,
        laboratory_id=laboratory_id,
        accepted_at__isnull=False,
        ended_at__isnull=True,
    ).exists():
        raise Conflict(
            "Your clinic and this laboratory do not work together any more. Ask for "
            "a new partnership first; nothing of the case is lost."
        )


def _tell(
    partnership: Partnership, *, kind: str, organisation_id: int, at: datetime
) -> None:
    outbox.enqueue(
        kind=kind,
        organisation_id=organisation_id,
        case=None,
        dedupe_key=f"{kind}:{partnership.pk}",
        payload={"partnership": partnership.pk},
        at=at,
    )


def _partner(partnership: Partnership, actor: Actor) -> int:
    if partnership.clinic_id == actor.organisation_id:
        return partnership.laboratory_id
    return partnership.clinic_id


def _locked(actor: Actor, partnership_id: int) -> Partnership:
    mine = Q(clinic_id=actor.organisation_id) | Q(laboratory_id=actor.organisation_id)
    partnership = (
        Partnership.objects.select_for_update().filter(mine, pk=partnership_id).first()
    )
    if partnership is None:
        raise NotFound
    policies.require_right(actor, "partners")
    if partnership.ended_at is not None:
        raise Conflict("This partnership has ended. Ask for a new one.")
    return partnership


@transaction.atomic
def partnership_ask(*, actor: Actor, code: str, at: datetime) -> Partnership:
    """Ask the organisation with this code to work together, and tell it.

    Raises:
        NotAllowed: the actor does not manage partners.
        Invalid: no organisation of the other side has the code, or there is a
            partnership with it already.
    """
    policies.require_right(actor, "partners")
    other = selectors.organisation_by_code(actor=actor, code=read_code(code))
    if other is None or other.side == actor.side:
        raise Invalid.one(
            "/code",
            "No laboratory has this code. Ask them for the code on their page "
            "“Partners”."
            if actor.is_clinic
            else "No clinic has this code. Ask them for the code on their page "
            "“Partners”.",
        )
    pair = (actor.organisation_id, other.pk)
    clinic_id, laboratory_id = pair if actor.side == Side.CLINIC else pair[::-1]
    # The unique index decides a race; whoever loses is told like the latecomer.
    partnership, made = Partnership.objects.get_or_create(
        clinic_id=clinic_id,
        laboratory_id=laboratory_id,
        ended_at=None,
        defaults={"asked_by_id": actor.organisation_id, "asked_at": at},
    )
    if not made:
        raise Invalid.one(
            "/code", "You work together already, or one of you has asked."
        )
    _tell(partnership, kind="partnership_asked", organisation_id=other.pk, at=at)
    return partnership


@transaction.atomic
def partnership_accept(
    *, actor: Actor, partnership_id: int, at: datetime
) -> Partnership:
    """Accept what the other side asked for, and tell it.

    Raises:
        NotFound: no such partnership here.
        NotAllowed: not a manager, or the side that asked.
        Conflict: accepted or ended already.
    """
    partnership = _locked(actor, partnership_id)
    if partnership.asked_by_id == actor.organisation_id:
        raise NotAllowed("The other side accepts what you asked for.")
    if partnership.accepted_at is not None:
        raise Conflict("This partnership was accepted already.")
    partnership.accepted_at = at
    partnership.save(update_fields=["accepted_at"])
    _tell(
        partnership,
        kind="partnership_accepted",
        organisation_id=partnership.asked_by_id,
        at=at,
    )
    return partnership


@transaction.atomic
def partnership_end(*, actor: Actor, partnership_id: int, at: datetime) -> Partnership:
    """End, decline or take back a partnership, and tell the other side.

    No new case can be sent; those already sent go on.

    Raises:
        NotFound: no such partnership here.
        NotAllowed: the actor does not manage partners.
        Conflict: ended already.
    """
    partnership = _locked(actor, partnership_id)
    partnership.ended_at = at
    partnership.save(update_fields=["ended_at"])
    _tell(
        partnership,
        kind="partnership_ended",
        organisation_id=_partner(partnership, actor),
        at=at,
    )
    return partnership

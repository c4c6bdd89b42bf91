"""Causes a laboratory adds to the common list; retired, never edited or deleted."""

import unicodedata
from datetime import datetime

from django.db import transaction

from cases import policies
from cases.enums import Cause
from cases.errors import Conflict, Invalid, InvalidField, NotFound
from cases.models import Organisation, RemakeCause
from cases.services.remake_parts import text_faults
from cases.tenancy import Actor

__all__ = ["MAX_LABEL", "cause_add", "cause_retire"]

MAX_LABEL = 60
RIGHT = "remake_causes"


def _key(label: str) -> str:
    """Return the form in which two labels of one cause are equal."""
    return " ".join(unicodedata.normalize("NFKC", label).split()).casefold()


@transaction.atomic
def cause_add(*, actor: Actor, label: str, at: datetime) -> RemakeCause:
    """Add a cause to the laboratory's list; clinics choose from it at once.

    Raises:
        NotAllowed: the actor does not manage a laboratory.
        Invalid: no label, too long a one, or one that is on the list.
    """
    policies.require_right(actor, RIGHT)
    # One at a time, so that two spellings of one cause never arrive together.
    Organisation.objects.select_for_update().get(pk=actor.organisation_id)
    shown = " ".join(
        "".join(c for c in label if unicodedata.category(c) not in ("Cc", "Cf")).split()
    )
    faults = text_faults("/label", label, limit=MAX_LABEL)
    if not shown:
        faults.append(InvalidField("/label", "Enter the cause in a few words."))
    if faults:
        raise Invalid(*faults)
    mine = RemakeCause.objects.filter(
        laboratory_id=actor.organisation_id, retired_at__isnull=True
    ).values_list("label", flat=True)
    known = {_key(one) for one in mine} | {_key(str(one.label)) for one in Cause}
    if _key(shown) in known:
        raise Invalid.one("/label", "This cause is on the list already.")
    return RemakeCause.objects.create(
        laboratory_id=actor.organisation_id,
        label=shown,
        made_by_id=actor.membership_id,
        made_at=at,
    )


@transaction.atomic
def cause_retire(*, actor: Actor, code: str, at: datetime) -> RemakeCause:
    """Take a cause off the list; remakes that name it go on naming it.

    Raises:
        NotFound: absent, or another laboratory's.
        NotAllowed: as above.
        Conflict: retired already.
    """
    policies.require_right(actor, RIGHT)
    found = (
        RemakeCause.objects.select_for_update()
        .filter(laboratory_id=actor.organisation_id, code=code)
        .first()
    )
    if found is None:
        raise NotFound
    if found.retired_at is not None:
        raise Conflict("This cause was taken off the list already.")
    found.retired_at = at
    found.save(update_fields=["retired_at"])
    return found

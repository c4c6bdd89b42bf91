"""Who signs a case here: the prescriber, or a delegate "for" the prescriber."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from cases.enums import Role
from cases.selectors.people import delegations
from cases.tenancy import Actor

if TYPE_CHECKING:
    from cases.models import Case

__all__ = ["Signer", "signer_of"]


@dataclass(frozen=True, slots=True)
class Signer:
    """Whether the acting person may sign, and for whom if not for themselves."""

    may: bool
    for_name: str = ""


def signer_of(actor: Actor, case: "Case", today: date) -> Signer:
    """Return what a signing block shows; the service decides when it is pressed."""
    if actor.role != Role.CLINICIAN:
        return Signer(False)
    if actor.user_id == case.prescriber_id:
        return Signer(True)
    delegated = any(
        row.prescriber_id == case.prescriber_id
        and row.delegate_id == actor.user_id
        and row.starts_on <= today <= row.ends_on
        for row in delegations(actor=actor)
    )
    return Signer(delegated, case.prescriber.name if delegated else "")

"""Whose facts an audit counts: the viewer's own, narrowed by filters found allowed."""

import re
from dataclasses import replace
from typing import Final

from cases import policies
from cases.audit.filters import AuditFilters
from cases.enums import OrganisationKind, Role
from cases.errors import NotAllowed, NotFound
from cases.models import (
    AuditFact,
    AuditQuery,
    AuditSettings,
    Membership,
    Organisation,
    RemakeCause,
)
from cases.selectors.audit_conditions import AuditScope
from cases.tenancy import Actor

__all__ = ["audit_scope"]

# The code of a laboratory's own cause; the common list has words in lower case.
_OWN_CAUSE: Final = re.compile(r"[0-9A-Z]{10}", re.ASCII)


def audit_scope(*, actor: Actor, filters: AuditFilters) -> AuditScope:
    """Return whose facts these filters count for this viewer.

    A clinician is kept to own cases, whatever the filters say.

    Raises:
        NotAllowed: the role has no audit; a person is asked for where people are not
            compared; a clinic asks for what is the laboratory's alone.
        NotFound: a clinic, person or cause that is not the viewer's or a partner's.
    """
    policies.require_right(actor, "audit")
    own = actor.role == Role.CLINICIAN
    if own:
        if filters.clinician not in ("", str(actor.user_id)):
            raise NotFound
        filters = replace(filters, clinician=str(actor.user_id))
    _allowed(actor, filters, own=own)
    scope = AuditScope(
        side=str(actor.side),
        organisation_id=actor.organisation_id,
        filters=filters,
        clinic_id=_clinic(actor, filters.clinic),
    )
    if filters.clinician and not own:
        _known_clinician(scope)
    if filters.technician:
        _known_technician(scope)
    _known_cause(filters.cause)
    return scope


def _allowed(actor: Actor, filters: AuditFilters, *, own: bool) -> None:
    laboratory = actor.side == OrganisationKind.LABORATORY
    if not laboratory and (filters.technician or filters.outcome == "internal"):
        raise NotAllowed("Only the laboratory sees this.")
    if own or not (filters.clinician or filters.technician):
        return
    compares = AuditSettings.objects.filter(
        organisation_id=actor.organisation_id, compare_people=True
    )
    if not compares.exists():
        raise NotAllowed("People are not compared here.")


def _clinic(actor: Actor, code: str) -> int | None:
    if not code:
        return None
    if actor.is_clinic:
        if code != actor.organisation_code:
            raise NotFound
        return actor.organisation_id
    found = (
        Organisation.objects.filter(code=code, kind=OrganisationKind.CLINIC)
        .values_list("pk", flat=True)
        .first()
    )
    mine = {"laboratory_id": actor.organisation_id, "clinic_id": found}
    if found is None or not (
        AuditFact.objects.filter(**mine).exists()
        or AuditQuery.objects.filter(**mine).exists()
    ):
        raise NotFound
    return found


def _known_clinician(scope: AuditScope) -> None:
    person = int(scope.filters.clinician)
    if not scope.is_laboratory:
        members = Membership.objects.filter(
            organisation_id=scope.organisation_id, user_id=person, role=Role.CLINICIAN
        )
        if members.exists():
            return
    mine = {f"{scope.side}_id": scope.organisation_id, "prescriber_id": person}
    if not (
        AuditFact.objects.filter(**mine).exists()
        or AuditQuery.objects.filter(**mine).exists()
    ):
        raise NotFound


def _known_technician(scope: AuditScope) -> None:
    if not Membership.objects.filter(
        organisation_id=scope.organisation_id, pk=int(scope.filters.technician)
    ).exists():
        raise NotFound


def _known_cause(cause: str) -> None:
    # Rows of other laboratories are not shown, unless they are a partner of the clinic.
    if (
        _OWN_CAUSE.fullmatch(cause)
        and not RemakeCause.objects.filter(code=cause).exists()
    ):
        raise NotFound

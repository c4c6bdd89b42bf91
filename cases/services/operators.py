"""What the operator of the installation does: organisations, first managers."""

from datetime import datetime

from django.db import transaction

from cases.enums import OrganisationKind, Role, Side
from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Invitation, Organisation, User
from cases.selectors import people as selectors
from cases.services.invitations import store_invitation
from cases.tenancy import operator

__all__ = ["manager_invite", "organisation_create", "organisation_list"]

_MANAGER = {Side.CLINIC: Role.CLINIC_MANAGER, Side.LABORATORY: Role.LAB_MANAGER}


def _require_operator(user_id: int) -> None:
    if not User.objects.filter(pk=user_id, is_operator=True, is_active=True).exists():
        raise NotAllowed("Only the operator of this installation may do this.")


def organisation_list(*, operator_id: int) -> list[Organisation]:
    """Return every organisation, each with its open invitations as ``waiting``.

    Raises:
        NotAllowed: not an operator.
    """
    _require_operator(operator_id)
    with operator():
        return list(selectors.organisations())


@transaction.atomic
def organisation_create(
    *, operator_id: int, kind: str, name: str, manager_email: str, at: datetime
) -> tuple[Organisation, Invitation]:
    """Create an organisation and invite its first manager.

    Raises:
        NotAllowed: not an operator.
        Invalid: no name, or neither clinic nor laboratory.
    """
    _require_operator(operator_id)
    if kind not in OrganisationKind.values:
        raise Invalid.one("/kind", "Choose clinic or laboratory.")
    if not name.strip():
        raise Invalid.one("/name", "Enter the organisation's name.")
    with operator():
        organisation = Organisation.objects.create(kind=kind, name=name.strip())
        invitation = store_invitation(
            organisation_id=organisation.pk,
            invited_by_id=operator_id,
            email=manager_email,
            role=_MANAGER[Side(kind)],
            responsible_technician=False,
            at=at,
        )
    return organisation, invitation


@transaction.atomic
def manager_invite(
    *, operator_id: int, code: str, email: str, at: datetime
) -> Invitation:
    """Invite the first manager once more, when the invitation was lost or expired.

    An open invitation to the same address is withdrawn, so one link works. Once a
    manager has joined, managers invite: an operator could else join any tenant.

    Raises:
        NotAllowed: not an operator.
        NotFound: no organisation has the code.
        Conflict: a manager has joined.
    """
    _require_operator(operator_id)
    with operator():
        organisation = (
            Organisation.objects.select_for_update().filter(code=code).first()
        )
        if organisation is None:
            raise NotFound
        role = _MANAGER[Side(organisation.kind)]
        sent = Invitation.objects.filter(organisation_id=organisation.pk, role=role)
        if sent.filter(used_at__isnull=False).exists():
            raise Conflict(
                "This organisation has its manager, who invites everyone else."
            )
        sent.filter(email=email.strip().lower(), revoked_at__isnull=True).update(
            revoked_at=at
        )
        return store_invitation(
            organisation_id=organisation.pk,
            invited_by_id=operator_id,
            email=email,
            role=role,
            responsible_technician=False,
            at=at,
        )

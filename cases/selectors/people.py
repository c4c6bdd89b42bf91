"""People and organisations as pages show them, each scoped to the actor."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection
from django.db.models import Prefetch, Q, QuerySet

from cases.canonical import secret_hash
from cases.enums import Role
from cases.models import (
    ApiToken,
    Delegation,
    Invitation,
    Membership,
    Organisation,
    Partnership,
    User,
)
from cases.tenancy import Actor

__all__ = [
    "Invited",
    "OrganisationFound",
    "account_exists",
    "delegates_for",
    "delegations",
    "invitation_by_secret",
    "invitations",
    "members",
    "organisation",
    "organisation_by_code",
    "organisations",
    "partnerships",
    "tokens",
]


@dataclass(frozen=True, slots=True)
class Invited:
    """What the holder of an invitation's link may know."""

    organisation_name: str
    side: str
    role: str
    email: str


@dataclass(frozen=True, slots=True)
class OrganisationFound:
    """What the holder of an organisation's code may know."""

    pk: int
    name: str
    side: str


def invitation_by_secret(*, secret: str, at: datetime) -> Invited | None:
    """Return what an open invitation says, or None; changes nothing."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT * FROM invitation_by_hash(%s, %s)", [secret_hash(secret), at]
        )
        row = cursor.fetchone()
    return None if row is None else Invited(*row)


def organisation_by_code(*, actor: Actor, code: str) -> OrganisationFound | None:
    """Return the organisation with this code, known or not to the actor's."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM organisation_by_code(%s)", [code])
        row = cursor.fetchone()
    return None if row is None else OrganisationFound(*row)


def account_exists(*, email: str) -> bool:
    """Return whether somebody signs in with this address.

    Only for the holder of an invitation sent to it, who reads its mail anyway.
    """
    return User.objects.filter(email=email.strip().lower()).exists()


def members(*, actor: Actor) -> QuerySet[Membership]:
    """Return the current members of the actor's organisation, by name."""
    return (
        Membership.objects.filter(
            organisation_id=actor.organisation_id, ended_at__isnull=True
        )
        .select_related("user")
        .order_by("user__name", "role", "pk")
    )


def invitations(*, actor: Actor) -> QuerySet[Invitation]:
    """Return the invitations nobody has used or withdrawn, newest first."""
    return (
        Invitation.objects.filter(
            organisation_id=actor.organisation_id,
            used_at__isnull=True,
            revoked_at__isnull=True,
        )
        .select_related("invited_by")
        .order_by("-created_at", "-pk")
    )


def partnerships(*, actor: Actor) -> QuerySet[Partnership]:
    """Return partnerships asked for or in force, newest first."""
    return (
        Partnership.objects.filter(
            Q(clinic_id=actor.organisation_id) | Q(laboratory_id=actor.organisation_id),
            ended_at__isnull=True,
        )
        .select_related("clinic", "laboratory")
        .order_by("-asked_at", "-pk")
    )


def delegations(*, actor: Actor) -> QuerySet[Delegation]:
    """Return the delegations of the actor's clinic that were not ended."""
    return (
        Delegation.objects.filter(
            organisation_id=actor.organisation_id, ended_at__isnull=True
        )
        .select_related("prescriber", "delegate")
        .order_by("-starts_on", "-pk")
    )


def delegates_for(*, actor: Actor) -> QuerySet[Membership]:
    """Return the other clinicians of the actor's clinic, by name."""
    return (
        members(actor=actor).filter(role=Role.CLINICIAN).exclude(user_id=actor.user_id)
    )


def tokens(*, actor: Actor) -> QuerySet[ApiToken]:
    """Return the actor's own tokens that were not revoked, newest first."""
    return ApiToken.objects.filter(
        organisation_id=actor.organisation_id,
        membership_id=actor.membership_id,
        revoked_at__isnull=True,
    ).order_by("-created_at", "-pk")


def organisation(*, actor: Actor) -> Organisation:
    """Return the actor's organisation."""
    return Organisation.objects.get(pk=actor.organisation_id)


def organisations() -> QuerySet[Organisation]:
    """Return every organisation with its open invitations, for the operator.

    Only inside ``tenancy.operator()``, and evaluated there.
    """
    waiting = Invitation.objects.filter(used_at__isnull=True, revoked_at__isnull=True)
    return Organisation.objects.order_by("kind", "name", "pk").prefetch_related(
        Prefetch("invitation_set", queryset=waiting.order_by("-pk"), to_attr="waiting")
    )

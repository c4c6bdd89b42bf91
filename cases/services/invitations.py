"""Invitations: a single-use link that makes a membership, for seven days.

The secret in the link is derived from the invitation's code with the
installation's key, so that the mail can be written after commit although only a
hash of the secret is stored.
"""

from datetime import datetime, timedelta

from django.db import connection, transaction
from django.urls import reverse
from django.utils.crypto import salted_hmac

from cases import outbox, policies
from cases.canonical import new_code, secret_hash
from cases.enums import Role
from cases.errors import Conflict, Invalid, NotFound
from cases.models import Invitation, Membership, User
from cases.selectors import people as selectors
from cases.services import people
from cases.tenancy import Actor

__all__ = [
    "LIFE",
    "invitation_accept",
    "invitation_accept_new",
    "invitation_create",
    "invitation_link",
    "invitation_revoke",
    "store_invitation",
]

LIFE = timedelta(days=7)


def _secret(code: str) -> str:
    return salted_hmac("cases.invitation", code, algorithm="sha256").hexdigest()


def invitation_link(code: str) -> str:
    """Return the path of an invitation's link."""
    return reverse("invitation", kwargs={"secret": _secret(code)})


def store_invitation(
    *,
    organisation_id: int,
    invited_by_id: int,
    email: str,
    role: str,
    responsible_technician: bool,
    at: datetime,
) -> Invitation:
    """Write an invitation and its mail; who may do so is the caller's question.

    Raises:
        Invalid: there is an open invitation of this address to this role.
    """
    address = email.strip().lower()
    waiting = Invitation.objects.filter(
        organisation_id=organisation_id,
        email=address,
        role=role,
        used_at__isnull=True,
        revoked_at__isnull=True,
        expires_at__gt=at,
    )
    if waiting.exists():
        raise Invalid.one(
            "/email",
            "This address has an open invitation to this role. Withdraw that one "
            "first if the mail was lost.",
        )
    code = new_code()
    invitation = Invitation.objects.create(
        code=code,
        organisation_id=organisation_id,
        email=address,
        role=role,
        responsible_technician=responsible_technician,
        token_hash=secret_hash(_secret(code)),
        invited_by_id=invited_by_id,
        created_at=at,
        expires_at=at + LIFE,
    )
    outbox.enqueue(
        kind="invitation",
        organisation_id=organisation_id,
        case=None,
        dedupe_key=f"invitation:{code}",
        payload={"invitation": code},
        at=at,
    )
    return invitation


@transaction.atomic
def invitation_create(
    *,
    actor: Actor,
    email: str,
    role: str,
    responsible_technician: bool = False,
    at: datetime,
) -> Invitation:
    """Invite somebody to a role in the actor's organisation, by mail.

    Raises:
        NotAllowed: the actor does not manage people.
        Invalid: a role of the other side, a member already, or invited already.
    """
    policies.require_right(actor, "people")
    if role not in people.ROLES_OF_SIDE[actor.side]:
        raise Invalid.one("/role", "Choose one of the roles of your organisation.")
    if responsible_technician and role not in people.BENCH_ROLES:
        raise Invalid.one(
            "/responsible_technician",
            "Only a technician or laboratory manager can be the responsible "
            "technician.",
        )
    member = Membership.objects.filter(
        organisation_id=actor.organisation_id,
        user__email=email.strip().lower(),
        role=role,
        ended_at__isnull=True,
    )
    if member.exists():
        raise Invalid.one("/email", "This person holds this role here already.")
    return store_invitation(
        organisation_id=actor.organisation_id,
        invited_by_id=actor.user_id,
        email=email,
        role=role,
        responsible_technician=responsible_technician,
        at=at,
    )


@transaction.atomic
def invitation_revoke(*, actor: Actor, code: str, at: datetime) -> Invitation:
    """Withdraw an open invitation; its link is dead at once.

    Raises:
        NotFound: no such invitation here.
        NotAllowed: the actor does not manage people.
        Conflict: it was used or withdrawn.
    """
    invitation = (
        Invitation.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, code=code)
        .first()
    )
    if invitation is None:
        raise NotFound
    policies.require_right(actor, "people")
    if invitation.used_at or invitation.revoked_at:
        raise Conflict("This invitation was used or withdrawn already.")
    invitation.revoked_at = at
    invitation.save(update_fields=["revoked_at"])
    return invitation


def _use(*, secret: str, user: User, at: datetime) -> int:
    """Use the link for a person and return the membership's id."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT invitation_accept(%s, %s, %s)", [secret_hash(secret), user.pk, at]
        )
        row = cursor.fetchone()
    if row is None or row[0] is None:
        raise NotFound
    return int(row[0])


def _require_licence(role: str, licence_number: str) -> None:
    if role == Role.CLINICIAN and not licence_number.strip():
        raise Invalid.one(
            "/licence_number",
            "Enter your licence number; it is printed where a clinician signs.",
        )


@transaction.atomic
def invitation_accept_new(
    *, secret: str, name: str, password: str, licence_number: str, at: datetime
) -> tuple[User, int]:
    """Make the invited person's account and membership; return both.

    Raises:
        NotFound: used, withdrawn, expired or unknown.
        Conflict: the address has an account; its owner signs in and joins.
        Invalid: no name, no licence number (clinicians), or an unsafe password.
    """
    invited = selectors.invitation_by_secret(secret=secret, at=at)
    if invited is None:
        raise NotFound
    _require_licence(invited.role, licence_number)
    user = people.account_create(
        email=invited.email,
        name=name,
        password=password,
        licence_number=licence_number,
    )
    return user, _use(secret=secret, user=user, at=at)


@transaction.atomic
def invitation_accept(
    *, secret: str, user_id: int, licence_number: str = "", at: datetime
) -> int:
    """Join as the person signed in; return the membership's id.

    Raises:
        NotFound: used, withdrawn, expired or unknown.
        Conflict: it was sent to another address.
        Invalid: a clinician without licence number.
    """
    invited = selectors.invitation_by_secret(secret=secret, at=at)
    if invited is None:
        raise NotFound
    user = User.objects.select_for_update().get(pk=user_id)
    if user.email != invited.email.lower():
        raise Conflict(
            "This invitation was sent to another address than the one you signed in "
            "with. Sign out, then open the link again."
        )
    if not user.licence_number:
        _require_licence(invited.role, licence_number)
        user.licence_number = licence_number.strip()
        user.save(update_fields=["licence_number"])
    return _use(secret=secret, user=user, at=at)

"""Members and settings of an organisation, and people before they are members."""

import zoneinfo
from datetime import datetime

from allauth.account import app_settings as account_settings
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from cases import outbox, policies
from cases.enums import Role, Side, ToothSystem
from cases.errors import Conflict, Invalid, NotFound
from cases.models import Membership, Organisation, User
from cases.selectors import identity
from cases.tenancy import Actor, tenant

__all__ = [
    "BENCH_ROLES",
    "MANAGERS",
    "ROLES_OF_SIDE",
    "account_create",
    "membership_end",
    "membership_update",
    "operator_create",
    "organisation_update",
    "password_reset_enqueue",
    "password_reset_path",
]

_TAKEN = "There is an account with this address already. Sign in."
MANAGERS = (Role.CLINIC_MANAGER, Role.LAB_MANAGER)
BENCH_ROLES = (Role.TECHNICIAN, Role.LAB_MANAGER)
ROLES_OF_SIDE: dict[str, tuple[Role, ...]] = {
    Side.CLINIC: (Role.CLINICIAN, Role.ASSISTANT, Role.CLINIC_MANAGER),
    Side.LABORATORY: BENCH_ROLES,
}


def _locked_membership(actor: Actor, membership_id: int) -> Membership:
    """Return a current membership of the actor's organisation, locked.

    The organisation's row is locked first, so that two managers who end each
    other's membership at once cannot leave it without any.
    """
    Organisation.objects.select_for_update().get(pk=actor.organisation_id)
    membership = (
        Membership.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, pk=membership_id)
        .first()
    )
    if membership is None:
        raise NotFound
    policies.require_right(actor, "people")
    if membership.ended_at is not None:
        raise Conflict("This membership has ended already.")
    return membership


@transaction.atomic
def membership_end(*, actor: Actor, membership_id: int, at: datetime) -> Membership:
    """End a membership; the person is out at their next request, tokens too.

    Raises:
        NotFound: no such membership here.
        NotAllowed: the actor does not manage people.
        Conflict: it has ended, or it is the last manager's.
    """
    membership = _locked_membership(actor, membership_id)
    if membership.role in MANAGERS:
        others = Membership.objects.filter(
            organisation_id=actor.organisation_id,
            role__in=MANAGERS,
            ended_at__isnull=True,
            user__is_active=True,
        ).exclude(pk=membership.pk)
        if not others.exists():
            raise Conflict(
                "This is the last manager. Invite another manager first, then end "
                "this membership."
            )
    membership.ended_at = at
    membership.save(update_fields=["ended_at"])
    return membership


@transaction.atomic
def membership_update(
    *, actor: Actor, membership_id: int, responsible_technician: bool
) -> Membership:
    """Say whether a member of the laboratory may countersign.

    Raises:
        NotFound: no such membership here.
        NotAllowed: the actor does not manage people.
        Conflict: the membership has ended.
        Invalid: only a laboratory's technician or manager can be responsible.
    """
    membership = _locked_membership(actor, membership_id)
    if responsible_technician and membership.role not in BENCH_ROLES:
        raise Invalid.one(
            "/responsible_technician",
            "Only a technician or laboratory manager can be the responsible "
            "technician.",
        )
    membership.responsible_technician = responsible_technician
    membership.save(update_fields=["responsible_technician"])
    return membership


@transaction.atomic
def organisation_update(
    *,
    actor: Actor,
    name: str,
    address: str,
    time_zone: str,
    tooth_system: str,
    language: str,
) -> Organisation:
    """Change how the organisation is named and shown things.

    Raises:
        NotAllowed: the actor does not manage the organisation.
        Invalid: a time zone, tooth numbering or language that does not exist.
    """
    policies.require_right(actor, "people")
    organisation = Organisation.objects.select_for_update().get(
        pk=actor.organisation_id
    )
    if not name.strip():
        raise Invalid.one("/name", "Enter the organisation's name.")
    if time_zone not in zoneinfo.available_timezones():
        raise Invalid.one(
            "/time_zone", "Choose a time zone of the list, like Europe/Lisbon."
        )
    if tooth_system not in ToothSystem.values:
        raise Invalid.one("/tooth_system", "Choose one of the tooth numberings.")
    if language not in dict(settings.LANGUAGES):
        raise Invalid.one("/language", "Choose one of the languages.")
    organisation.name = name.strip()
    organisation.address = address.strip()
    organisation.time_zone = time_zone
    organisation.tooth_system = tooth_system
    organisation.language = language
    organisation.save(
        update_fields=["name", "address", "time_zone", "tooth_system", "language"]
    )
    return organisation


@transaction.atomic
def account_create(
    *,
    email: str,
    name: str,
    password: str,
    licence_number: str = "",
    is_operator: bool = False,
) -> User:
    """Store a person who can sign in.

    Raises:
        Conflict: somebody signs in with this address already.
        Invalid: no name, or a password the rules refuse.
    """
    address = email.strip().lower()
    if User.objects.filter(email=address).exists():
        raise Conflict(_TAKEN)
    if not name.strip():
        raise Invalid.one("/name", "Enter the name that is printed when you sign.")
    person = User(email=address, name=name.strip())
    try:
        validate_password(password, person)
    except ValidationError as error:
        text = " ".join(error.messages).replace("{", "{{").replace("}", "}}")
        raise Invalid.one("/password", text) from error
    try:
        with transaction.atomic():
            return User.objects.create_user(
                address,
                password,
                name=name.strip(),
                licence_number=licence_number.strip(),
                is_operator=is_operator,
            )
    except IntegrityError as error:  # the same link, opened twice at once
        raise Conflict(_TAKEN) from error


@transaction.atomic
def operator_create(*, email: str, name: str, password: str, another: bool) -> User:
    """Make the person who creates organisations; the first-run command's job.

    Raises:
        Conflict: there is an operator (unless ``another``), or the address is
            taken.
        Invalid: no name, or a password the rules refuse.
    """
    if not another and User.objects.filter(is_operator=True).exists():
        raise Conflict("There is an operator already.")
    return account_create(email=email, name=name, password=password, is_operator=True)


def password_reset_enqueue(*, user_id: int, at: datetime) -> bool:
    """Leave a reset mail to the outbox of one of the person's organisations.

    Returns False for a person without membership: no tenant to keep the row.
    The row names the person only; the link is made when the mail is sent.
    """
    person = User.objects.filter(pk=user_id, is_active=True).first()
    actors = identity.actors_of(person) if person else ()
    if not actors:
        return False
    with tenant(actors[0].organisation_id):
        outbox.enqueue(
            kind="password_reset",
            organisation_id=actors[0].organisation_id,
            case=None,
            dedupe_key=f"password_reset:{user_id}:{at.isoformat()}",
            payload={"user": user_id},
            at=at,
        )
    return True


def password_reset_path(user: User) -> str:
    """Return the path of a fresh reset link, valid until it is used."""
    token = account_settings.PASSWORD_RESET_TOKEN_GENERATOR().make_token(user)
    return reverse(
        "account_reset_password_from_key",
        kwargs={"uidb36": user_pk_to_url_str(user), "key": token},
    )

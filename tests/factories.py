"""Rows for tests, made as the application would make them.

Each function opens the tenant (or operator) it needs, so policies are exercised
by the preparation too. Only for tests: no validation, no notices.
"""

from datetime import UTC, datetime, timedelta

from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)

from cases.canonical import new_secret, secret_hash
from cases.models import ApiToken, Membership, Organisation, Partnership, User
from cases.selectors import identity
from cases.tenancy import Actor, operator, tenant
from tests.play import PASSWORD

__all__ = [
    "AT",
    "PASSWORD",
    "TOTP_SECRET",
    "actor_of",
    "make_membership",
    "make_organisation",
    "make_partnership",
    "make_second_factor",
    "make_token",
    "make_user",
    "totp_code",
]

AT = datetime(2031, 3, 14, 9, 30, tzinfo=UTC)
TOTP_SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"


def make_user(
    email: str,
    name: str = "Test Person",
    *,
    second_factor: bool = True,
    **fields: object,
) -> User:
    """Store a person, with a second factor unless told otherwise."""
    user = User.objects.create_user(email, PASSWORD, name=name, **fields)
    if second_factor:
        make_second_factor(user)
    return user


def make_second_factor(user: User) -> None:
    """Give a person an authenticator with the tests' secret."""
    Authenticator.objects.create(
        user=user, type=Authenticator.Type.TOTP, data={"secret": TOTP_SECRET}
    )


def totp_code() -> str:
    """Return the code the tests' authenticator shows now."""
    counter = next(iter(yield_hotp_counters_from_time()))
    return str(format_hotp_value(hotp_value(TOTP_SECRET, counter)))


def make_organisation(kind: str, name: str, **fields: object) -> Organisation:
    """Store a clinic or a laboratory."""
    with operator():
        return Organisation.objects.create(kind=kind, name=name, **fields)


def make_membership(
    organisation: Organisation, user: User, role: str, **fields: object
) -> Membership:
    """Store a membership."""
    with tenant(organisation.pk):
        return Membership.objects.create(
            organisation=organisation, user=user, role=role, **fields
        )


def make_partnership(
    clinic: Organisation, laboratory: Organisation, **fields: object
) -> Partnership:
    """Store a partnership in force since yesterday, asked for by the clinic."""
    since = AT - timedelta(days=1)
    accepted = fields.pop("accepted_at", since)
    values = {"asked_at": since, "asked_by": clinic, **fields}
    asker, other = clinic, laboratory
    if values["asked_by"] == laboratory:
        asker, other = laboratory, clinic
    with tenant(asker.pk):
        made = Partnership.objects.create(
            clinic=clinic, laboratory=laboratory, **values
        )
    if accepted is not None:
        with tenant(other.pk):
            Partnership.objects.filter(pk=made.pk).update(accepted_at=accepted)
            made.refresh_from_db()
    return made


def make_token(actor: Actor, **fields: object) -> str:
    """Store a token that lives for ever in tests, and return its secret."""
    secret = "chairbench_" + new_secret()
    values: dict[str, object] = {
        "name": "test",
        "created_at": AT,
        "expires_at": datetime(2999, 1, 1, tzinfo=UTC),
        **fields,
    }
    with tenant(actor.organisation_id, actor.membership_id):
        ApiToken.objects.create(
            organisation_id=actor.organisation_id,
            membership_id=actor.membership_id,
            token_hash=secret_hash(secret),
            **values,
        )
    return secret


def actor_of(membership: Membership) -> Actor:
    """Return the Actor the middleware would make of a membership."""
    for actor in identity.actors_of(membership.user):
        if actor.membership_id == membership.pk:
            return actor
    raise AssertionError("the membership has ended")

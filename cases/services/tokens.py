"""API tokens: a program acts as one membership, but never signs by itself."""

from datetime import datetime, timedelta

from django.db import transaction

from cases.canonical import new_secret, secret_hash
from cases.errors import Conflict, Invalid, NotFound
from cases.models import ApiToken
from cases.selectors import people as selectors
from cases.tenancy import Actor

__all__ = ["LONGEST_DAYS", "PREFIX", "api_token_create", "api_token_revoke"]

LONGEST_DAYS = 365
# Lets a scanner of leaked secrets know whose it is.
PREFIX = "chairbench_"


@transaction.atomic
def api_token_create(
    *, actor: Actor, name: str, days: int, at: datetime
) -> tuple[ApiToken, str]:
    """Store a token of the actor's membership; return it and its secret.

    The secret is shown once and not kept.

    Raises:
        Invalid: no name, a name in use, or not from 1 to 365 days.
    """
    label = name.strip()
    if not label:
        raise Invalid.one("/name", "Enter what the token is for.")
    if not 1 <= days <= LONGEST_DAYS:
        raise Invalid.one(
            "/days", "Enter from 1 to {most} days.", most=str(LONGEST_DAYS)
        )
    if selectors.tokens(actor=actor).filter(name=label, expires_at__gt=at).exists():
        raise Invalid.one(
            "/name", "You have a token of this name. Revoke it, or choose another."
        )
    secret = PREFIX + new_secret()
    token = ApiToken.objects.create(
        organisation_id=actor.organisation_id,
        membership_id=actor.membership_id,
        name=label,
        token_hash=secret_hash(secret),
        created_at=at,
        expires_at=at + timedelta(days=days),
    )
    return token, secret


@transaction.atomic
def api_token_revoke(*, actor: Actor, token_id: int, at: datetime) -> ApiToken:
    """Make a token of the actor's useless at once.

    Raises:
        NotFound: not a token of this membership.
        Conflict: revoked already.
    """
    token = (
        ApiToken.objects.select_for_update()
        .filter(
            organisation_id=actor.organisation_id,
            membership_id=actor.membership_id,
            pk=token_id,
        )
        .first()
    )
    if token is None:
        raise NotFound
    if token.revoked_at is not None:
        raise Conflict("This token was revoked already.")
    token.revoked_at = at
    token.save(update_fields=["revoked_at"])
    return token

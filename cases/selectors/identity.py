"""Who a request is: read before any tenant exists.

The rows come from SECURITY DEFINER functions of the first migration, which give
the minimum; nothing here reads a tenant table.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.db import connection

from cases.models import User
from cases.tenancy import Actor

__all__ = ["TokenHolder", "actors_of", "by_token"]


@dataclass(frozen=True, slots=True)
class TokenHolder:
    """The person behind a token and the one membership it acts through."""

    user: User
    actor: Actor


def _rows(call: str, values: list[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {call}", values)  # noqa: S608 -- constant text
        return list(cursor.fetchall())


def actors_of(user: AbstractBaseUser | AnonymousUser) -> tuple[Actor, ...]:
    """Return everyone the person can act as, by organisation and role.

    Empty for an inactive person; memberships that ended are not in it.
    """
    return tuple(
        Actor(
            user_id=user.pk or 0,
            membership_id=row[0],
            organisation_id=row[1],
            organisation_code=row[2],
            organisation_name=row[3],
            side=row[4],
            role=row[5],
            responsible_technician=row[6],
            language=row[7],
            tooth_system=row[8],
            time_zone=row[9],
            name=getattr(user, "name", ""),
        )
        for row in _rows("auth_memberships(%s)", [user.pk])
    )


def by_token(*, token_hash: str, at: datetime) -> TokenHolder | None:
    """Return who holds a token, or None: unknown, expired, revoked or left."""
    found = _rows("auth_token(%s, %s)", [token_hash, at])
    if not found:
        return None
    user = User.objects.filter(pk=found[0][0], is_active=True).first()
    if user is None:
        return None
    for actor in actors_of(user):
        if actor.membership_id == found[0][1]:
            return TokenHolder(user, actor)
    return None

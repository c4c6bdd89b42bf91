"""Requests that must happen once: their answers, kept for 24 hours.

A key belongs to organisation, user and route. It is claimed before the effect and
the answer is kept with it, all in the transaction of the effect: what fails stores
nothing, so that a corrected request may use the key again.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import uuid4

from django.db import connection

from cases.errors import KeyReused
from cases.models import IdempotencyKey
from cases.tenancy import Actor

__all__ = [
    "KEPT",
    "KeptAnswer",
    "answer_keep",
    "answers_forget",
    "key_claim",
    "key_known",
]

KEPT = timedelta(hours=24)
# Few enough that no request pays for a night's worth of old keys.
_SWEPT_AT_ONCE = 50


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """What was answered the first time; ``body`` is the text that was sent."""

    status: int
    headers: dict[str, str]
    body: str


def _forget_old(*, actor: Actor, route: str, key: str, at: datetime) -> None:
    old = IdempotencyKey.objects.filter(
        organisation_id=actor.organisation_id, created_at__lt=at - KEPT
    )
    # Rows another request is just forgetting are left to it.
    swept = old.select_for_update(skip_locked=True).values_list("pk", flat=True)
    IdempotencyKey.objects.filter(pk__in=list(swept[:_SWEPT_AT_ONCE])).delete()
    old.filter(user_id=actor.user_id, route=route, key=key).delete()


def answers_forget() -> int:
    """Forget every organisation's answers after a day, silent ones' too."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT forget_kept_answers()")
        row = cursor.fetchone()
    return int(row[0]) if row else 0


def key_claim(
    *, actor: Actor, route: str, key: str, body_sha256: str, at: datetime
) -> KeptAnswer | None:
    """Claim a key for this request, or return what it was answered before.

    A concurrent twin waits here, on the unique index, until the first request is
    committed (then it gets that answer) or rolled back (then it goes ahead).

    Raises:
        KeyReused: the key came with another body.
    """
    _forget_old(actor=actor, route=route, key=key, at=at)
    mine = uuid4()
    IdempotencyKey.objects.bulk_create(
        [
            IdempotencyKey(
                id=mine,
                organisation_id=actor.organisation_id,
                user_id=actor.user_id,
                route=route,
                key=key,
                body_sha256=body_sha256,
                created_at=at,
            )
        ],
        ignore_conflicts=True,
    )
    row = IdempotencyKey.objects.get(
        organisation_id=actor.organisation_id,
        user_id=actor.user_id,
        route=route,
        key=key,
    )
    if row.pk == mine:
        return None
    if row.body_sha256 != body_sha256:
        raise KeyReused
    assert row.status is not None  # noqa: S101 -- a committed key has its answer
    return KeptAnswer(row.status, dict(row.headers), row.body or "")


def answer_keep(*, actor: Actor, route: str, key: str, answer: KeptAnswer) -> None:
    """Keep the answer with the key claimed in this transaction."""
    IdempotencyKey.objects.filter(
        organisation_id=actor.organisation_id,
        user_id=actor.user_id,
        route=route,
        key=key,
    ).update(status=answer.status, headers=answer.headers, body=answer.body)


def key_known(*, actor: Actor, route: str, key: str) -> bool:
    """Return whether this person's key was answered on this route."""
    return IdempotencyKey.objects.filter(
        organisation_id=actor.organisation_id,
        user_id=actor.user_id,
        route=route,
        key=key,
    ).exists()

"""The outbox: what has to happen after commit, written with the change itself.

Rows hold ids and event codes. ``enqueue`` belongs to the transaction of the
change; a nudge after commit wakes the worker, and a beat sweep takes what the
nudge missed, so a dead broker delays a notice but never loses it.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import connections, transaction

from cases.models import Case, OutboxRow

__all__ = ["LEASE", "MAX_ATTEMPTS", "claim", "enqueue", "fail", "finish", "set_nudge"]

# Longer than any mail server's patience, shorter than a person's.
LEASE = timedelta(seconds=60)
MAX_ATTEMPTS = 8

_nudge: list[Callable[[], None]] = []


def set_nudge(nudge: Callable[[], None]) -> None:
    """Register what wakes the worker after commit (the web server does)."""
    _nudge[:] = [nudge]


def enqueue(
    *,
    kind: str,
    organisation_id: int,
    case: Case | None,
    dedupe_key: str,
    payload: dict[str, Any],
    at: datetime,
) -> None:
    """Write one row for the organisation that is to be told.

    ``dedupe_key`` is unique for ever: the same event cannot be told twice.
    """
    OutboxRow.objects.create(
        organisation_id=organisation_id,
        case=case,
        kind=kind,
        dedupe_key=dedupe_key,
        payload=payload,
        created_at=at,
        next_try_at=at,
    )
    for nudge in _nudge:
        transaction.on_commit(nudge, robust=True)


_CLAIM = """
UPDATE cases_outboxrow SET leased_until = %(lease)s, attempts = attempts + 1
WHERE id IN (
  SELECT id FROM cases_outboxrow
  WHERE done_at IS NULL AND dead_at IS NULL AND next_try_at <= %(at)s
    AND (leased_until IS NULL OR leased_until < %(at)s)
  ORDER BY next_try_at, id LIMIT %(limit)s FOR UPDATE SKIP LOCKED)
RETURNING id, organisation_id
"""


def claim(*, at: datetime, limit: int = 20) -> list[tuple[UUID, int]]:
    """Lease waiting rows as the relay: (row id, organisation id), oldest first.

    Committed at once; a worker that dies leaves rows whose lease runs out.
    """
    with transaction.atomic(using="relay"), connections["relay"].cursor() as cursor:
        cursor.execute(_CLAIM, {"lease": at + LEASE, "at": at, "limit": limit})
        return [(row[0], row[1]) for row in cursor.fetchall()]


def finish(row: OutboxRow, *, at: datetime) -> None:
    """Mark a row done, in the transaction of its effect."""
    row.done_at = at
    row.leased_until = None
    row.save(update_fields=["done_at", "leased_until"])


def fail(row: OutboxRow, *, error: str, at: datetime) -> None:
    """Put a row back with growing delay; after eight attempts it is dead."""
    row.leased_until = None
    row.last_error = error[:120]
    if row.attempts >= MAX_ATTEMPTS:
        row.dead_at = at
    row.next_try_at = at + timedelta(seconds=min(3600, 5 * 2**row.attempts))
    row.save(update_fields=["leased_until", "last_error", "dead_at", "next_try_at"])

"""What every command does the same way: open, guard, move, record, tell."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from django.db import DatabaseError, connection, transaction

from cases import lifecycle, outbox, policies, timeline
from cases.enums import AuditEvent
from cases.errors import Conflict, NotFound, StaleVersion
from cases.lifecycle import CaseState, Command
from cases.models import Case
from cases.tenancy import Actor

__all__ = ["advance", "begin", "database_guards", "other_side", "tell"]


def begin(*, actor: Actor, code: str, command: Command, version: int | None) -> Case:
    """Return the case, locked, once role, version and state allow the command.

    Raises:
        NotFound: absent, or another organisation's.
        NotAllowed: the actor's role never may.
        StaleVersion: somebody else changed the case first.
        IllegalTransition: not in this state.
    """
    case = Case.objects.visible_to(actor).locked().filter(code=code).first()
    if case is None:
        raise NotFound
    policies.require(actor, command)
    if version is not None and version != case.version:
        raise StaleVersion(current=case.version)
    lifecycle.next_state(CaseState(case.state), command)
    return case


def other_side(case: Case, actor: Actor) -> int:
    """Return the id of the organisation across the bench from the actor."""
    return case.laboratory_id if actor.is_clinic else case.clinic_id


def tell(
    *,
    case: Case,
    organisation_id: int,
    kind: str,
    key: str,
    at: datetime,
    **payload: Any,
) -> None:
    """Enqueue a notice of the case for one organisation."""
    outbox.enqueue(
        kind=kind,
        organisation_id=organisation_id,
        case=case,
        dedupe_key=f"{case.code}:{key}:{organisation_id}",
        payload=payload,
        at=at,
    )


def advance(
    case: Case,
    *,
    command: Command,
    event: AuditEvent,
    actor: Actor,
    at: datetime,
    target: CaseState | None = None,
    content: dict[str, Any] | None = None,
    fields: Sequence[str] = (),
    quiet: bool = False,
) -> None:
    """Move the case, save the named fields, record it and tell the other side."""
    before = case.state
    case.state = lifecycle.next_state(CaseState(before), command, target=target)
    case.version += 1
    saved = {"state", "version", *fields}
    if case.state != before:
        case.moved_at = at
        saved.add("moved_at")
    case.save(update_fields=sorted(saved))
    entry = timeline.record(
        case=case, event=event, actor=actor, at=at, before=before, content=content
    )
    if not quiet:
        tell(
            case=case,
            organisation_id=other_side(case, actor),
            kind=event.value,
            key=str(entry.pk),
            at=at,
        )


@contextmanager
def database_guards() -> Iterator[None]:
    """Run the database's deferred guards now; what they refuse is a Conflict."""
    try:
        with transaction.atomic():
            yield
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")
    except DatabaseError as error:
        if getattr(error.__cause__, "sqlstate", None) != "CB001":
            raise
        reason = str(error.__cause__).split("\n", 1)[0]
        raise Conflict(
            "The case cannot go on yet: {reason}.", reason=reason, reasons=(reason,)
        ) from error

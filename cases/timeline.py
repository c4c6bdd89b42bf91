"""The only writer of the timeline: what happened, by whom, when, on what.

The hashed text of an entry names case code, event, actor's membership, time and
states, and binds the content by a salted commitment. Verification recomputes
the chain from the stored text.
"""

import hashlib
import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from cases.canonical import canonical_json, commitment, new_salt
from cases.enums import AuditEvent
from cases.models import Case, TimelineContent, TimelineEntry
from cases.tenancy import Actor

__all__ = ["SCHEMA", "chain_faults", "record"]

SCHEMA = 1


def record(
    *,
    case: Case,
    event: AuditEvent,
    actor: Actor,
    at: datetime,
    before: str,
    content: dict[str, Any] | None = None,
    internal: bool = False,
) -> TimelineEntry:
    """Append one entry in the transaction of the change it tells of."""
    salt = new_salt()
    body = content or {}
    bound = commitment(salt, body)
    text = {
        "schema": SCHEMA,
        "case": case.code,
        "event": event.value,
        "at": at.isoformat(),
        "actor": actor.membership_id,
        "side": actor.side,
        "before": before,
        "after": case.state,
        "internal": internal,
        "content": bound,
    }
    entry = TimelineEntry.objects.create(
        case=case,
        event=event,
        at=at,
        actor_membership_id=actor.membership_id,
        actor_side=actor.side,
        state_before=before,
        state_after=case.state,
        internal=internal,
        content_commitment=bound,
        canonical=canonical_json(text).decode(),
    )
    TimelineContent.objects.create(case=case, entry=entry, salt=salt, content=body)
    return entry


def _says_columns(entry: TimelineEntry) -> bool:
    """Return whether the columns still say what was hashed."""
    said = json.loads(entry.canonical)
    told = [said[key] for key in ("event", "before", "after", "content")]
    who = [said[key] for key in ("actor", "side", "internal")]
    return (
        told
        == [
            entry.event,
            entry.state_before,
            entry.state_after,
            entry.content_commitment,
        ]
        and who == [entry.actor_membership_id, entry.actor_side, entry.internal]
        and datetime.fromisoformat(said["at"]) == entry.at
    )


def chain_faults(
    entries: Iterable[TimelineEntry], *, withheld: bool = False
) -> list[str]:
    """Return what is wrong with a case's chain, entries in order of position.

    Checks position, link, hash and that the columns still say what was hashed.
    ``withheld``: the reader may not see every entry; a missing position is then no
    fault, and the link across it cannot be checked.
    """
    faults: list[str] = []
    previous, position = "0" * 64, 0
    for entry in entries:
        position += 1
        text = f"{entry.prev_hash}\n{entry.position}\n{entry.canonical}"
        jumped = entry.position != position
        if jumped and not withheld:
            faults.append(f"position {position} is missing")
        position = entry.position
        if entry.prev_hash != previous and not (jumped and withheld):
            faults.append(f"entry {entry.position} does not follow its predecessor")
        if hashlib.sha256(text.encode()).hexdigest() != entry.entry_hash:
            faults.append(f"entry {entry.position} was changed")
        if not _says_columns(entry):
            faults.append(f"columns of entry {entry.position} were changed")
        previous = entry.entry_hash
    return faults

"""What every change of a rule set draft does: lock, parse, keep.

A draft's document is what ``rules.parse`` read without a fault, written in the
canonical form; nothing else is ever stored.
"""

import json
from collections.abc import Callable, Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from cases import policies
from cases.enums import DraftStatus
from cases.errors import Conflict, Invalid, InvalidField, NotFound, StaleVersion
from cases.models import RuleSetDraft
from cases.tenancy import Actor
from rules.errors import Fault, InvalidRuleSet
from rules.parse import parse_rule_set
from rules.requirements import RuleSet

__all__ = [
    "draft_being_edited",
    "draft_keep",
    "draft_locked",
    "draft_save_status",
    "faults_of",
    "read_rule_set",
    "today_at",
]

# What a text calls the version, a form calls the label.
_NAMES = {"/version": "/label"}


def today_at(actor: Actor, at: datetime) -> date:
    """Return the day it is at the actor's organisation."""
    return at.astimezone(ZoneInfo(actor.time_zone)).date()


def draft_locked(*, actor: Actor, code: str, version: int | None) -> RuleSetDraft:
    """Return a draft of the actor's laboratory, locked.

    Raises:
        NotFound: absent, or another laboratory's.
        NotAllowed: the actor does not manage the laboratory.
        StaleVersion: somebody else changed it first.
    """
    draft = (
        RuleSetDraft.objects.select_for_update(of=("self",))
        .filter(laboratory_id=actor.organisation_id, code=code)
        .first()
    )
    if draft is None:
        raise NotFound
    policies.require_right(actor, "rule_sets")
    if version is not None and version != draft.version:
        raise StaleVersion(
            "This rule set changed while you were working on it. Look at what "
            "changed, then send again; what you typed is kept.",
            current=draft.version,
        )
    return draft


def draft_being_edited(*, actor: Actor, code: str, version: int | None) -> RuleSetDraft:
    """Return ``draft_locked`` once it may be edited.

    Raises:
        Conflict: it waits for approval, is approved, published or discarded.
    """
    draft = draft_locked(actor=actor, code=code, version=version)
    if draft.status in (DraftStatus.PROPOSED, DraftStatus.APPROVED):
        raise Conflict(
            "This rule set is not being edited: it waits for approval or is approved. "
            "Return it to editing first; it then needs a new approval."
        )
    if draft.status != DraftStatus.EDITING:
        raise Conflict(
            "A published or discarded rule set stays as it is. Copy it and edit the "
            "copy."
        )
    return draft


def faults_of(
    faults: Iterable[Fault], moved: Callable[[str], str] = lambda pointer: pointer
) -> Invalid:
    """Return every fault of a rule set as the error services raise.

    ``moved`` turns a pointer into the document into one into what was sent. A fault
    with a known line of text says so in its message and in its parameters.
    """
    return Invalid(*(_field(fault, moved) for fault in faults))


def _field(fault: Fault, moved: Callable[[str], str]) -> InvalidField:
    params = dict(fault.params)
    if "other" in params:  # the rival line, named by its pointer
        params["other"] = moved(params["other"])
    message = fault.message
    if fault.line is not None:
        params["line"] = str(fault.line)
        message = "Line {line}: " + message
    pointer = moved(fault.pointer)
    return InvalidField(
        _NAMES.get(pointer, pointer), message, tuple(sorted(params.items()))
    )


def read_rule_set(
    document: object, moved: Callable[[str], str] = lambda pointer: pointer
) -> RuleSet:
    """Return the rule set in a document.

    Raises:
        Invalid: with every fault and its pointer.
    """
    try:
        return parse_rule_set(document)
    except InvalidRuleSet as error:
        raise faults_of(error.faults, moved) from error


def draft_keep(
    draft: RuleSetDraft, rule_set: RuleSet, *, actor: Actor, at: datetime
) -> RuleSetDraft:
    """Store a rule set as the draft's content and the actor as its last editor."""
    draft.document = json.loads(rule_set.canonical)
    draft.digest = rule_set.digest
    draft.name = rule_set.name
    draft.label = rule_set.version
    draft.edited_by_id = actor.membership_id
    draft.edited_by_name = actor.name
    draft.edited_at = at
    draft.version += 1
    draft.save(
        update_fields=[
            "document",
            "digest",
            "name",
            "label",
            "edited_by",
            "edited_by_name",
            "edited_at",
            "version",
        ]
    )
    return draft


def draft_save_status(
    draft: RuleSetDraft, status: DraftStatus, *fields: str
) -> RuleSetDraft:
    """Move a draft on and save the named fields with it."""
    draft.status = status
    draft.version += 1
    draft.save(update_fields=["status", "version", *fields])
    return draft

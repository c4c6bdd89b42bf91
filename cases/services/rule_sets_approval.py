"""A rule set draft on its way to force: proposed, approved, published.

Approval belongs to a second manager; whoever returns a draft to editing takes its
approval away. A published set never changes: the database refuses it too.
"""

from collections.abc import Callable
from datetime import date, datetime
from typing import TypeVar

from django.db import DatabaseError, IntegrityError, transaction

from cases.enums import DraftStatus
from cases.errors import Conflict, Invalid
from cases.models import Membership, RuleSetDraft, RuleSetPublication
from cases.selectors.rule_sets import other_managers
from cases.services.rule_sets_notices import tell_managers, tell_published
from cases.services.rule_sets_store import (
    draft_being_edited,
    draft_locked,
    draft_save_status,
    read_rule_set,
    today_at,
)
from cases.services.texts import refuse_overrides
from cases.tenancy import Actor
from rules.models import RuleSetVersion

__all__ = [
    "draft_approve",
    "draft_discard",
    "draft_propose",
    "draft_publish",
    "draft_return",
]

Row = TypeVar("Row", RuleSetDraft, RuleSetPublication)
_NOTE = 1000


def _refused(call: Callable[[], Row]) -> Row:
    """Run a change; what the database's guards refuse is a Conflict."""
    try:
        with transaction.atomic():
            return call()
    except IntegrityError as error:
        raise Conflict(
            "Another rule set of your laboratory holds from this day already. Return "
            "this one and choose another day."
        ) from error
    except DatabaseError as error:
        if getattr(error.__cause__, "sqlstate", None) != "CB001":
            raise
        reason = str(error.__cause__).split("\n", 1)[0]
        raise Conflict(
            "The rule set cannot go on: {reason}.", reason=reason, reasons=(reason,)
        ) from error


def _free_day(draft: RuleSetDraft, day: date | None, *, today: date) -> date:
    """Return a day that lies ahead and is free, as the label is; else raise Invalid."""
    if day is None or day < today:
        raise Invalid.one(
            "/effective_from",
            "Choose today or a later day: a rule set never holds for the past.",
        )
    ours = RuleSetPublication.objects.filter(laboratory_id=draft.laboratory_id)
    if ours.filter(effective_from=day).exists():
        raise Invalid.one(
            "/effective_from",
            "Another rule set of your laboratory holds from this day. Choose another "
            "day.",
        )
    bearing = ours.filter(name=draft.name, label=draft.label)
    if bearing.exclude(digest=draft.digest).exists():
        raise Invalid.one(
            "/label",
            "Your laboratory has published another rule set under this name and label. "
            "Change the label first.",
        )
    return day


@transaction.atomic
def draft_propose(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    effective_from: date,
    note: str,
    at: datetime,
) -> RuleSetDraft:
    """Ask the other managers to approve the draft, to hold from a day on.

    Raises:
        NotFound, NotAllowed, StaleVersion: as for every change.
        Conflict: it is not being edited.
        Invalid: a day that has passed or is taken, a label that is taken, a note
            that is too long.
    """
    draft = draft_being_edited(actor=actor, code=code, version=version)
    _free_day(draft, effective_from, today=today_at(actor, at))
    if len(note) > _NOTE:
        raise Invalid.one("/note", "Enter at most {limit} characters.", limit="1000")
    refuse_overrides({"/note": note})
    draft.effective_from = effective_from
    draft.note = note.strip()
    draft_save_status(draft, DraftStatus.PROPOSED, "effective_from", "note")
    tell_managers(draft, kind="rule_set_proposed", actor=actor, at=at)
    return draft


def _require_second(draft: RuleSetDraft, actor: Actor) -> None:
    """Raise Conflict when the actor is the person who edited the draft last."""
    editor = Membership.objects.get(pk=draft.edited_by_id)
    if editor.user_id != actor.user_id:
        return
    if other_managers(actor=actor):
        raise Conflict(
            "You edited this rule set last. Another laboratory manager has to approve "
            "it."
        )
    raise Conflict(
        "You edited this rule set last, and your laboratory has no other manager. "
        "Invite another laboratory manager first, who can then approve it."
    )


@transaction.atomic
def draft_approve(
    *, actor: Actor, code: str, version: int | None, at: datetime
) -> RuleSetDraft:
    """Approve a proposed draft, as another person than its last editor.

    Raises:
        NotFound, NotAllowed, StaleVersion: as for every change.
        Conflict: it waits for no approval, or the actor edited it last.
        Invalid: the day it should hold from has passed or is taken meanwhile.
    """
    draft = draft_locked(actor=actor, code=code, version=version)
    if draft.status != DraftStatus.PROPOSED:
        raise Conflict("This rule set does not wait for approval.")
    _require_second(draft, actor)
    _free_day(draft, draft.effective_from, today=today_at(actor, at))
    draft.approved_by_id = actor.membership_id
    draft.approved_by_name = actor.name
    draft.approved_at = at
    fields = ("approved_by", "approved_by_name", "approved_at")
    _refused(lambda: draft_save_status(draft, DraftStatus.APPROVED, *fields))
    tell_managers(draft, kind="rule_set_approved", actor=actor, at=at)
    return draft


@transaction.atomic
def draft_return(
    *, actor: Actor, code: str, version: int | None, reason: str, at: datetime
) -> RuleSetDraft:
    """Send a proposed or approved draft back to editing; its approval is gone.

    The reason takes the place of the note, for whoever edits it next.

    Raises:
        NotFound, NotAllowed, StaleVersion: as for every change.
        Conflict: it is neither proposed nor approved.
        Invalid: no reason.
    """
    draft = draft_locked(actor=actor, code=code, version=version)
    if draft.status not in (DraftStatus.PROPOSED, DraftStatus.APPROVED):
        raise Conflict("Only a rule set that waits or is approved can be returned.")
    if not reason.strip() or len(reason) > _NOTE:
        raise Invalid.one("/reason", "Say briefly why it goes back to editing.")
    refuse_overrides({"/reason": reason})
    draft.note = reason.strip()
    draft.approved_by = None
    draft.approved_by_name = ""
    draft.approved_at = None
    fields = ("note", "approved_by", "approved_by_name", "approved_at")
    draft_save_status(draft, DraftStatus.EDITING, *fields)
    tell_managers(draft, kind="rule_set_returned", actor=actor, at=at)
    return draft


@transaction.atomic
def draft_publish(
    *, actor: Actor, code: str, version: int | None, at: datetime
) -> RuleSetPublication:
    """Publish an approved draft: it holds from its day on and never changes again.

    Tells the laboratory's other managers and the clinics it works with.

    Raises:
        NotFound, NotAllowed, StaleVersion: as for every change.
        Conflict: it is not approved.
        Invalid: the day it should hold from has passed or is taken meanwhile.
    """
    draft = draft_locked(actor=actor, code=code, version=version)
    if draft.status != DraftStatus.APPROVED:
        raise Conflict(
            "Only an approved rule set is published. Propose it, and let another "
            "laboratory manager approve it."
        )
    day = _free_day(draft, draft.effective_from, today=today_at(actor, at))
    _store_version(draft, at=at)
    made = _refused(lambda: _published(draft, day, actor=actor, at=at))
    tell_published(draft, actor=actor, at=at)
    return made


def _store_version(draft: RuleSetDraft, *, at: datetime) -> None:
    rule_set = read_rule_set(draft.document)
    if rule_set.digest != draft.digest:
        raise Conflict(
            "This rule set was written by an earlier version of the program. Return "
            "it, save it once more and have it approved again."
        )
    stored, _made = RuleSetVersion.objects.get_or_create(
        digest=draft.digest,
        defaults={
            "name": draft.name,
            "version": draft.label,
            "payload": draft.document,
            "published_at": at,
        },
    )
    if stored.payload != draft.document:
        raise Conflict(
            "Another text stands under the digest of this rule set. Tell the operator "
            "of the portal."
        )


def _published(
    draft: RuleSetDraft, day: date, *, actor: Actor, at: datetime
) -> RuleSetPublication:
    made = RuleSetPublication.objects.create(
        laboratory_id=draft.laboratory_id,
        draft=draft,
        digest=draft.digest,
        name=draft.name,
        label=draft.label,
        effective_from=day,
        edited_by_name=draft.edited_by_name,
        approved_by_name=draft.approved_by_name,
        published_by_id=actor.membership_id,
        published_by_name=actor.name,
        published_at=at,
    )
    draft_save_status(draft, DraftStatus.PUBLISHED)
    return made


@transaction.atomic
def draft_discard(*, actor: Actor, code: str, version: int | None) -> RuleSetDraft:
    """Put a draft aside for good.

    Raises:
        NotFound, NotAllowed, StaleVersion: as for every change.
        Conflict: it was published or discarded already.
    """
    draft = draft_locked(actor=actor, code=code, version=version)
    if draft.status in (DraftStatus.PUBLISHED, DraftStatus.DISCARDED):
        raise Conflict("A published or discarded rule set stays as it is.")
    return draft_save_status(draft, DraftStatus.DISCARDED)

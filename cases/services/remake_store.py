"""Storing a remake with all that hangs on it.

A remake is never edited: what was recorded stays, statements, traces and figures are
added.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from cases import storage
from cases.errors import Invalid, InvalidField
from cases.models import (
    Attachment,
    Case,
    Remake,
    RemakeEvidence,
    RemakeLoss,
    RemakeStatement,
)
from cases.selectors.remakes import loss_currency
from cases.services.attachments import attachment_add
from cases.services.remake_parts import LossInput, RemakeParts
from cases.tenancy import Actor

__all__ = ["loss_store", "remake_store", "statement_store"]


@contextmanager
def _files_added(
    case: Case, parts: RemakeParts, *, actor: Actor, internal: bool, at: datetime
) -> Iterator[list[Attachment]]:
    """Add the new files; when the body fails their bytes are taken away again."""
    added: list[Attachment] = []
    try:
        for i, (name, content) in enumerate(parts.files):
            try:
                row = attachment_add(
                    actor=actor,
                    code=case.code,
                    name=name,
                    content=content,
                    internal=internal,
                    at=at,
                )
            except Invalid as error:
                raise Invalid(
                    *(
                        InvalidField(f"/files/{i}", f.message, f.params)
                        for f in error.fields
                    )
                ) from error
            added.append(row)
        yield added
    except Exception:
        for row in added:
            storage.delete(row.storage_key)
        raise


@contextmanager
def remake_store(
    case: Case,
    parts: RemakeParts,
    *,
    actor: Actor,
    new_case: Case | None,
    at: datetime,
) -> Iterator[Remake]:
    """Store a remake with all that hangs on it; its files go if the body fails.

    Without a new case it is an internal one, whose new files the laboratory keeps.
    """
    internal = new_case is None
    with _files_added(case, parts, actor=actor, internal=internal, at=at) as added:
        remake = Remake.objects.create(
            case=case,
            new_case=new_case,
            internal=internal,
            teeth=parts.teeth,
            cause=parts.cause,
            detected_at=parts.detected_at,
            note=parts.note,
            recorded_by_id=actor.membership_id,
            recorded_by_name=actor.name,
            recorded_at=at,
        )
        RemakeEvidence.objects.bulk_create(
            RemakeEvidence(remake=remake, attachment=row)
            for row in (*parts.evidence, *added)
        )
        if parts.attribution:
            statement_store(
                remake, actor=actor, attribution=parts.attribution, note="", at=at
            )
        if parts.loss is not None and not parts.loss.empty:
            loss_store(remake, parts.loss, actor=actor, at=at)
        yield remake


def statement_store(
    remake: Remake, *, actor: Actor, attribution: str, note: str, at: datetime
) -> RemakeStatement:
    """Store one side's view; the database puts it into the remake."""
    made = RemakeStatement.objects.create(
        remake=remake,
        side=actor.side,
        attribution=attribution,
        note=note,
        made_by_id=actor.membership_id,
        made_by_name=actor.name,
        made_at=at,
    )
    remake.refresh_from_db(fields=["attribution_clinic", "attribution_laboratory"])
    return made


def loss_store(
    remake: Remake, loss: LossInput, *, actor: Actor, at: datetime
) -> RemakeLoss:
    """Store what the remake costs the actor's side."""
    return RemakeLoss.objects.create(
        remake=remake,
        organisation_id=actor.organisation_id,
        amount=loss.amount,
        currency="" if loss.amount is None else loss_currency(actor=actor),
        minutes=loss.minutes,
        days_lost=loss.days_lost,
        made_by_id=actor.membership_id,
        made_at=at,
    )

"""What a draft would change among the laboratory's cases, computed in the background.

Looked at are all open cases and those submitted in the last twelve months. Every case
is compared with what stands in its file: its stored verdicts, made under the set it
was submitted or re-checked under, against those the draft would give to the same
readings. For a case under an older set that is the change a re-check under the draft
would bring, not only what the draft changes against the set in force.

Two lanes (case id even or odd) let two workers share the work. Each goes through the
cases from the newest on, in chunks; a chunk's rows, counts and place are stored in one
transaction, so that a worker that dies loses one chunk and doubles nothing.
"""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from cases import outbox
from cases.enums import DraftStatus, ImpactStatus
from cases.errors import Conflict
from cases.models import (
    Organisation,
    OutboxRow,
    RuleSetDraft,
    RuleSetImpact,
    RuleSetImpactCase,
)
from cases.selectors.check_catalog import digest_now
from cases.services.rule_sets_lanes import LANES, impact_slice, looked_at
from cases.services.rule_sets_store import draft_locked, today_at
from cases.tenancy import Actor
from rules.loader import shipped_rule_set

__all__ = ["KIND", "LANES", "impact_go_on", "impact_slice", "impact_start"]

# The kind of its outbox rows.
KIND = "rule_set_impact"
# A worker takes all rows that wait: the second lane waits for the next worker.
_APART = timedelta(seconds=1)
# Comparisons of one laboratory at a time: others wait for the same workers.
_AT_ONCE = 3
_WAITING = 50


def _year_before(day: date) -> date:
    leap = (day.month, day.day) == (2, 29)
    return day.replace(year=day.year - 1, day=28 if leap else day.day)


@transaction.atomic
def impact_start(*, actor: Actor, code: str, at: datetime) -> RuleSetImpact:
    """Begin to compare a draft with the laboratory's cases; return the progress.

    Asked again while the same content is being compared, it returns that progress.

    Raises:
        NotFound, NotAllowed: as for every change of a draft.
        Conflict: the draft is published or discarded, or several other drafts of
            the laboratory are being compared.
    """
    draft = draft_locked(actor=actor, code=code, version=None)
    if draft.status in (DraftStatus.PUBLISHED, DraftStatus.DISCARDED):
        raise Conflict("Only a draft is compared with the cases.")
    laboratory = Organisation.objects.get(pk=actor.organisation_id)
    against = digest_now(laboratory, at=at) or shipped_rule_set().digest
    running = RuleSetImpact.objects.filter(draft=draft, status=ImpactStatus.RUNNING)
    same = running.filter(digest=draft.digest, against=against).first()
    if same is not None and _worked_on(same):
        return same
    running.update(status=ImpactStatus.STOPPED, finished_at=at)
    _require_turn(laboratory)
    # What an earlier content would have changed says nothing any more: only the
    # figures of its comparison stay.
    RuleSetImpactCase.objects.filter(impact__draft=draft).delete()
    return _begun(draft, laboratory, actor=actor, against=against, at=at)


def _require_turn(laboratory: Organisation) -> None:
    """Raise Conflict while a laboratory keeps the workers busy enough."""
    rows = RuleSetImpact.objects.filter(
        laboratory=laboratory, status=ImpactStatus.RUNNING
    )
    busy = [row for row in rows.defer("document")[:_WAITING] if _worked_on(row)]
    if len(busy) >= _AT_ONCE:
        raise Conflict(
            "Other drafts of your laboratory are being compared. Wait until one is "
            "done."
        )


def _worked_on(impact: RuleSetImpact) -> bool:
    """Tell whether any row still asks a worker for it."""
    return OutboxRow.objects.filter(
        kind=KIND,
        payload__impact=impact.code,
        done_at__isnull=True,
        dead_at__isnull=True,
    ).exists()


def _begun(
    draft: RuleSetDraft,
    laboratory: Organisation,
    *,
    actor: Actor,
    against: str,
    at: datetime,
) -> RuleSetImpact:
    impact = RuleSetImpact(
        laboratory=laboratory,
        draft=draft,
        digest=draft.digest,
        against=against,
        document=draft.document,
        since=_year_before(today_at(actor, at)),
        started_by_name=actor.name,
        started_at=at,
    )
    impact.total = looked_at(impact, laboratory).count()
    impact.save(force_insert=True)
    for lane in LANES:
        payload = {"impact": impact.code, "lane": lane}
        _ask(laboratory.pk, payload, step="first", at=at + lane * _APART)
    return impact


def _ask(
    organisation_id: int, payload: dict[str, Any], *, step: str, at: datetime
) -> None:
    outbox.enqueue(
        kind=KIND,
        organisation_id=organisation_id,
        case=None,
        dedupe_key=f"{KIND}:{payload['impact']}:{payload['lane']}:{step}",
        payload=payload,
        at=at,
    )


def impact_go_on(
    *, organisation_id: int, payload: dict[str, Any], after: UUID, at: datetime
) -> None:
    """Ask for the next slice of a lane, once, in the transaction that ends a row."""
    _ask(organisation_id, payload, step=str(after), at=at)

"""Background work: take outbox rows, do what they ask, mark them.

The truth is the outbox table, not the broker: a task is only a wake-up. Rows
are claimed by lease as the relay; each is then handled as the application, in
the tenant of the row. No lock is held while a mail server is spoken to.
"""

import logging
import time
from datetime import datetime
from typing import Any
from uuid import UUID

from celery import shared_task
from django.core.mail import EmailMessage

from cases import clock, outbox
from cases.documents.render import render_and_store
from cases.notifications import LETTERS, deliver_mails, letter_for, make_notices
from cases.selectors.unscoped import outbox_row
from cases.services import rule_set_impact
from cases.services.audit_digest import digests_make
from cases.services.idempotency import answers_forget
from cases.tenancy import tenant

__all__ = ["audit_digests", "handle", "nudge", "relay_outbox", "sweep"]

logger = logging.getLogger(__name__)
BATCH = 20
ROUNDS = 50
# Well inside the hard limit of a task: the next one takes what is left.
LONGEST = 240.0


def handle(row_id: UUID, organisation_id: int) -> None:
    """Do what one claimed row asks; failures put it back with delay."""
    at = clock.now()
    letter: EmailMessage | None = None
    try:
        with tenant(organisation_id):
            row = outbox_row(row_id)
            if row is None:
                return
            kind, case_id, payload = row.kind, row.case_id, row.payload
            event = str(row.pk)
            if kind == "render_work_order":
                render_and_store(code=payload["work_order"], at=at)
            elif kind == rule_set_impact.KIND:
                pass  # long work, in transactions of its own below
            elif kind in LETTERS:
                letter = letter_for(kind=kind, payload=payload, event=event, at=at)
            else:
                make_notices(
                    organisation_id=organisation_id,
                    kind=kind,
                    event=event,
                    case_id=case_id,
                    only_user=payload.get("user"),
                    at=at,
                )
        more = False
        if kind == rule_set_impact.KIND:
            more = _compare(organisation_id, payload, at=at)
        elif letter is not None:
            letter.send()
        else:
            deliver_mails(
                event=event, organisation_id=organisation_id, at=at, payload=payload
            )
        with tenant(organisation_id):
            if (done := outbox_row(row_id)) is not None:
                outbox.finish(done, at=clock.now())
                if more:
                    rule_set_impact.impact_go_on(
                        organisation_id=organisation_id,
                        payload=payload,
                        after=row_id,
                        at=clock.now(),
                    )
    except Exception as error:
        # Whatever went wrong, the row must come back: the outbox is the promise.
        logger.exception("outbox row %s failed", row_id)
        with tenant(organisation_id):
            if (failed := outbox_row(row_id)) is not None:
                outbox.fail(failed, error=type(error).__name__, at=clock.now())


def _compare(organisation_id: int, payload: dict[str, Any], *, at: datetime) -> bool:
    """Compare the next cases with a rule set's draft; return whether there are more."""
    return rule_set_impact.impact_slice(
        organisation_id=organisation_id,
        impact_code=payload["impact"],
        lane=payload["lane"],
        at=at,
    )


@shared_task(name="cases.tasks.relay_outbox", ignore_result=True)
def relay_outbox() -> int:
    """Handle what waits; return how many rows were taken."""
    taken = 0
    ends = time.monotonic() + LONGEST
    for _round in range(ROUNDS):
        if time.monotonic() > ends:
            break
        claimed = outbox.claim(at=clock.now(), limit=BATCH)
        if not claimed:
            break
        for row_id, organisation_id in claimed:
            handle(row_id, organisation_id)
        taken += len(claimed)
    return taken


@shared_task(name="cases.tasks.sweep", ignore_result=True)
def sweep() -> int:
    """Take what the nudge missed; beat calls this whatever else happens."""
    answers_forget()
    return relay_outbox()


@shared_task(name="cases.tasks.audit_digests", ignore_result=True)
def audit_digests() -> int:
    """Make the monthly digests that are due; a second run makes none twice."""
    ends = time.monotonic() + LONGEST
    return digests_make(at=clock.now(), enough=lambda: time.monotonic() > ends)


def nudge() -> None:
    """Wake the worker after commit; with the broker down the sweep does it."""
    relay_outbox.apply_async(retry=False, expires=30)

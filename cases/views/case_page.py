"""The case page: clearance first, the conversation beside it, for both sides."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases import clock
from cases.forms.thread import MessageForm
from cases.lifecycle import CaseState, Command, Mover, commands_for
from cases.policies import can
from cases.selectors.cases import case_detail
from cases.selectors.records import timeline_rows
from cases.selectors.remakes import cause_labels
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.moves import moves_of
from cases.views.presenting import (
    Due,
    case_title,
    chain_of,
    due_of,
    query_rows,
    round_rows,
    teeth_figure,
    unit_panels,
)
from cases.views.span_rows import bridges

if TYPE_CHECKING:
    from cases.selectors.cases import CaseDetail
    from cases.selectors.records import TimelineRow

__all__ = ["case_page", "thread_context"]


def thread_context(
    detail: "CaseDetail", actor: Actor, form: MessageForm | None = None
) -> dict[str, Any]:
    """Return what the conversation needs, for the page and for its part alone."""
    writable = Command.MESSAGE in commands_for(CaseState(detail.case.state))
    return {
        "case": detail.case,
        "thread": detail.messages,
        "message_form": form or MessageForm(actor=actor),
        "may_write": writable and can(actor, Command.MESSAGE),
    }


def _names(detail: "CaseDetail") -> dict[int, str]:
    """Return the names this case itself tells, by membership.

    The other side's people cannot be looked up; what they signed, asked, wrote or
    measured carries their printed name.
    """
    found: dict[int, str] = {}
    for message in detail.messages:
        found[message.author_id] = message.author_name
    for flag in detail.flags:
        found[flag.raised_by_id] = flag.raised_by_name
        for answer in flag.answers.all():
            for signed in (answer.signature, answer.countersignature):
                if signed:
                    found[signed.membership_id] = signed.printed_name
    for report in detail.fit_reports:
        found[report.reported_by_id] = report.reported_by_name
    for remake in detail.remakes:
        if remake.recorded_by_name:
            found[remake.recorded_by_id] = remake.recorded_by_name
    for reading in detail.readings:
        found[reading.taken_by_id] = reading.taken_by_name
    if detail.prescription and detail.prescription.signature:
        signed = detail.prescription.signature
        found[signed.membership_id] = signed.printed_name
    return found


def _timeline(
    detail: "CaseDetail", rows: list["TimelineRow"], actor: Actor
) -> list[dict[str, Any]]:
    """Return the timeline in words, newest first."""
    names = {**_names(detail), actor.membership_id: actor.name}
    told = ("note", "reason", "missing")
    return [
        {
            "entry": row.entry,
            "who": names.get(row.entry.actor_membership_id, ""),
            "text": next(
                (str(row.content[k]) for k in told if (row.content or {}).get(k)), ""
            )
            if row.content
            else "",
            "signed": bool((row.content or {}).get("content_sha256")),
        }
        for row in reversed(rows)
    ]


def _due(detail: "CaseDetail") -> Due:
    """Return when the work is due; what has ended is not late any more."""
    case = detail.case
    if detail.mover == Mover.NOBODY:
        return Due(case.promised_on or case.wanted_on, "", "")
    return due_of(case.promised_on, case.wanted_on, clock.now())


@require_safe
@acting_required
def case_page(request: ActingRequest, code: str) -> HttpResponse:
    """Show everything about a case to whoever may see it."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    rows = timeline_rows(actor=actor, code=code)
    panels = unit_panels(detail, actor)
    units = detail.units or detail.draft_units
    context = {
        **thread_context(detail, actor),
        "detail": detail,
        "title": case_title(detail, actor),
        "due": _due(detail),
        "moves": moves_of(detail, actor),
        "panels": panels,
        "spans": bridges(detail, actor),
        "teeth": teeth_figure(panels, units, actor),
        "queries": query_rows(detail),
        "rounds": round_rows(actor, detail),
        "causes": cause_labels(remake.cause for remake in detail.remakes),
        "files": [a for a in detail.attachments if a.message_id is None],
        "timeline": _timeline(detail, rows, actor),
        "chain": chain_of(rows, actor),
    }
    return render(request, "cases/case.html", context)

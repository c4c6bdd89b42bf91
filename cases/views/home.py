"""The clinic's first page: what needs you now, most pressing first."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock
from cases.errors import NotAllowed
from cases.lifecycle import CaseState, Mover
from cases.selectors.cases import MAX_PAGE_SIZE, CaseFilters, case_page
from cases.views.access import ActingRequest, acting_required
from cases.views.bench import Line, line_of

__all__ = ["work"]

S = CaseState


@dataclass(frozen=True, slots=True)
class Group:
    """Cases that wait for the same thing."""

    key: str
    title: str
    lines: tuple[Line, ...]


def _groups(lines: Sequence[Line]) -> list[Group]:
    """Return what waits for the clinic, in the order it should be done."""
    titles = {
        S.ON_HOLD: _("Queries to answer"),
        S.AWAITING_RECORDS: _("New records to send"),
        S.INCOMPLETE: _("Came back incomplete"),
        S.AT_TRY_IN: _("To try in"),
        S.DISPATCHED: _("Delivered: report the fit"),
        S.DRAFT: _("Drafts"),
        S.DEFERRED: _("Deferred until a review"),
    }
    return [
        Group(state.value, title, tuple(_of(lines, state)))
        for state, title in titles.items()
        if any(_of(lines, state))
    ]


def _of(lines: Sequence[Line], state: CaseState) -> Iterable[Line]:
    return (line for line in lines if line.case.state == state)


@require_safe
@acting_required
def work(request: ActingRequest) -> HttpResponse:
    """Show the cases that wait for the clinic, and those that wait elsewhere."""
    actor = request.actor
    if not actor.is_clinic:
        raise NotAllowed("This page is the clinic's; yours is the bench list.")
    now = clock.now()

    def waiting_for(mover: Mover, limit: int) -> tuple[list[Line], bool]:
        filters = CaseFilters(whose=mover.value, by_due=True)
        page = case_page(actor=actor, filters=filters, limit=limit)
        return [line_of(r, actor, now) for r in page.rows], bool(page.next_cursor)

    mine, more = waiting_for(Mover.CLINIC, MAX_PAGE_SIZE)
    theirs, more_theirs = waiting_for(Mover.LABORATORY, 20)
    context = {
        "groups": _groups(mine),
        "more": more,
        "theirs": theirs,
        "more_theirs": more_theirs,
    }
    return render(request, "cases/work.html", context)

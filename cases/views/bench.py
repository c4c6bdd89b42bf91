"""Lists of cases: the laboratory's bench, and all cases of a clinic."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock
from cases.enums import Side
from cases.errors import NotAllowed
from cases.forms.bench import FilterForm
from cases.forms.vocabulary import tooth_number
from cases.lifecycle import CaseState, Mover, whose_move
from cases.selectors.cases import CaseFilters, CaseRow, case_counts, case_page
from cases.selectors.people import partnerships
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.presenting import Due, due_of

if TYPE_CHECKING:
    from cases.models import Case

__all__ = ["Line", "bench", "cases_list", "line_of"]

# Where somebody still has to act. What ended is oldest and would come first.
_OPEN = tuple(s.value for s in CaseState if whose_move(s) != Mover.NOBODY)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a list, in words."""

    case: "Case"
    patient: str
    teeth: str
    partner: str
    mover: str
    yours: bool
    countersign_due: bool
    open_flags: int
    due: Due
    waiting: str


def line_of(row: CaseRow, actor: Actor, now: datetime) -> Line:
    """Return a row of a list in words."""
    case = row.case
    teeth = (tooth_number(t, actor.tooth_system) for t in row.teeth.split())
    ended = row.mover == Mover.NOBODY
    return Line(
        case=case,
        patient=row.patient,
        teeth=", ".join(teeth),
        partner=case.laboratory.name if actor.is_clinic else case.clinic.name,
        mover=row.mover.value,
        yours=row.mover == actor.side,
        countersign_due=row.countersign_due,
        open_flags=row.open_flags,
        due=Due(case.promised_on or case.wanted_on, "", "")
        if ended
        else due_of(case.promised_on, case.wanted_on, now),
        waiting="" if ended else timesince(case.moved_at, now, depth=1),
    )


def _partners(actor: Actor) -> list[tuple[str, str]]:
    """Return the clinics a laboratory works with, as choices."""
    if actor.is_clinic:
        return []
    found = {p.clinic.code: p.clinic.name for p in partnerships(actor=actor)}
    return sorted(found.items(), key=lambda pair: pair[1])


def _address(request: HttpRequest, **changes: str) -> str:
    """Return this list's address with other filters."""
    query = request.GET.copy()
    query.pop("after", None)
    for name, value in changes.items():
        query[name] = value
    return f"?{query.urlencode()}"


def _chips(request: ActingRequest, whose: str) -> list[dict[str, object]]:
    """Return the links that narrow a list by whose move it is, with counts."""
    actor = request.actor
    counts = case_counts(actor=actor)
    chips = [
        (_("All open"), "", None),
        (_("Your move"), actor.side, counts[actor.side]),
        (_("Theirs"), _other(actor), counts[_other(actor)]),
        (_("Ended"), Mover.NOBODY.value, None),
    ]
    return [
        {
            "label": words,
            "count": count,
            "href": _address(request, whose=mover),
            "current": mover == whose,
        }
        for words, mover, count in chips
    ]


def _list(request: ActingRequest, title: str) -> HttpResponse:
    actor = request.actor
    form = FilterForm(request.GET, partners=_partners(actor))
    chosen = form.filters()
    by_itself = not (chosen.whose or chosen.states or chosen.search)
    filters = replace(chosen, states=_OPEN) if by_itself else chosen
    after = request.GET.get("after", "")
    page = case_page(actor=actor, filters=filters, cursor=after)
    now = clock.now()
    context = {
        "title": title,
        "lines": [line_of(row, actor, now) for row in page.rows],
        "all_ended": by_itself and not page.rows and _any_ended(actor),
        "filters": form,
        "narrowed": form.narrowed,
        "chips": _chips(request, chosen.whose),
        "next_href": _address(request, after=page.next_cursor)
        if page.next_cursor
        else "",
        "first_href": _address(request) if after else "",
    }
    return render(request, "cases/bench.html", context)


def _any_ended(actor: Actor) -> bool:
    """Return whether there are cases in which nobody has to act any more."""
    ended = CaseFilters(whose=Mover.NOBODY.value)
    return bool(case_page(actor=actor, filters=ended, limit=1).rows)


def _other(actor: Actor) -> str:
    return str(Side.LABORATORY if actor.is_clinic else Side.CLINIC)


@require_safe
@acting_required
def bench(request: ActingRequest) -> HttpResponse:
    """Show the laboratory's cases by due date, narrowed by the address."""
    if request.actor.is_clinic:
        raise NotAllowed("The bench list is the laboratory's.")
    return _list(request, _("Bench"))


@require_safe
@acting_required
def cases_list(request: ActingRequest) -> HttpResponse:
    """Show all cases of the clinic, narrowed by the address."""
    if not request.actor.is_clinic:
        raise NotAllowed("The laboratory's cases stand on its bench list.")
    return _list(request, _("Cases"))

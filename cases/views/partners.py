"""The organisations one works with."""

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.faults import add_faults
from cases.forms.people import PartnerForm
from cases.selectors import people as selectors
from cases.services import partnerships as services
from cases.views.access import ActingRequest, acting_required

__all__ = ["accept", "ask", "end", "partners"]


@dataclass(frozen=True, slots=True)
class PartnerRow:
    """One partnership, seen from the actor's side."""

    pk: int
    name: str
    address: str
    accepted: bool
    asked_by_us: bool


def _rows(request: ActingRequest) -> list[PartnerRow]:
    actor = request.actor
    rows = []
    for found in selectors.partnerships(actor=actor):
        other = found.laboratory if actor.is_clinic else found.clinic
        accepted = found.accepted_at is not None
        rows.append(
            PartnerRow(
                pk=found.pk,
                name=other.name,
                # Until both agree, a code tells a name and nothing more.
                address=other.address if accepted else "",
                accepted=accepted,
                asked_by_us=found.asked_by_id == actor.organisation_id,
            )
        )
    return rows


def _page(
    request: ActingRequest, form: PartnerForm, *, status: int = 200
) -> HttpResponse:
    rows = _rows(request)
    context = {
        "form": form,
        "manages": policies.can_manage(request.actor, "partners"),
        "partners": [row for row in rows if row.accepted],
        "asked": [row for row in rows if not row.accepted],
    }
    return render(request, "people/partners.html", context, status=status)


@acting_required
@require_safe
def partners(request: ActingRequest) -> HttpResponse:
    """Show partners, what was asked, and one's own code."""
    return _page(request, PartnerForm())


@acting_required
@require_POST
def ask(request: ActingRequest) -> HttpResponse:
    """Ask another organisation to work together."""
    policies.require_right(request.actor, "partners")
    form = PartnerForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        services.partnership_ask(
            actor=request.actor, code=form.cleaned_data["code"], at=clock.now()
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, status=422)
    messages.success(request, _("Asked. You will be told when they accept."))
    return redirect("partners")


@acting_required
@require_POST
def accept(request: ActingRequest, pk: int) -> HttpResponse:
    """Accept what the other side asked."""
    services.partnership_accept(actor=request.actor, partnership_id=pk, at=clock.now())
    messages.success(request, _("You work together now; cases can be sent."))
    return redirect("partners")


@acting_required
@require_POST
def end(request: ActingRequest, pk: int) -> HttpResponse:
    """End, decline or take back."""
    services.partnership_end(actor=request.actor, partnership_id=pk, at=clock.now())
    messages.success(request, _("Ended. Cases already sent go on."))
    return redirect("partners")

"""The laboratory's own readings of a case."""

from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases.forms.commands import LOOK, MORE
from cases.forms.own_readings import OwnReadingsForm, bench_rows
from cases.lifecycle import Command
from cases.policies import require
from cases.selectors.cases import case_detail
from cases.selectors.instruments import instrument_choices
from cases.services.checks import rule_set_for
from cases.services.readings import readings_add
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page

__all__ = ["own_readings"]


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def own_readings(request: ActingRequest, code: str) -> HttpResponse:
    """Enter readings taken at the bench; the case is checked again with them."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    require(actor, Command.READINGS)
    posted = request.method == "POST"
    wants_more = not posted or request.POST.get(LOOK) == MORE
    rows = bench_rows(
        request.POST if posted else None,
        units=detail.units,
        rule_set=rule_set_for(detail.case.rule_set_digest),
        mounting=max((r.mounting_number for r in detail.rounds), default=1),
        system=actor.tooth_system,
        more=2 if wants_more else 0,
        instruments=instrument_choices(actor=actor),
    )
    page = Page(
        Command.READINGS,
        OwnReadingsForm,
        "cases/own_readings.html",
        _("Readings added; the case was checked again with them."),
        kwargs={"rows": rows, "system": actor.tooth_system},
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: readings_add(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            readings=form.readings(),
            at=at,
        ),
    )

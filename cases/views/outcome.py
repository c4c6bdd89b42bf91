"""What happened in the mouth, and work that is made again."""

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases.forms.commands import LOOK
from cases.forms.outcome import FitForm, facing_choices
from cases.forms.remakes import InternalRemakeForm, RemakeForm
from cases.lifecycle import CaseState, Command
from cases.policies import can, can_manage
from cases.selectors.cases import case_detail
from cases.selectors.remakes import causes_offered, loss_currency
from cases.services.bench import internal_remake
from cases.services.outcome import fit_refused, fit_report, remake_open
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page
from cases.views.remake_rows import file_choices, tooth_choices

if TYPE_CHECKING:
    from cases.models import Remake
    from cases.selectors.cases import CaseDetail
    from cases.tenancy import Actor

__all__ = ["fit", "remake", "remake_internal"]

both = require_http_methods(["GET", "HEAD", "POST"])


def _coping_enclosed(detail: "CaseDetail") -> bool:
    """Return whether a settled answer sent a reduction coping along."""
    return any(
        answer.kind == "reduction_coping" and flag.status == "settled"
        for flag in detail.flags
        for answer in flag.answers.all()
    )


@both
@acting_required
def fit(request: ActingRequest, code: str) -> HttpResponse:
    """Report the fit; "fitted, as delivered" is one button."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    refused = fit_refused(actor=actor, case=detail.case)
    looks = request.method != "POST" or LOOK in request.POST
    if refused is not None and looks and can(actor, Command.FIT):
        raise refused
    coping = _coping_enclosed(detail)
    facing = facing_choices([unit.tooth for unit in detail.units], actor.tooth_system)
    page = Page(
        Command.FIT,
        FitForm,
        "cases/fit.html",
        _("Fit reported. Thank you: this is what the next preparation learns from."),
        kwargs={"coping": coping, "facing": facing},
        context={"coping": coping},
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: fit_report(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            report=form.report(),
            at=at,
        ),
    )


def _offered(detail: "CaseDetail", actor: "Actor") -> dict[str, Any]:
    """Return what a remake's form offers: causes, teeth, files, the own currency."""
    return {
        "causes": causes_offered(actor=actor, case=detail.case),
        "teeth": tooth_choices(detail, actor),
        "evidence": file_choices(detail, actor),
        "currency": loss_currency(actor=actor),
    }


@both
@acting_required
def remake(request: ActingRequest, code: str) -> HttpResponse:
    """Record a remake and go on in its linked new draft."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    made: list[Remake] = []

    def act(form: RemakeForm, at: Any) -> None:
        data = form.cleaned_data
        made.append(
            remake_open(
                actor=actor,
                code=code,
                version=data["version"],
                cause=data["cause"],
                detected_at=data["detected_at"],
                attribution=data["attribution"],
                note=data["note"],
                details=form.details(),
                at=at,
            )
        )

    seated = detail.case.state == CaseState.FITTED
    page = Page(
        Command.REMAKE,
        RemakeForm,
        "cases/remake.html",
        _("Remake recorded."),
        kwargs=_offered(detail, actor),
        initial={
            "teeth": [unit.tooth for unit in detail.units],
            "detected_at": "after_cementation" if seated else "seating",
        },
        names={"loss": "amount", "files": "photos"},
    )
    answer = command_page(request, case=detail.case, page=page, act=act)
    if made and made[0].new_case is not None:
        messages.info(request, _("A new draft with the same prescription is open."))
        return redirect("case_edit_draft", code=made[0].new_case.code)
    return answer


@both
@acting_required
def remake_internal(request: ActingRequest, code: str) -> HttpResponse:
    """Record work that was made again before dispatch."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    page = Page(
        Command.INTERNAL_REMAKE,
        InternalRemakeForm,
        "cases/internal_remake.html",
        _("Internal remake recorded."),
        kwargs=_offered(detail, actor),
        initial={"teeth": [unit.tooth for unit in detail.units]},
        names={"loss": "amount", "files": "photos"},
        context={"may_add_causes": can_manage(actor, "remake_causes")},
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: internal_remake(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            cause=form.cleaned_data["cause"],
            detected_at=form.cleaned_data["detected_at"],
            attribution=form.cleaned_data["attribution"],
            note=form.cleaned_data["note"],
            details=form.details(),
            at=at,
        ),
    )

"""What happened in the mouth, and work that is made again."""

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases.forms.outcome import FitForm, RemakeForm
from cases.lifecycle import Command
from cases.selectors.cases import case_detail, case_get
from cases.services.outcome import fit_report, remake_open
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page

if TYPE_CHECKING:
    from cases.models import Remake
    from cases.selectors.cases import CaseDetail

__all__ = ["fit", "remake"]

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
    detail = case_detail(actor=request.actor, code=code)
    coping = _coping_enclosed(detail)
    page = Page(
        Command.FIT,
        FitForm,
        "cases/fit.html",
        _("Fit reported. Thank you: this is what the next preparation learns from."),
        kwargs={"coping": coping},
        names={"findings": "findings"},
        context={"coping": coping},
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: fit_report(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            report=form.report(),
            at=at,
        ),
    )


@both
@acting_required
def remake(request: ActingRequest, code: str) -> HttpResponse:
    """Record a remake and go on in its linked new draft."""
    case = case_get(actor=request.actor, code=code)
    made: list[Remake] = []

    def act(form: Any, at: Any) -> None:
        made.append(
            remake_open(
                actor=request.actor,
                code=code,
                version=form.cleaned_data["version"],
                cause=form.cleaned_data["cause"],
                attribution=form.cleaned_data["attribution"],
                note=form.cleaned_data["note"],
                at=at,
            )
        )

    page = Page(Command.REMAKE, RemakeForm, "cases/remake.html", _("Remake recorded."))
    answer = command_page(request, case=case, page=page, act=act)
    if made and made[0].new_case is not None:
        messages.info(request, _("A new draft with the same prescription is open."))
        return redirect("case_edit_draft", code=made[0].new_case.code)
    return answer

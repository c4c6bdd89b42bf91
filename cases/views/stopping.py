"""What the clinic can stop: cancel the case, ask for a signed change."""

from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases.errors import NotAllowed
from cases.forms.case import CancelForm, ChangeRequestForm
from cases.forms.signing import digest_of
from cases.lifecycle import Command
from cases.policies import require
from cases.selectors.cases import case_get
from cases.services.bench import case_cancel
from cases.services.flags import change_request as change_ask
from cases.services.flags import change_request_content
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page

__all__ = ["cancel", "change_request"]

both = require_http_methods(["GET", "HEAD", "POST"])


@both
@acting_required
def cancel(request: ActingRequest, code: str) -> HttpResponse:
    """Cancel a case before dispatch; the prescriber's alone."""
    case = case_get(actor=request.actor, code=code)
    require(request.actor, Command.CANCEL)
    if request.actor.user_id != case.prescriber_id:
        raise NotAllowed("Only the prescriber cancels a case.")
    page = Page(Command.CANCEL, CancelForm, "cases/cancel.html", _("Case cancelled."))
    return command_page(
        request,
        case=case,
        page=page,
        act=lambda form, at: case_cancel(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            reason=form.cleaned_data["reason"],
            at=at,
        ),
    )


@both
@acting_required
def change_request(request: ActingRequest, code: str) -> HttpResponse:
    """Ask for a change: first written, then looked at, then signed."""
    case = case_get(actor=request.actor, code=code)
    text = request.POST.get("text", "").replace("\r\n", "\n")
    page = Page(
        Command.CHANGE_REQUEST,
        ChangeRequestForm,
        "cases/change_request.html",
        _("Change asked for. The case is on hold until you answer with the change."),
        fresh={
            "content_sha256": digest_of(change_request_content(case=case, text=text))
        },
        context={"written": bool(text.strip())},
    )
    return command_page(
        request,
        case=case,
        page=page,
        act=lambda form, at: change_ask(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            text=form.cleaned_data["text"],
            signature=form.signature(),
            at=at,
        ),
    )

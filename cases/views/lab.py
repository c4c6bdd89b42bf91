"""The laboratory's plain commands: receive, incomplete, bench, withdraw."""

from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases import clock
from cases.forms.commands import CommandForm
from cases.forms.lab import (
    DispatchForm,
    IncompleteForm,
    ReceiveForm,
    TryInForm,
    WithdrawForm,
)
from cases.lifecycle import Command
from cases.selectors.cases import case_get
from cases.selectors.check_catalog import digest_now
from cases.selectors.records import flag_get
from cases.services.bench import case_dispatch, case_try_in
from cases.services.checks import rule_set_for
from cases.services.flags import flag_withdraw
from cases.services.readings import case_recheck
from cases.services.submission import case_incomplete, case_receive
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page

__all__ = [
    "dispatch",
    "incomplete",
    "receive",
    "recheck",
    "try_in",
    "withdraw",
]

both = require_http_methods(["GET", "HEAD", "POST"])


@both
@acting_required
def receive(request: ActingRequest, code: str) -> HttpResponse:
    """Log what arrived at the laboratory."""
    page = Page(
        Command.RECEIVE,
        ReceiveForm,
        "cases/receive.html",
        _("Receipt logged. The laboratory's clock runs; check the case next."),
    )
    return command_page(
        request,
        case=case_get(actor=request.actor, code=code),
        page=page,
        act=lambda form, at: case_receive(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            contents=form.cleaned_data["contents"],
            pan_number=form.cleaned_data["pan_number"],
            promised_on=form.cleaned_data["promised_on"],
            at=at,
        ),
    )


@both
@acting_required
def incomplete(request: ActingRequest, code: str) -> HttpResponse:
    """Send the case back and say what is missing."""
    page = Page(
        Command.INCOMPLETE,
        IncompleteForm,
        "cases/incomplete.html",
        _("Sent back. The clinic reads what is missing."),
    )
    return command_page(
        request,
        case=case_get(actor=request.actor, code=code),
        page=page,
        act=lambda form, at: case_incomplete(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            missing=form.cleaned_data["missing"],
            at=at,
        ),
    )


@both
@acting_required
def recheck(request: ActingRequest, code: str) -> HttpResponse:
    """Check again under the laboratory's rule set in force."""
    case = case_get(actor=request.actor, code=code)
    digest = digest_now(case.laboratory, at=clock.now())
    page = Page(
        Command.RECHECK,
        CommandForm,
        "cases/recheck.html",
        _("Checked again under the rule set in force."),
        context={
            "before": rule_set_for(case.rule_set_digest),
            "after": rule_set_for(digest),
        },
    )
    return command_page(
        request,
        case=case,
        page=page,
        act=lambda form, at: case_recheck(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            digest=digest,
            at=at,
        ),
    )


@both
@acting_required
def try_in(request: ActingRequest, code: str) -> HttpResponse:
    """Send the work to the clinic for a try-in."""
    page = Page(
        Command.TRY_IN, TryInForm, "cases/try_in.html", _("Sent for the try-in.")
    )
    return command_page(
        request,
        case=case_get(actor=request.actor, code=code),
        page=page,
        act=lambda form, at: case_try_in(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            note=form.cleaned_data["note"],
            at=at,
        ),
    )


@both
@acting_required
def dispatch(request: ActingRequest, code: str) -> HttpResponse:
    """Send the finished work to the clinic."""
    page = Page(
        Command.DISPATCH,
        DispatchForm,
        "cases/dispatch.html",
        _("Dispatched. The clinic reports the fit."),
    )
    return command_page(
        request,
        case=case_get(actor=request.actor, code=code),
        page=page,
        act=lambda form, at: case_dispatch(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            note=form.cleaned_data["note"],
            at=at,
        ),
    )


@both
@acting_required
def withdraw(request: ActingRequest, code: str) -> HttpResponse:
    """Take a query back; ``code`` is the query's."""
    flag = flag_get(actor=request.actor, code=code)
    page = Page(
        Command.WITHDRAW,
        WithdrawForm,
        "cases/withdraw.html",
        _("Query withdrawn."),
        context={"flag": flag},
    )
    return command_page(
        request,
        case=flag.case,
        page=page,
        act=lambda form, at: flag_withdraw(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            reason=form.cleaned_data["reason"],
            at=at,
        ),
    )

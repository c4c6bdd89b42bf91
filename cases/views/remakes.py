"""One remake: what it goes back to, who it goes back to, what it costs one's side."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.commands import show_faults
from cases.forms.remakes import LossForm, StatementForm, TraceForm, WithdrawForm
from cases.forms.vocabulary import tooth_words
from cases.selectors.remakes import loss_currency, remake_get
from cases.services import remakes as services
from cases.views.access import ActingRequest, acting_required
from cases.views.remake_rows import cause_word, side_rows, site_choices, trace_rows

if TYPE_CHECKING:
    from cases.selectors.remakes import RemakeDetail

__all__ = ["loss", "remake_page", "state", "trace_add", "trace_withdraw"]


def _loss_typed(detail: "RemakeDetail") -> dict[str, Any]:
    found = detail.loss
    if found is None:
        return {}
    return {
        "amount": found.amount,
        "minutes": found.minutes,
        "days_lost": found.days_lost,
    }


def _page(
    request: ActingRequest,
    detail: "RemakeDetail",
    *,
    status: int = 200,
    withdrawn_trace: int | None = None,
    **typed: forms.Form,
) -> HttpResponse:
    """Show the remake; ``typed`` is a form that was refused, by its name."""
    actor = request.actor
    remake = detail.remake
    currency = loss_currency(actor=actor)
    refused = next(iter(typed.values()), None)
    context = {
        "case": detail.case,
        "detail": detail,
        "remake": remake,
        "cause": cause_word(remake.cause, detail.labels),
        "teeth": [tooth_words(tooth, actor.tooth_system) for tooth in remake.teeth],
        "sides": side_rows(detail, actor),
        "traces": trace_rows(detail, actor),
        "may": policies.can_manage(actor, "remakes"),
        "statement_form": StatementForm(auto_id="state_%s"),
        "loss_form": LossForm(
            auto_id="loss_%s", currency=currency, initial=_loss_typed(detail)
        ),
        "trace_form": TraceForm(auto_id="trace_%s", sites=site_choices(detail, actor)),
        "withdraw_form": WithdrawForm(auto_id="withdraw_%s"),
        "withdrawn_trace": withdrawn_trace,
        "form": refused,
        **typed,
    }
    return render(request, "cases/remake_page.html", context, status=status)


def _done(
    request: ActingRequest,
    code: str,
    pk: int,
    *,
    form: forms.Form,
    name: str,
    act: Callable[[dict[str, Any]], object],
    told: str,
    **more: Any,
) -> HttpResponse:
    """Carry out what a form asks and lead back; refused, show it with its faults."""
    if form.is_valid():
        try:
            act(form.cleaned_data)
        except Invalid as error:
            show_faults(form, error)
        else:
            messages.success(request, told)
            return redirect("remake", code=code, pk=pk)
    detail = remake_get(actor=request.actor, code=code, remake=pk)
    shown: dict[str, Any] = {name: form, **more}
    return _page(request, detail, status=422, **shown)


@require_safe
@acting_required
def remake_page(request: ActingRequest, code: str, pk: int) -> HttpResponse:
    """Show one remake to whoever may see its case."""
    return _page(request, remake_get(actor=request.actor, code=code, remake=pk))


def _opened(request: ActingRequest, code: str, pk: int) -> "RemakeDetail":
    """Return the remake, for those who may add to it."""
    detail = remake_get(actor=request.actor, code=code, remake=pk)
    policies.require_right(request.actor, "remakes")
    return detail


@require_POST
@acting_required
def state(request: ActingRequest, code: str, pk: int) -> HttpResponse:
    """State to whom the remake goes back, as one's side sees it."""
    _opened(request, code, pk)
    return _done(
        request,
        code,
        pk,
        form=StatementForm(request.POST, auto_id="state_%s"),
        name="statement_form",
        act=lambda data: services.remake_state(
            actor=request.actor,
            code=code,
            remake=pk,
            attribution=data["attribution"],
            note=data["note"],
            at=clock.now(),
        ),
        told=_("Stated. The other side is told."),
    )


@require_POST
@acting_required
def loss(request: ActingRequest, code: str, pk: int) -> HttpResponse:
    """Say what the remake costs one's own side."""
    _opened(request, code, pk)
    currency = loss_currency(actor=request.actor)
    form = LossForm(request.POST, auto_id="loss_%s", currency=currency)
    return _done(
        request,
        code,
        pk,
        form=form,
        name="loss_form",
        act=lambda data: services.remake_loss_set(
            actor=request.actor,
            code=code,
            remake=pk,
            loss=form.loss(),
            at=clock.now(),
        ),
        told=_("Stored. The other side sees nothing of it."),
    )


@require_POST
@acting_required
def trace_add(request: ActingRequest, code: str, pk: int) -> HttpResponse:
    """Draw a line to one more site of the case."""
    detail = _opened(request, code, pk)
    sites = site_choices(detail, request.actor)
    return _done(
        request,
        code,
        pk,
        form=TraceForm(request.POST, auto_id="trace_%s", sites=sites),
        name="trace_form",
        act=lambda data: services.remake_trace_add(
            actor=request.actor,
            code=code,
            remake=pk,
            site_verdict=int(data["site_verdict"]),
            at=clock.now(),
        ),
        told=_("Added: the remake goes back to this site too."),
    )


@require_POST
@acting_required
def trace_withdraw(
    request: ActingRequest, code: str, pk: int, trace: int
) -> HttpResponse:
    """Take a line back, with the reason."""
    _opened(request, code, pk)
    return _done(
        request,
        code,
        pk,
        form=WithdrawForm(request.POST, auto_id=f"withdraw_%s_{trace}"),
        name="withdraw_form",
        act=lambda data: services.remake_trace_withdraw(
            actor=request.actor,
            code=code,
            remake=pk,
            trace=trace,
            reason=data["reason"],
            at=clock.now(),
        ),
        withdrawn_trace=trace,
        told=_("Withdrawn. It stays to be read, with your reason."),
    )

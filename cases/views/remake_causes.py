"""The causes a laboratory adds to the common list of causes of remakes."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.commands import show_faults
from cases.forms.remakes import CauseForm
from cases.forms.words import CAUSES
from cases.selectors.remakes import cause_list
from cases.services.remake_causes import cause_add, cause_retire
from cases.views.access import ActingRequest, acting_required

__all__ = ["causes", "retire"]


def _added(request: ActingRequest, form: CauseForm) -> bool:
    """Add what was typed; put what was refused beside its field."""
    if not form.is_valid():
        return False
    try:
        cause_add(actor=request.actor, label=form.cleaned_data["label"], at=clock.now())
    except Invalid as error:
        show_faults(form, error)
        return False
    return True


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def causes(request: ActingRequest) -> HttpResponse:
    """List the laboratory's causes beside the common ones; add one."""
    policies.require_right(request.actor, "remake_causes")
    posted = request.method == "POST"
    form = CauseForm(request.POST if posted else None)
    if posted and _added(request, form):
        messages.success(request, _("Added. Your clinics can choose it from now on."))
        return redirect("remake_causes")
    rows = cause_list(actor=request.actor)
    context = {
        "form": form,
        "own": [row for row in rows if row.retired_at is None],
        "retired": [row for row in rows if row.retired_at is not None],
        "common": CAUSES.values(),
    }
    return render(
        request, "cases/remake_causes.html", context, status=422 if posted else 200
    )


@require_POST
@acting_required
def retire(request: ActingRequest, code: str) -> HttpResponse:
    """Take a cause off the list; remakes that name it go on naming it."""
    row = cause_retire(actor=request.actor, code=code, at=clock.now())
    messages.success(request, _("“%(label)s” is off the list.") % {"label": row.label})
    return redirect("remake_causes")

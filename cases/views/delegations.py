"""Who signs for whom in a clinic, and when."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from cases import clock, policies
from cases.errors import Invalid, NotAllowed
from cases.forms.faults import add_faults
from cases.forms.people import DelegationForm
from cases.selectors import people as selectors
from cases.services import delegations as services
from cases.views.access import ActingRequest, acting_required

__all__ = ["delegations", "end"]


def _page(
    request: ActingRequest,
    form: DelegationForm,
    *,
    delegates: list[tuple[int, str]],
    status: int = 200,
) -> HttpResponse:
    context = {
        "form": form,
        "delegates": delegates,
        "may_delegate": policies.can_manage(request.actor, "delegate"),
        "delegations": list(selectors.delegations(actor=request.actor)),
    }
    return render(request, "people/delegations.html", context, status=status)


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def delegations(request: ActingRequest) -> HttpResponse:
    """Show the clinic's delegations; a clinician adds one."""
    actor = request.actor
    if not actor.is_clinic:
        raise NotAllowed("Only clinicians of a clinic delegate signing.")
    delegates = [
        (row.pk, row.user.name) for row in selectors.delegates_for(actor=actor)
    ]
    if request.method != "POST":
        empty = DelegationForm(delegates=delegates)
        return _page(request, empty, delegates=delegates)
    policies.require_right(actor, "delegate")
    form = DelegationForm(request.POST, delegates=delegates)
    if not form.is_valid():
        return _page(request, form, delegates=delegates, status=422)
    given = form.cleaned_data
    try:
        services.delegation_create(
            actor=actor,
            delegate_membership_id=given["delegate"],
            starts_on=given["starts_on"],
            ends_on=given["ends_on"],
            note=given["note"],
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, delegates=delegates, status=422)
    messages.success(request, _("Delegated. Your colleague is told."))
    return redirect("delegations")


@acting_required
@require_POST
def end(request: ActingRequest, pk: int) -> HttpResponse:
    """Take a delegation back."""
    services.delegation_end(actor=request.actor, delegation_id=pk, at=clock.now())
    messages.success(request, _("Taken back. What was signed stays signed."))
    return redirect("delegations")

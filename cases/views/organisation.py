"""One's organisation's settings, and acting for another."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases import clock, policies
from cases.errors import Invalid, NotFound
from cases.forms.faults import add_faults
from cases.forms.people import OrganisationForm
from cases.selectors import people as selectors
from cases.services import people as services
from cases.views.access import ActingRequest, acting_required

__all__ = ["organisation", "switch_membership"]

_FIELDS = ("name", "address", "time_zone", "tooth_system", "language")
# The session's key for the membership a person chose (portal.middleware reads it).
_MEMBERSHIP_KEY = "membership"


def _page(
    request: ActingRequest, form: OrganisationForm, *, status: int = 200
) -> HttpResponse:
    context = {
        "form": form,
        "organisation": selectors.organisation(actor=request.actor),
        "manages": policies.can_manage(request.actor, "people"),
        "now": clock.now(),
    }
    return render(request, "people/organisation.html", context, status=status)


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def organisation(request: ActingRequest) -> HttpResponse:
    """Show the organisation's settings; a manager changes them."""
    if request.method != "POST":
        found = selectors.organisation(actor=request.actor)
        initial = {field: getattr(found, field) for field in _FIELDS}
        return _page(request, OrganisationForm(initial=initial))
    policies.require_right(request.actor, "people")
    form = OrganisationForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        services.organisation_update(actor=request.actor, **form.cleaned_data)
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, status=422)
    messages.success(request, _("Stored."))
    return redirect("organisation")


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def switch_membership(request: ActingRequest) -> HttpResponse:
    """Show whom one can act as, and act as another from now on."""
    if request.method != "POST":
        return render(request, "people/acting.html")
    wanted = request.POST.get("membership", "")
    for actor in request.memberships:
        if str(actor.membership_id) == wanted:
            return _act_as(request, actor.membership_id)
    raise NotFound


def _act_as(request: HttpRequest, membership_id: int) -> HttpResponse:
    request.session[_MEMBERSHIP_KEY] = membership_id
    # The page one came from may be another organisation's: start anew.
    return redirect("home")

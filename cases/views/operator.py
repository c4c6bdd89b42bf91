"""What the operator of the installation sees: organisations, no cases."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from cases import clock
from cases.errors import Invalid
from cases.forms.faults import add_faults
from cases.forms.people import ManagerForm, OrganisationMakeForm
from cases.services import operators as services
from cases.views.access import operator_required

__all__ = ["invite", "operator"]


def _page(
    request: HttpRequest,
    form: OrganisationMakeForm,
    *,
    status: int = 200,
    **more: Any,
) -> HttpResponse:
    context = {
        "form": form,
        "organisations": services.organisation_list(operator_id=request.user.pk or 0),
        "now": clock.now(),
        **more,
    }
    return render(request, "people/operator.html", context, status=status)


@operator_required
@require_http_methods(["GET", "HEAD", "POST"])
def operator(request: HttpRequest) -> HttpResponse:
    """Show every organisation; create one and invite its first manager."""
    if request.method != "POST":
        return _page(request, OrganisationMakeForm())
    form = OrganisationMakeForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        made, invitation = services.organisation_create(
            operator_id=request.user.pk or 0,
            kind=form.cleaned_data["kind"],
            name=form.cleaned_data["name"],
            manager_email=form.cleaned_data["email"],
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, status=422)
    messages.success(
        request,
        _("Created: %(name)s. Invited as first manager: %(email)s.")
        % {"name": made.name, "email": invitation.email},
    )
    return redirect("operator")


@operator_required
@require_POST
def invite(request: HttpRequest, code: str) -> HttpResponse:
    """Send the first manager's invitation again."""
    form = ManagerForm(request.POST)
    if not form.is_valid():
        problems = [
            {"href": "", "text": text}
            for texts in form.errors.values()
            for text in texts
        ]
        return _page(request, OrganisationMakeForm(), status=422, problems=problems)
    invitation = services.manager_invite(
        operator_id=request.user.pk or 0,
        code=code,
        email=form.cleaned_data["email"],
        at=clock.now(),
    )
    messages.success(
        request,
        _("Invited as first manager: %(email)s.") % {"email": invitation.email},
    )
    return redirect("operator")

"""The page behind an invitation's link.

Reading it changes nothing (mail scanners fetch links); joining is a POST.
"""

from django.contrib import messages
from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from cases import clock
from cases.enums import Role
from cases.errors import Conflict, Invalid
from cases.forms.faults import add_faults
from cases.forms.people import AcceptForm, JoinForm
from cases.selectors import people as selectors
from cases.selectors.people import Invited
from cases.services import invitations as services

__all__ = ["invitation"]


@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """Show what one is invited to; join."""
    invited = selectors.invitation_by_secret(secret=secret, at=clock.now())
    if invited is None:
        return render(request, "people/invitation_gone.html", status=404)
    licensed = invited.role == Role.CLINICIAN
    if not isinstance(request.user, AnonymousUser):
        return _join(request, secret, invited, licensed=licensed)
    if selectors.account_exists(email=invited.email):
        if request.method == "POST":
            return redirect_to_login(request.path)
        return _page(request, invited, None)
    return _accept(request, secret, invited, licensed=licensed)


def _page(
    request: HttpRequest,
    invited: Invited,
    form: AcceptForm | JoinForm | None,
    *,
    status: int = 200,
) -> HttpResponse:
    context = {
        "invited": invited,
        "form": form,
        "sign_in": f"{reverse('account_login')}?next={request.path}",
    }
    return render(request, "people/invitation.html", context, status=status)


def _accept(
    request: HttpRequest, secret: str, invited: Invited, *, licensed: bool
) -> HttpResponse:
    """Make an account for somebody who has none."""
    if request.method != "POST":
        return _page(request, invited, AcceptForm(licensed=licensed))
    form = AcceptForm(request.POST, licensed=licensed)
    if not form.is_valid():
        return _page(request, invited, form, status=422)
    try:
        services.invitation_accept_new(
            secret=secret,
            name=form.cleaned_data["name"],
            password=form.cleaned_data["password"],
            licence_number=form.cleaned_data.get("licence_number", ""),
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, invited, form, status=422)
    messages.success(request, _("Your account is made. Sign in with it now."))
    return redirect("account_login")


def _join(
    request: HttpRequest, secret: str, invited: Invited, *, licensed: bool
) -> HttpResponse:
    """Add a membership to the person who is signed in."""
    email = getattr(request.user, "email", "")
    asks = licensed and not getattr(request.user, "licence_number", "")
    if email != invited.email.lower():
        return render(
            request, "people/invitation_other.html", {"invited": invited}, status=409
        )
    if request.method != "POST":
        return _page(request, invited, JoinForm(licensed=asks))
    form = JoinForm(request.POST, licensed=asks)
    if not form.is_valid():
        return _page(request, invited, form, status=422)
    try:
        membership_id = services.invitation_accept(
            secret=secret,
            user_id=request.user.pk or 0,
            licence_number=form.cleaned_data.get("licence_number", ""),
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, invited, form, status=422)
    except Conflict as error:
        form.add_error(None, error.text())
        return _page(request, invited, form, status=409)
    request.session["membership"] = membership_id
    messages.success(request, _("Welcome. You act for this organisation now."))
    return redirect("home")

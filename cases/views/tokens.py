"""One's own API tokens."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_http_methods, require_POST

from cases import clock
from cases.errors import Invalid
from cases.forms.faults import add_faults
from cases.forms.people import TokenForm
from cases.selectors import people as selectors
from cases.services import tokens as services
from cases.views.access import ActingRequest, acting_required

__all__ = ["revoke", "tokens"]


def _page(
    request: ActingRequest, form: TokenForm, *, status: int = 200, secret: str = ""
) -> HttpResponse:
    context = {
        "form": form,
        "secret": secret,
        "tokens": list(selectors.tokens(actor=request.actor)),
        "now": clock.now(),
    }
    return render(request, "people/tokens.html", context, status=status)


@acting_required
@sensitive_variables("secret")
@require_http_methods(["GET", "HEAD", "POST"])
def tokens(request: ActingRequest) -> HttpResponse:
    """Show one's tokens; make one and show its secret, this once.

    No redirect after making one: the secret would have to be kept for the next
    page. Sent twice, the name is taken and no second token is made.
    """
    if request.method != "POST":
        return _page(request, TokenForm())
    form = TokenForm(request.POST)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        _token, secret = services.api_token_create(
            actor=request.actor,
            name=form.cleaned_data["name"],
            days=form.cleaned_data["days"],
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, status=422)
    return _page(request, TokenForm(), status=201, secret=secret)


@acting_required
@require_POST
def revoke(request: ActingRequest, pk: int) -> HttpResponse:
    """Make a token useless."""
    services.api_token_revoke(actor=request.actor, token_id=pk, at=clock.now())
    messages.success(request, _("Revoked. The token no longer works."))
    return redirect("tokens")

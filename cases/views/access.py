"""Who may open a page at all; roles and tenancy are checked by the services."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render, resolve_url
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails

from cases.errors import NotAllowed
from cases.tenancy import Actor

__all__ = [
    "ActingRequest",
    "acting_required",
    "operator_required",
    "signed_in_required",
]

P = ParamSpec("P")
Answer = HttpResponse


class ActingRequest(HttpRequest):
    """A request behind ``acting_required``, as the middleware completed it."""

    actor: Actor
    memberships: tuple[Actor, ...]
    htmx: HtmxDetails


def _sign_in(request: HttpRequest) -> HttpResponse:
    if request.headers.get("HX-Request") == "true":
        return HttpResponseClientRedirect(resolve_url("account_login"))
    # Only a page one can return to is remembered.
    target = request.get_full_path() if request.method in {"GET", "HEAD"} else "/"
    return redirect_to_login(target)


def signed_in_required(
    view: Callable[Concatenate[HttpRequest, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """Let signed-in people through; anonymous ones sign in first."""

    @wraps(view)
    def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> Answer:
        if isinstance(request.user, AnonymousUser):
            return _sign_in(request)
        return view(request, *args, **kwargs)

    return guarded


def acting_required(
    view: Callable[Concatenate[ActingRequest, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """Let people with a membership through.

    Anonymous: to the sign-in page; without any membership: a page that says so.
    """

    @wraps(view)
    def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> Answer:
        if isinstance(request.user, AnonymousUser):
            return _sign_in(request)
        if getattr(request, "actor", None) is None:
            return render(request, "people/no_membership.html", status=403)
        return view(cast(ActingRequest, request), *args, **kwargs)

    return guarded


def operator_required(
    view: Callable[Concatenate[HttpRequest, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """Let the installation's operators through."""

    @wraps(view)
    def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> Answer:
        user: Any = request.user
        if isinstance(user, AnonymousUser):
            return _sign_in(request)
        if not user.is_operator:
            raise NotAllowed("Only the operator of this installation may do this.")
        return view(request, *args, **kwargs)

    return guarded

"""Who calls the API: the actor that the middleware resolved, or nobody.

A token needs no CSRF proof, because no browser sends it by itself; a session does.
"""

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _
from rest_framework.authentication import BaseAuthentication, CSRFCheck
from rest_framework.exceptions import (
    AuthenticationFailed,
    NotAuthenticated,
    PermissionDenied,
)
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from cases.tenancy import Actor

# rest_framework.views reads its settings while it is imported, and they name this
# module.
if TYPE_CHECKING:
    from rest_framework.views import APIView

__all__ = ["ActingAuthentication", "IsActing", "actor_of"]


def actor_of(request: Request) -> Actor:
    """Return who acts, or raise NotAuthenticated (401)."""
    actor = getattr(request._request, "actor", None)
    if not isinstance(actor, Actor):
        raise NotAuthenticated
    return actor


def _no_answer(request: HttpRequest) -> HttpResponse:
    """Stand where Django's check wants a view; it is never called."""
    return HttpResponse(status=204)


class ActingAuthentication(BaseAuthentication):
    """Trust ``request.actor``; answer 401 to a token that does not count."""

    def authenticate(self, request: Request) -> tuple[object, object] | None:
        """Return the person and the actor, or None for nobody."""
        http: HttpRequest = request._request
        if getattr(http, "auth_error", ""):
            raise AuthenticationFailed(
                _("This token is unknown, expired or revoked. Make a new one.")
            )
        if not http.user.is_authenticated:
            return None
        if not getattr(http, "by_token", False):
            self._require_csrf(http)
        return http.user, getattr(http, "actor", None)

    def authenticate_header(self, request: Request) -> str:
        """Return what a 401 asks for."""
        return 'Bearer realm="chairbench"'

    def _require_csrf(self, http: HttpRequest) -> None:
        check = CSRFCheck(_no_answer)
        check.process_request(http)
        if reason := check.process_view(http, _no_answer, (), {}):
            raise PermissionDenied(f"CSRF: {reason}")


class IsActing(BasePermission):
    """Somebody acts through a membership; 401 for nobody, 403 without one."""

    message = _("You are not a member of any organisation.")

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Return whether the middleware found an actor."""
        return getattr(request._request, "actor", None) is not None

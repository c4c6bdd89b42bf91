"""What every request passes: privacy of answers, who acts, refusals as answers.

``ActingMembership`` opens the transaction whose tenant is the acting membership;
ATOMIC_REQUESTS then gives the view a savepoint inside it. The response must be
complete when it comes back out (no streaming from the database).
"""

import logging
from collections.abc import Callable
from typing import cast

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone, translation
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect

from cases import clock
from cases.canonical import secret_hash
from cases.selectors import identity
from cases.tenancy import Actor, acting
from portal.refusals import is_api, refuse, translate

__all__ = [
    "ActingMembership",
    "DomainErrors",
    "PrivateAnswers",
    "RequireSecondFactor",
    "WholeRequests",
]

logger = logging.getLogger(__name__)
Next = Callable[[HttpRequest], HttpResponse]

MEMBERSHIP_KEY = "membership"
_PERMISSIONS = (
    "accelerometer=(), browsing-topics=(), camera=(), geolocation=(), gyroscope=(),"
    " magnetometer=(), microphone=(), payment=(), usb=()"
)
# Answered without looking at who asks: a monitor must learn that the process
# lives while the database is away.
_NOBODY = ("/health/", settings.STATIC_URL)
# Reachable without a second factor: the way to one, and the way out. An
# invitation only joins, it shows nothing of anybody's.
_BEFORE_SECOND_FACTOR = (*_NOBODY, "/account/", "/invitation/")


class _Acting(HttpRequest):
    """A request as ActingMembership completes it."""

    actor: Actor | None
    memberships: tuple[Actor, ...]
    by_token: bool
    auth_error: str


class PrivateAnswers:
    """Keep every dynamic answer out of shared and browser caches."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Add the headers to the answer on its way out."""
        response = self.get_response(request)
        response.headers["Permissions-Policy"] = _PERMISSIONS
        is_file = request.path.startswith(settings.STATIC_URL)
        if not (is_file and "Cache-Control" in response.headers):
            response.headers["Cache-Control"] = "private, no-store"
            patch_vary_headers(response, ("Cookie", "HX-Request"))
        return response


class WholeRequests:
    """Refuse addresses no database can compare: those with a NUL character."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer 400, or pass the request on."""
        query = request.META.get("QUERY_STRING", "")
        if "\x00" in request.path or "\x00" in query or "%00" in query:
            return refuse(request, 400, code="unreadable-address")
        return self.get_response(request)


class ActingMembership:
    """Resolve who acts, and run the rest as that organisation.

    Sets ``request.actor`` (None: nobody, or a person without membership),
    ``request.memberships`` (every Actor the person can be), ``request.by_token``
    and ``request.auth_error`` (why a token did not count; the API answers 401).
    Memberships are read at every request, so one that ended is out at once.
    """

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request inside the tenant's transaction."""
        request = cast(_Acting, request)
        request.actor, request.memberships = None, ()
        request.by_token, request.auth_error = False, ""
        if request.path.startswith(_NOBODY):
            return self.get_response(request)
        try:
            self._resolve(request)
        except DatabaseError as error:
            return self._unavailable(request, error)
        actor = request.actor
        if actor is None:
            return self.get_response(request)
        try:
            with (
                acting(actor),
                timezone.override(actor.time_zone),
                translation.override(actor.language),
            ):
                response = self.get_response(request)
                response.headers.setdefault("Content-Language", actor.language)
                return response
        except DatabaseError as error:
            return self._unavailable(request, error)

    def _unavailable(self, request: HttpRequest, error: DatabaseError) -> HttpResponse:
        """Answer what failed outside the view: looking up who acts, or commit."""
        response = translate(request, error)
        if response is None:
            raise error
        logger.warning("database refused a request: %s", type(error).__name__)
        return response

    def _resolve(self, request: _Acting) -> None:
        credentials = request.headers.get("Authorization", "")
        if is_api(request) and credentials:
            self._by_token(request, credentials)
        elif request.user.is_authenticated:
            self._by_session(request)

    def _by_token(self, request: _Acting, credentials: str) -> None:
        # A session cookie beside a token counts for nothing.
        request.user = AnonymousUser()
        request.by_token = True
        scheme, _, token = credentials.partition(" ")
        person = None
        if scheme.lower() == "bearer":
            person = identity.by_token(
                token_hash=secret_hash(token.strip()), at=clock.now()
            )
        if person is None:
            request.auth_error = "token"
            return
        request.user = person.user
        request.actor = person.actor
        request.memberships = (person.actor,)

    def _by_session(self, request: _Acting) -> None:
        memberships = identity.actors_of(request.user)
        chosen = request.session.get(MEMBERSHIP_KEY)
        mine = [actor for actor in memberships if actor.membership_id == chosen]
        request.memberships = memberships
        request.actor = next(iter(mine or memberships), None)


class RequireSecondFactor:
    """Send a signed-in person without a second factor to the set-up page."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass on, redirect a page, or refuse an API call by session."""
        if not self._lacks_it(request):
            return self.get_response(request)
        if is_api(request):
            return refuse(
                request,
                403,
                code="second-factor-required",
                detail=translation.gettext(
                    "Set up a second factor on the portal's pages first."
                ),
            )
        if request.headers.get("HX-Request") == "true":
            return HttpResponseClientRedirect(resolve_url(settings.SECOND_FACTOR_URL))
        return redirect(settings.SECOND_FACTOR_URL)

    def _lacks_it(self, request: HttpRequest) -> bool:
        if not settings.REQUIRE_SECOND_FACTOR:
            return False
        if request.path.startswith(_BEFORE_SECOND_FACTOR):
            return False
        if getattr(request, "by_token", False) or not request.user.is_authenticated:
            return False
        return not Authenticator.objects.filter(
            user_id=request.user.pk, type=Authenticator.Type.TOTP
        ).exists()


class DomainErrors:
    """Answer what services refuse; faults of ours stay faults (500)."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; refusals come back through process_exception."""
        return self.get_response(request)

    def process_exception(
        self, request: HttpRequest, exception: Exception
    ) -> HttpResponse | None:
        """Translate an expected refusal (the view's savepoint is rolled back)."""
        return translate(request, exception)

"""The start page, health for monitors, and errors outside any view."""

from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent
from django.db import DatabaseError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.views.access import signed_in_required
from portal.refusals import is_api, refuse

__all__ = [
    "LANDING",
    "bad_request",
    "csrf_failure",
    "forbidden",
    "home",
    "live",
    "not_found",
    "ready",
    "server_error",
    "style_guide",
]

# Where a person begins, by the side they act for; the first name that exists.
LANDING = {"clinic": ("work", "people"), "laboratory": ("bench", "people")}


@require_safe
@signed_in_required
def home(request: HttpRequest) -> HttpResponse:
    """Send a person to where their work waits."""
    actor = getattr(request, "actor", None)
    if actor is None:
        operates = getattr(request.user, "is_operator", False)
        if operates:
            return redirect("operator")
        return render(request, "people/no_membership.html", status=403)
    for name in LANDING[actor.side]:
        try:
            return redirect(reverse(name))
        except NoReverseMatch:
            continue
    raise AssertionError("the page about people always exists")


@transaction.non_atomic_requests
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """Say that the process answers; touches nothing else."""
    return HttpResponse("ok\n", content_type="text/plain")


_migrated: list[bool] = []


@transaction.non_atomic_requests
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Say whether the database answers and has this release's tables.

    The broker is not asked: pages work without it, and notices wait.
    """
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        if not _migrated:
            executor = MigrationExecutor(connection)
            if executor.migration_plan(executor.loader.graph.leaf_nodes()):
                return _not_ready("migrations")
            _migrated.append(True)
    except DatabaseError:
        return _not_ready("database")
    return HttpResponse("ok\n", content_type="text/plain")


def _not_ready(what: str) -> HttpResponse:
    return HttpResponse(f"{what}\n", status=503, content_type="text/plain")


@require_safe
def style_guide(request: HttpRequest) -> HttpResponse:
    """Show every component of the sheet; development only."""
    return render(request, "style_guide.html")


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what could not be read, or was too large to read."""
    if isinstance(exception, RequestDataTooBig | TooManyFieldsSent):
        return refuse(request, 413, code="too-large")
    return refuse(request, 400, code="bad-request")


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what Django itself forbids."""
    return refuse(request, 403, code="not-allowed")


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an address without a page, like one whose row is not yours."""
    return refuse(
        request, 404, code="not-found", detail=_("There is no such thing here.")
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault of ours, reading nothing more."""
    if is_api(request):
        return refuse(request, 500, code="internal")
    return render(
        None, "errors/500.html", status=500
    )  # no context processor may run now


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form whose proof of origin is missing or old."""
    if is_api(request):
        return refuse(request, 403, code="csrf", detail=_("The CSRF proof is missing."))
    return render(request, "403_csrf.html", status=403)

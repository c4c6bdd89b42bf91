"""Problem details (RFC 9457) for everything the API refuses."""

import json
import logging
import math
import sys
from typing import Any

from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.core.signals import got_request_exception
from django.db import DatabaseError, DataError, InterfaceError, OperationalError
from django.http import Http404, HttpResponse
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.views import set_rollback

from cases.errors import (
    Conflict,
    ContentChanged,
    DomainError,
    Invalid,
    NotFound,
    StaleVersion,
)
from rules.errors import InvalidPayload

__all__ = ["CONTENT_TYPE", "TITLES", "problem", "problem_response"]

logger = logging.getLogger(__name__)

CONTENT_TYPE = "application/problem+json"
TITLES = {
    400: "Bad request",
    401: "Not signed in",
    403: "Not allowed",
    404: "Not found",
    405: "Method not allowed",
    406: "Not acceptable",
    409: "Conflict",
    412: "Changed meanwhile",
    413: "Too large",
    415: "Unsupported media type",
    422: "Unusable values",
    428: "Precondition required",
    429: "Too many requests",
    500: "Internal error",
    503: "Not available",
}
_RETRY_AFTER_SECONDS = {429: "900", 503: "60"}
# The database's own gates (migration 0001): CB001 the release gate, CB002 and
# CB003 rows that keep their parties or are append-only.
_GATES = frozenset({"CB001", "CB002", "CB003"})


def problem(status: int, code: str, detail: str = "", **more: Any) -> dict[str, Any]:
    """Return the body of a problem; ``code`` is its type's name."""
    title = TITLES.get(status, "Refused")
    return {
        "type": f"urn:chairbench:problem:{code}",
        "title": title,
        "status": status,
        "detail": detail or title,
        **more,
    }


def _filled(message: str, params: dict[str, str]) -> str:
    return _(message).format(**params) if message else ""


def _domain(error: DomainError) -> dict[str, Any]:
    more: dict[str, Any] = {}
    if isinstance(error, Invalid):
        more["errors"] = [
            {"pointer": f.pointer, "detail": _filled(f.message, dict(f.params))}
            for f in error.fields
        ]
    elif isinstance(error, ContentChanged):
        more["content_sha256"] = error.content_sha256
    elif isinstance(error, Conflict) and error.reasons:
        more["reasons"] = list(error.reasons)
    elif isinstance(error, StaleVersion):
        more["version"] = error.current
    return problem(
        error.status, error.code, _filled(error.message, error.params), **more
    )


def _framework(error: exceptions.APIException) -> dict[str, Any]:
    code = str(error.default_code).replace("_", "-")
    return problem(error.status_code, code, str(error.detail))


def _database(error: DatabaseError) -> dict[str, Any] | None:
    if getattr(error.__cause__, "sqlstate", None) in _GATES:
        detail = _("The database does not allow this step now. Nothing was stored.")
        return problem(409, "conflict", detail)
    # Deadlock, serialisation failure, lock or statement timeout, lost connection.
    if isinstance(error, OperationalError | InterfaceError):
        return problem(503, "try-again", _("Nothing was stored. Try again shortly."))
    if isinstance(error, DataError):
        return problem(400, "unreadable-value")
    return None


def _body(error: Exception) -> dict[str, Any] | None:
    """Return the problem of an expected refusal, None for a fault of ours."""
    if isinstance(error, DomainError):
        return _domain(error)
    if isinstance(error, InvalidPayload):
        faults = [{"pointer": f.pointer, "detail": f.text(_)} for f in error.faults]
        return problem(
            422, Invalid.code, _("Some values cannot be used."), errors=faults
        )
    if isinstance(error, Http404):
        return _domain(NotFound())
    if isinstance(error, PermissionDenied):
        return problem(403, "not-allowed")
    if isinstance(error, exceptions.APIException):
        return _framework(error)
    if isinstance(error, DatabaseError):
        return _database(error)
    if isinstance(error, RequestDataTooBig | TooManyFieldsSent | TooManyFilesSent):
        return problem(413, "too-large")
    if isinstance(error, SuspiciousOperation):
        return problem(400, "bad-request")
    return None


def problem_response(error: Exception, context: dict[str, Any]) -> HttpResponse:
    """Answer whatever a view raised; what it stored is rolled back.

    A fault of ours is logged with its traceback and answered without details. The
    answer is JSON whatever the view would have rendered.
    """
    body = _body(error)
    if body is None:
        http = context["request"]._request
        logger.error("fault at %s", http.path, exc_info=sys.exc_info())
        got_request_exception.send(sender=None, request=http)
        body = problem(500, "internal")
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(math.ceil(wait))
    elif body["status"] in _RETRY_AFTER_SECONDS:
        # Tries at a credential are counted over a quarter of an hour.
        headers["Retry-After"] = _RETRY_AFTER_SECONDS[body["status"]]
    set_rollback()
    return HttpResponse(
        json.dumps(body, ensure_ascii=False),
        status=body["status"],
        headers={"Content-Type": CONTENT_TYPE, **headers},
    )

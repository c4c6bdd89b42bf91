"""Problem details (RFC 9457) for everything the API refuses."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from cases.errors import DomainError, Invalid

__all__ = ["CONTENT_TYPE", "problem", "problem_response"]

CONTENT_TYPE = "application/problem+json"


def problem(
    status: int,
    code: str,
    detail: str,
    errors: list[dict[str, str]] | None = None,
) -> dict[str, Any]:
    """Return the body of a problem; ``code`` is its type's name."""
    body: dict[str, Any] = {
        "type": f"urn:chairbench:problem:{code}",
        "title": code.replace("-", " ").capitalize(),
        "status": status,
        "detail": detail,
    }
    if errors:
        body["errors"] = errors
    return body


def _domain(error: DomainError) -> dict[str, Any]:
    faults = None
    if isinstance(error, Invalid):
        faults = [
            {
                "pointer": fault.pointer,
                "detail": _(fault.message).format(**dict(fault.params)),
            }
            for fault in error.fields
        ]
    detail = _(error.message).format(**error.params) if error.message else error.code
    return problem(error.status, error.code, detail, faults)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer what a view raised, or None for a fault of ours."""
    headers = {}
    if isinstance(error, DomainError):
        body = _domain(error)
    elif isinstance(error, Http404):
        body = problem(404, "not-found", _("There is no such thing here."))
    elif isinstance(error, PermissionDenied):
        body = problem(403, "not-allowed", _("This is not allowed."))
    elif isinstance(error, exceptions.APIException):
        code = str(error.default_code).replace("_", "-")
        body = problem(error.status_code, code, str(error.detail))
        if challenge := getattr(error, "auth_header", None):
            headers["WWW-Authenticate"] = challenge
        if wait := getattr(error, "wait", None):
            headers["Retry-After"] = str(int(wait))
    else:
        return None
    set_rollback()
    return Response(
        body, status=body["status"], headers=headers, content_type=CONTENT_TYPE
    )

"""Turn what was refused into an answer: a page, a part of one, or a problem.

Pages get ``errors/<status>.html``, htmx requests ``parts/_problem.html`` (put into
the page's message area, so that what was typed stays), the API RFC 9457 JSON.
"""

import json

from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent
from django.db import DatabaseError, DataError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _

from cases.api.errors import CONTENT_TYPE, problem
from cases.errors import DomainError, Invalid
from cases.forms.faults import fault_text

__all__ = ["is_api", "refuse", "translate", "words"]

RETRY_AFTER_SECONDS = "60"
# The database's own gates (migration 0001): CB001 the release gate, CB002 and
# CB003 rows that keep their parties or are append-only.
_GATES = frozenset({"CB001", "CB002", "CB003"})


def is_api(request: HttpRequest) -> bool:
    """Return whether a program asks, so that the answer must be JSON."""
    return request.path.startswith("/api/")


def _filled(message: str, params: dict[str, str]) -> str:
    return _(message).format(**params) if message else ""


def words(error: DomainError) -> str:
    """Return an expected refusal in the reader's language."""
    if isinstance(error, Invalid) and error.fields:
        return " ".join(fault_text(field) for field in error.fields)
    return _filled(error.message, error.params)


def _back(request: HttpRequest) -> dict[str, str]:
    """Return the way back to the case a step was refused on, if it was a case's."""
    match = request.resolver_match
    code = match.kwargs.get("code") if match else None
    if not code or not match or not match.route.startswith("cases/<str:code>/"):
        return {}
    return {"back_href": reverse("case", args=[code]), "back_label": _("Open the case")}


def refuse(
    request: HttpRequest,
    status: int,
    *,
    code: str,
    detail: str = "",
    errors: list[dict[str, str]] | None = None,
) -> HttpResponse:
    """Answer with a status in the form the caller can read."""
    if is_api(request):
        more = {"errors": errors} if errors else {}
        body = problem(status, code, detail, **more)
        response = HttpResponse(
            json.dumps(body), status=status, content_type=CONTENT_TYPE
        )
    elif request.headers.get("HX-Request") == "true":
        part = render_to_string("parts/_problem.html", {"detail": detail}, request)
        response = HttpResponse(part, status=status)
        response.headers["HX-Retarget"] = "#messages"
        response.headers["HX-Reswap"] = "innerHTML"
    else:
        name = "errors/400.html" if status == 422 else f"errors/{status}.html"
        # With the database away, nothing about the person can be looked up.
        told = None if status == 503 else request
        # There is no way back to a case that is not there for the reader.
        back = {} if status == 404 else _back(request)
        page = render_to_string(name, {"detail": detail, **back}, told)
        response = HttpResponse(page, status=status)
    if status in {429, 503}:
        response.headers["Retry-After"] = RETRY_AFTER_SECONDS
    return response


def translate(request: HttpRequest, error: BaseException) -> HttpResponse | None:
    """Return the answer to an expected refusal, or None for a fault of ours."""
    if isinstance(error, DomainError):
        errors = None
        if isinstance(error, Invalid):
            errors = [
                {"pointer": f.pointer, "detail": fault_text(f)} for f in error.fields
            ]
        return refuse(
            request, error.status, code=error.code, detail=words(error), errors=errors
        )
    if isinstance(error, DatabaseError):
        return _database(request, error)
    if isinstance(error, RequestDataTooBig | TooManyFieldsSent):
        return refuse(request, 413, code="too-large")
    # A lone surrogate in JSON has no UTF-8 form, so no database can store it.
    if isinstance(error, UnicodeEncodeError):
        return refuse(request, 400, code="unreadable-text")
    return None


def _database(request: HttpRequest, error: DatabaseError) -> HttpResponse | None:
    state = getattr(error.__cause__, "sqlstate", None)
    if state in _GATES:
        return refuse(
            request,
            409,
            code="conflict",
            detail=_("The database does not allow this step now. Nothing was stored."),
        )
    # Deadlock, serialisation failure, lock or statement timeout, lost connection.
    if isinstance(error, OperationalError | InterfaceError):
        return refuse(request, 503, code="try-again")
    # NUL characters and numbers out of range, where no form stood in between.
    if isinstance(error, DataError):
        return refuse(request, 400, code="unreadable-value")
    return None

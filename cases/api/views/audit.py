"""The audit: how often restorations are made again, and what goes with it.

The parameters are those of the audit's pages. Each answer says of when and of what it
is, and how carefully small numbers are hidden. ``text/csv`` in Accept, or ``format``,
asks for a table instead; ``table`` says which, where there are several.
"""

from datetime import datetime
from typing import Any, ClassVar, Final
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.utils.cache import patch_vary_headers
from rest_framework.request import Request

from cases import clock, policies
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Endpoint
from cases.api.fields import Field
from cases.api.query import limit, read_query
from cases.api.representations.values import iso
from cases.api.scalars import text, word
from cases.api.views.files import download
from cases.audit.filters import AuditFilters
from cases.documents.audit_csv import MEDIA_TYPE
from cases.documents.audit_data import asked_of, part_of
from cases.documents.audit_export import Exported, export_cases, export_report
from cases.forms.audit_words import audit_words
from cases.selectors.audit_cases import (
    MAX_PAGE_SIZE,
    PAGE_SIZE,
    AuditCaseRow,
    audit_cases,
)
from cases.services.audit_report import audit_report
from cases.tenancy import Actor

__all__ = [
    "AuditCases",
    "AuditCauses",
    "AuditClearance",
    "AuditControlChart",
    "AuditFunnel",
    "AuditQueries",
    "AuditRates",
    "AuditSummary",
]

_CSV: Final = "text/csv"
_FORMATS: Final = ("json", "csv")
_NAMES: Final = ("from", "to", *AuditFilters.__dataclass_fields__)
FILTERS: Final[dict[str, Field]] = {
    name: text(60) for name in _NAMES if name not in {"first", "last"}
}


def filters_of(asked: dict[str, Any], *, actor: Actor, at: datetime) -> AuditFilters:
    """Return the filters of the parameters; months are those of the actor's zone.

    Raises:
        Invalid: see ``AuditFilters.read``.
    """
    today = at.astimezone(ZoneInfo(actor.time_zone)).date()
    return AuditFilters.read({name: asked[name] for name in FILTERS}, today=today)


def as_csv(request: Request, asked: dict[str, Any]) -> bool:
    """Return whether a table is asked for; ``format`` counts before Accept."""
    if asked["format"]:
        return bool(asked["format"] == "csv")
    preferred = request._request.get_preferred_type(["application/json", _CSV])
    return preferred == _CSV


class AuditEndpoint(Endpoint):
    """A question about the audit. ``tables``: what it has as CSV, the usual one first."""

    returns: ClassVar[str]
    tables: ClassVar[tuple[str, ...]]
    more: ClassVar[dict[str, Field]] = {}

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return the one GET, of concrete questions only."""
        if "returns" not in cls.__dict__:
            return {}
        return {"get": Operation(returns=cls.returns, query=cls.query(), as_text=_CSV)}

    @classmethod
    def query(cls) -> dict[str, Field]:
        """Return what may follow the question mark."""
        return {
            **FILTERS,
            **cls.more,
            "format": word(_FORMATS, needed=False),
            "table": word(cls.tables, needed=False),
        }

    def get(self, request: Request) -> HttpResponse:
        """Answer the figures, or a table of them."""
        actor, at = actor_of(request), clock.now()
        policies.require_right(actor, "audit")
        asked = read_query(request, self.query())
        filters = filters_of(asked, actor=actor, at=at)
        return self.told(request, asked, filters, actor=actor, at=at)

    def told(
        self,
        request: Request,
        asked: dict[str, Any],
        filters: AuditFilters,
        *,
        actor: Actor,
        at: datetime,
    ) -> HttpResponse:
        """Answer what was asked."""
        raise NotImplementedError

    def file(self, exported: Exported) -> HttpResponse:
        """Answer a table as a download."""
        return download(exported.content, content_type=MEDIA_TYPE, name=exported.name)

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Any:
        """Say that the answer also depends on Accept."""
        final = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(final, ("Accept",))
        return final


class _Part(AuditEndpoint):
    """One part of the report."""

    part: ClassVar[str]

    def told(
        self,
        request: Request,
        asked: dict[str, Any],
        filters: AuditFilters,
        *,
        actor: Actor,
        at: datetime,
    ) -> HttpResponse:
        """Answer the part; what is hidden on the page is hidden here."""
        report = audit_report(actor=actor, filters=filters, at=at, words=audit_words())
        if as_csv(request, asked):
            name = asked["table"] or self.tables[0]
            return self.file(export_report(report, filters, name))
        return self.answer(part_of(report, filters, self.part))


class AuditCases(AuditEndpoint):
    """List the cases behind a number, latest dispatch first, unless they are too few.

    ``hidden``: fewer match than may be listed; then neither cases nor their number are
    told. As CSV the whole list comes at once, without ``cursor`` and ``limit``.
    """

    returns = "AuditCases"
    tables = ("cases",)
    more: ClassVar[dict[str, Field]] = {
        "cursor": text(200),
        "limit": limit(PAGE_SIZE, MAX_PAGE_SIZE),
    }

    def told(
        self,
        request: Request,
        asked: dict[str, Any],
        filters: AuditFilters,
        *,
        actor: Actor,
        at: datetime,
    ) -> HttpResponse:
        """Answer one page and where the next begins."""
        if as_csv(request, asked):
            return self.file(export_cases(actor=actor, filters=filters, at=at))
        page = audit_cases(
            actor=actor, filters=filters, cursor=asked["cursor"], limit=asked["limit"]
        )
        return self.answer(
            {
                **asked_of(filters, at),
                "n": None if page.hidden else page.n,
                "hidden": page.hidden,
                "items": [_case(row) for row in page.rows],
                "next": self._next(page.next_cursor),
            }
        )

    def _next(self, cursor: str) -> str | None:
        if not cursor:
            return None
        query = self.http.GET.copy()
        query["cursor"] = cursor
        return self.http.build_absolute_uri(f"{self.http.path}?{query.urlencode()}")


def _case(row: AuditCaseRow) -> dict[str, Any]:
    # What is counted and may be hidden elsewhere stands in each case.
    return {
        "case": row.code,
        "part": row.part,
        "teeth": list(row.teeth),
        "clinic": row.clinic,
        "material": row.material,
        "kind": row.kind,
        "dispatched_on": iso(row.dispatched_on),
        "clearance_at_submission": row.first_class,
    }


class AuditSummary(_Part):
    """Tell the headline rates, findings with their certainty, and alarms."""

    part = "summary"
    returns = "AuditSummary"
    tables = ("headline", "findings", "alarms", "time-to-remake")


class AuditRates(_Part):
    """List rates by clinic, material, kind, tooth class and method."""

    part = "rates"
    returns = "AuditRates"
    tables = ("rates",)


class AuditCauses(_Part):
    """List the causes of remakes, most frequent first."""

    part = "causes"
    returns = "AuditCauses"
    tables = ("causes", "attributions", "detected")


class AuditControlChart(_Part):
    """Tell the remake rate over time with its control limits."""

    part = "control-chart"
    returns = "AuditControlChart"
    tables = ("control-chart",)


class AuditFunnel(_Part):
    """Set clinics against the common rate and its limits; null without clinics."""

    part = "funnel"
    returns = "AuditFunnel"
    tables = ("funnel", "funnel-lines")


class AuditClearance(_Part):
    """Set clearance at submission against outcome, with and without a query."""

    part = "clearance"
    returns = "AuditClearance"
    tables = ("dose-response", "opposing", "flow")


class AuditQueries(_Part):
    """Tell how long each side took for queries, and what was chosen."""

    part = "queries"
    returns = "AuditQueries"
    tables = ("waiting", "options")

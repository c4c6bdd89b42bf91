"""A report of the audit as plain data: what the API answers and a PDF carries inside.

Shares and probabilities are rounded to six decimals; what is hidden is null, and its
``hidden`` says why. ``cases`` holds the filters that, beside the report's own, list the
cases behind a number; null where there is no such list.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from typing import Any, Final

from django.utils.translation import gettext

from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport, Finding
from cases.documents.audit_keys import with_codes

__all__ = ["PARTS", "asked_of", "part_of", "plain", "standing", "whole"]

_DECIMALS: Final = 6


def plain(value: Any) -> Any:
    """Return dataclasses, dates and numbers as JSON has them."""
    if isinstance(value, Finding):
        return _finding(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {
            one.name: _field(one.name, getattr(value, one.name))
            for one in fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return round(value, _DECIMALS) + 0.0 if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return value


def _field(name: str, value: Any) -> Any:
    return (plain(value) or None) if name == "cases" else plain(value)


def _finding(found: Finding) -> dict[str, Any]:
    return {
        "key": found.key,
        "text": gettext(found.text).format(**found.params),
        "certainty": gettext(found.certainty).format(**found.params),
        "p": plain(found.p),
        "cases": _field("cases", found.cases),
    }


def asked_of(filters: AuditFilters, as_of: datetime) -> dict[str, Any]:
    """Return of when an answer is, and of what."""
    said = filters.address()
    return {
        "as_of": plain(as_of),
        "period": {"from": said.pop("from"), "to": said.pop("to")},
        "filter": said,
    }


def standing(report: AuditReport, filters: AuditFilters) -> dict[str, Any]:
    """Return what every answer says first: of when, of what, and what is hidden."""
    setup = report.setup
    return {
        **asked_of(filters, setup.as_of),
        "viewer": setup.viewer,
        "suppression": {
            "small_number": setup.small_number,
            "least_cases": setup.least_cases,
            "suppressed": report.suppressed,
        },
        "n": report.n,
        "reported": report.reported,
    }


def _summary(report: AuditReport) -> dict[str, Any]:
    return {
        "headline": report.headline,
        "findings": report.findings,
        "alarms": report.alarms,
        "time_to_remake": report.time_to_remake,
    }


PARTS: Final[Mapping[str, Callable[[AuditReport], dict[str, Any]]]] = {
    "summary": _summary,
    "rates": lambda report: {"rates": list(report.rates.values())},
    "causes": lambda report: {
        "causes": report.causes,
        "attributions": report.attributions,
        "detected": report.detected,
    },
    "control-chart": lambda report: {"control_chart": report.control},
    "funnel": lambda report: {"funnel": report.funnel},
    "clearance": lambda report: {
        "dose_response": report.dose,
        "opposing": report.opposing,
        "flow": report.flow,
    },
    "queries": lambda report: {
        "queries_raised": report.queries_raised,
        "options": report.options,
        "waiting": report.waiting,
    },
}


def part_of(report: AuditReport, filters: AuditFilters, name: str) -> dict[str, Any]:
    """Return one of ``PARTS`` with what stands before every answer."""
    found: dict[str, Any] = plain(PARTS[name](with_codes(report)))
    return {**standing(report, filters), **found}


def whole(report: AuditReport, filters: AuditFilters) -> dict[str, Any]:
    """Return all parts as one object."""
    found = standing(report, filters)
    coded = with_codes(report)
    for name in PARTS:
        found |= plain(PARTS[name](coded))
    return found

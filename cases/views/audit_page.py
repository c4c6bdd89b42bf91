"""What every page of the audit has: filters, chips, views, words about the figures."""

from datetime import date
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from cases import policies
from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport
from cases.forms.audit import chosen_words
from cases.forms.audit_words import audit_words
from cases.selectors.audit_setup import audit_views
from cases.services.audit_report import audit_report
from cases.views.access import ActingRequest
from cases.views.audit_asked import ADDRESSES, TABS, Asked
from cases.views.audit_files import files_of
from cases.views.audit_tables import number_words, percent

__all__ = ["figures_of", "month_words", "period_words", "report_of", "show"]

_SPANS: Final = (3, 12, 24, 60)


def month_words(month: date) -> str:
    """Return a month in words, like "May 2026"."""
    return date_format(month, "F Y")


def period_words(filters: AuditFilters) -> str:
    """Return the months of the filters in words."""
    if filters.first == filters.last:
        return month_words(filters.first)
    return _("{first} to {last}").format(
        first=month_words(filters.first), last=month_words(filters.last)
    )


def _chips(asked: Asked) -> list[dict[str, str]]:
    """Return the filters in force, each with the address without it."""
    if asked.filters is None:
        return []
    return [
        {"name": label, "value": said, "href": asked.address(**{name: ""})}
        for name, _value, label, said in chosen_words(asked.filters, asked.choices)
    ]


def _spans(asked: Asked) -> list[dict[str, Any]]:
    """Return the usual periods, all up to this month."""
    if asked.filters is None:
        return []
    today = asked.at.astimezone(ZoneInfo(asked.actor.time_zone)).date()
    last = today.replace(day=1)
    found = []
    for months in _SPANS:
        index = last.year * 12 + last.month - months
        first = date(index // 12, index % 12 + 1, 1)
        current = (asked.filters.first, asked.filters.last) == (first, last)
        href = asked.address(**{"from": f"{first:%Y-%m}", "to": f"{last:%Y-%m}"})
        words = _("{months} months").format(months=months)
        found.append({"label": words, "href": href, "current": current})
    return found


def _tabs(asked: Asked) -> list[dict[str, Any]]:
    found = []
    for page, _name, label, side in TABS:
        if side in ("", asked.actor.side):
            href = asked.address(page)
            found.append({"label": label, "href": href, "current": page == asked.page})
    return found


def _frame(asked: Asked) -> dict[str, Any]:
    actor = asked.actor
    query = urlencode(
        {**asked.filters.address(), **asked.more} if asked.filters else {}
    )
    return {
        "page": asked.page,
        "tabs": _tabs(asked),
        "form": asked.form,
        "chips": _chips(asked),
        "spans": _spans(asked),
        "more": {k: v for k, v in asked.more.items() if k not in asked.form.fields},
        "files": files_of(asked),
        "views": [
            {"name": v.name, "href": f"{reverse(ADDRESSES[v.page])}?{v.query}"}
            for v in audit_views(actor=actor)
            if v.page in ADDRESSES
        ],
        "save_href": f"{reverse('audit_views')}?{urlencode({'page': asked.page})}"
        f"&{query}",
        "sets_up": policies.can_manage(actor, "audit_set_up"),
        "period": period_words(asked.filters) if asked.filters else "",
        "at": asked.at,
    }


def show(
    asked: Asked, request: ActingRequest, template: str, **found: Any
) -> HttpResponse:
    """Render a page of the audit; filters that cannot be read stand with their fault."""
    context = {**_frame(asked), **found}
    if asked.filters is None:
        return render(request, "audit/refused.html", context, status=422)
    return render(request, template, context)


def report_of(asked: Asked) -> AuditReport:
    """Return the report of a page whose filters could be read.

    Raises:
        NotFound: a clinic or person that is not the viewer's.
        NotAllowed: a person where people are not compared.
    """
    assert asked.filters is not None  # noqa: S101 -- pages answer such filters first
    return audit_report(
        actor=asked.actor, filters=asked.filters, at=asked.at, words=audit_words()
    )


def figures_of(asked: Asked, report: AuditReport) -> dict[str, Any]:
    """Return what every page with a report says of it."""
    share = percent(report.reported / report.n) if report.n else ""
    return {
        "report": report,
        "n_words": number_words(report.n),
        "reported": share,
        "page_href": _bare(asked),
    }


def _bare(asked: Asked) -> str:
    """Return the page's address with its period alone."""
    filters = asked.filters
    assert filters is not None  # noqa: S101 -- a report was made of them
    gone = {name: "" for name in filters.address() if name not in ("from", "to")}
    return asked.address(**gone)

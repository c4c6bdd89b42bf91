"""The audit taken along: one table as CSV, a quarter as PDF."""

import re
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.http import HttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock, policies
from cases.audit.filters import AuditFilters, month_after
from cases.audit.report_types import AuditReport
from cases.documents.audit_csv import BOM, MEDIA_TYPE, file_name
from cases.documents.audit_document import AuditPaper, render_audit
from cases.documents.audit_export import CASES, export_cases, export_report
from cases.documents.audit_sheet import Heading
from cases.documents.moments import moment
from cases.errors import Invalid, TooMany
from cases.forms.audit import chosen_words
from cases.forms.audit_words import audit_words
from cases.selectors.audit_labels import filter_choices
from cases.services.audit_report import audit_report
from cases.services.audit_turn import take_turn
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_pictures import chart_words

__all__ = ["export", "report_document"]

# Some two seconds of work each, one at a time for an organisation: enough for who tries
# filters, too few to keep a server busy.
PER_MINUTE: Final = 10
# A quarter has three points; a control chart needs more to have limits.
_CHARTED_MONTHS: Final = 24
_QUARTER: Final = re.compile(r"(20[0-9]{2})-Q([1-4])", re.ASCII)


def _handed_out(content: bytes, *, content_type: str, name: str) -> HttpResponse:
    """Return a file that a browser saves and never shows or runs."""
    response = HttpResponse(content, content_type=content_type)
    response.headers["Content-Disposition"] = str(
        content_disposition_header(True, name)
    )
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


def _today(actor: Actor, at: datetime) -> date:
    return at.astimezone(ZoneInfo(actor.time_zone)).date()


@require_safe
@acting_required
def export(request: ActingRequest, table: str) -> HttpResponse:
    """Hand out one table under the filters of the address.

    It begins with a byte order mark: spreadsheets else take UTF-8 for something older.
    """
    actor, at = request.actor, clock.now()
    policies.require_right(actor, "audit")
    filters = AuditFilters.read(request.GET.dict(), today=_today(actor, at))
    if table == CASES:
        found = export_cases(actor=actor, filters=filters, at=at)
    else:
        report = audit_report(actor=actor, filters=filters, at=at, words=audit_words())
        found = export_report(report, filters, table)
    return _handed_out(BOM + found.content, content_type=MEDIA_TYPE, name=found.name)


def _quarter(asked: str) -> tuple[date, date, str]:
    """Return first and last month of a quarter, and its name.

    Raises:
        Invalid: not like 2026-Q3.
    """
    found = _QUARTER.fullmatch(asked.strip())
    if found is None:
        raise Invalid.one("/quarter", "Enter a quarter like 2026-Q3.")
    year, number = int(found[1]), int(found[2])
    first = date(year, 3 * number - 2, 1)
    name = _("Quarter {number} of {year}").format(number=number, year=year)
    return first, month_after(month_after(first)), name


def _months_back(month: date, months: int) -> date:
    index = month.year * 12 + month.month - 1 - months
    return date(index // 12, index % 12 + 1, 1)


def _of_period(filters: AuditFilters, first: date) -> AuditFilters:
    address = {**filters.address(), "from": f"{first:%Y-%m}"}
    return AuditFilters.read(address, today=filters.last)


def _heading(
    actor: Actor, report: AuditReport, filters: AuditFilters, period: str
) -> Heading:
    words = chosen_words(filters, filter_choices(actor=actor))
    points = report.control.points
    later = ""
    if any(not point.complete for point in points):
        later = _(
            "Some of these restorations were dispatched less than {days} days ago: "
            "their remakes are not all known yet."
        ).format(days=report.setup.follow_up_days)
    whose = actor.organisation_name
    if report.setup.viewer == "clinician":
        whose = _("{organisation}, own cases of {name}").format(
            organisation=whose, name=actor.name
        )
    return Heading(
        organisation=whose,
        period=period,
        as_of=moment(report.setup.as_of.isoformat(), actor.time_zone),
        filters=tuple((label, said) for _name, _value, label, said in words),
        later=later,
    )


def _count(actor: Actor) -> None:
    key = f"audit-pdf:{actor.membership_id}"
    asked = int(cache.get(key) or 0)
    if asked >= PER_MINUTE:
        raise TooMany("Too many reports in a short time. Wait a minute.")
    take_turn(actor=actor)
    cache.set(key, asked + 1, 60)


@require_safe
@acting_required
def report_document(request: ActingRequest) -> HttpResponse:
    """Hand out the PDF of ``quarter``; the other filters narrow it as on the pages."""
    actor, at = request.actor, clock.now()
    policies.require_right(actor, "audit")
    first, last, period = _quarter(request.GET.get("quarter", ""))
    asked = {
        **request.GET.dict(),
        "from": f"{first:%Y-%m}",
        "to": f"{last:%Y-%m}",
    }
    filters = AuditFilters.read(asked, today=_today(actor, at))
    _count(actor)
    words = audit_words()
    report = audit_report(actor=actor, filters=filters, at=at, words=words)
    charted = _of_period(filters, _months_back(last, _CHARTED_MONTHS - 1))
    trend = audit_report(
        actor=actor, filters=charted, at=at, words=words, charted_by="quarter"
    )
    content = render_audit(
        AuditPaper(
            report=report,
            trend=trend,
            filters=filters,
            heading=_heading(actor, report, filters, period),
            words=chart_words(report.setup),
            language=actor.language,
        )
    )
    name = file_name("report", as_of=at, first=first, last=last, ending="pdf")
    return _handed_out(content, content_type="application/pdf", name=name)

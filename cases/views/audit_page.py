"""What every page of the audit has: filters, chips, views, words about the figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases import clock, policies
from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport
from cases.errors import Invalid, InvalidField
from cases.forms.audit import FilterForm, chosen_words
from cases.forms.audit_words import audit_words
from cases.forms.faults import add_faults
from cases.selectors.audit_labels import filter_choices
from cases.selectors.audit_setup import audit_views
from cases.services.audit_report import audit_report
from cases.tenancy import Actor
from cases.views.access import ActingRequest
from cases.views.audit_tables import number_words, percent

__all__ = [
    "ADDRESSES",
    "Asked",
    "ask",
    "figures_of",
    "month_words",
    "period_words",
    "report_of",
    "show",
]

# Page -> URL name, words, and the only side that has it ("" both).
TABS: Final[tuple[tuple[str, str, Promise, str], ...]] = (
    ("overview", "audit", gettext_lazy("Overview"), ""),
    ("rates", "audit_rates", gettext_lazy("Rates"), ""),
    ("clearance", "audit_clearance", gettext_lazy("Clearance"), ""),
    ("queries", "audit_queries", gettext_lazy("Queries"), ""),
    ("clinics", "audit_clinics", gettext_lazy("Clinics"), "laboratory"),
    ("compare", "audit_compare", gettext_lazy("Two periods"), ""),
    ("cases", "audit_cases", gettext_lazy("Cases"), ""),
)
ADDRESSES: Final = {page: name for page, name, _label, _side in TABS}
_SPANS: Final = (3, 12, 24, 60)
# An address holds a value of each filter; what is longer is none.
_LONGEST: Final = 80


@dataclass(frozen=True, slots=True)
class Asked:
    """A page and what narrows it. ``filters`` is None where they cannot be read.

    ``before`` is the period to compare with, on the page that does; ``more`` what else
    the address says to this page.
    """

    actor: Actor
    page: str
    at: datetime
    filters: AuditFilters | None
    form: FilterForm
    choices: Mapping[str, list[tuple[str, str]]]
    more: Mapping[str, str]
    before: AuditFilters | None = None

    def address(self, page: str = "", **changes: str) -> str:
        """Return a page's address with these filters, changed."""
        name = ADDRESSES[page or self.page]
        if self.filters is None:
            return reverse(name)
        kept = {**self.more, **changes} if page in ("", self.page) else dict(changes)
        query = urlencode({k: v for k, v in self.filters.address(**kept).items() if v})
        return f"{reverse(name)}?{query}"

    def cases(self, narrower: Mapping[str, str]) -> str:
        """Return where the cases behind a number are listed."""
        return self.address("cases", **narrower)


def ask(
    request: ActingRequest,
    page: str,
    *,
    more: tuple[str, ...] = (),
    second: bool = False,
) -> Asked:
    """Return what the address asks for; ``more`` names what this page reads besides.

    ``second`` reads the period to compare with: ``from2`` and ``to2``, without them as
    many months right before.

    Raises:
        NotAllowed: the role has no audit.
    """
    actor, at = request.actor, clock.now()
    policies.require_right(actor, "audit")
    names = (*more, "from2", "to2") if second else more
    typed = {name: request.GET.get(name, "")[:_LONGEST] for name in request.GET}
    kept = {name: typed[name] for name in names if typed.get(name)}
    choices = filter_choices(actor=actor)
    today = at.astimezone(ZoneInfo(actor.time_zone)).date()
    try:
        filters = AuditFilters.read(typed, today=today)
        before = _second(filters, kept, today) if second else None
    except Invalid as error:
        form = FilterForm(typed, choices=choices, second=second)
        form.is_valid()
        add_faults(form, error)
        return Asked(actor, page, at, None, form, choices, kept)
    shown = filters.address()
    if before is not None:
        shown |= {"from2": f"{before.first:%Y-%m}", "to2": f"{before.last:%Y-%m}"}
    form = FilterForm(shown, choices=choices, second=second)
    return Asked(actor, page, at, filters, form, choices, kept, before)


def _second(
    filters: AuditFilters, typed: Mapping[str, str], today: date
) -> AuditFilters:
    """Return the same filters over the period to compare with.

    Raises:
        Invalid: that period cannot be read; it is named by its own fields.
    """
    if not typed.get("from2") and not typed.get("to2"):
        return filters.before
    asked = filters.address()
    asked["from"], asked["to"] = typed.get("from2", ""), typed.get("to2", "")
    faults = [
        InvalidField(f"/{name}2", "Enter a month like 2026-05.")
        for name in ("from", "to")
        if not asked[name]
    ]
    if faults:
        raise Invalid(*faults)
    try:
        return AuditFilters.read(asked, today=today)
    except Invalid as error:
        raise Invalid(
            *(
                InvalidField(f"{one.pointer}2", one.message, one.params)
                for one in error.fields
            )
        ) from error


def month_words(month: date) -> str:
    """Return a month in words, like "May 2026"."""
    return date_format(month, "F Y")


def period_words(filters: AuditFilters) -> str:
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


def _files(asked: Asked) -> list[dict[str, str]]:
    """Return the addresses of the same figures as files."""
    if asked.filters is None:
        return []
    query = urlencode(asked.filters.address())
    found = []
    for name, label in (("audit_csv", _("CSV")), ("audit_pdf", _("PDF report"))):
        try:
            found.append({"label": label, "href": f"{reverse(name)}?{query}"})
        except NoReverseMatch:
            continue
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
        "files": _files(asked),
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

"""What the address of an audit page asks for: period, filters, and whose."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from cases import clock, policies
from cases.audit.filters import AuditFilters
from cases.errors import Invalid, InvalidField
from cases.forms.audit import FilterForm
from cases.forms.faults import add_faults
from cases.selectors.audit_labels import filter_choices
from cases.tenancy import Actor
from cases.views.access import ActingRequest

__all__ = ["ADDRESSES", "TABS", "Asked", "ask"]

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

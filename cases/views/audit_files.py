"""Where the figures of an audit page are handed out as files."""

from datetime import date
from typing import Final
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.views.audit_asked import Asked

__all__ = ["files_of"]

# Page -> its tables as files: name in the address, words.
_TABLES: Final[dict[str, tuple[tuple[str, Promise], ...]]] = {
    "overview": (
        ("headline", gettext_lazy("In figures")),
        ("findings", gettext_lazy("What to act on")),
        ("control-chart", gettext_lazy("Remake rate over time")),
        ("causes", gettext_lazy("Causes of remakes")),
        ("attributions", gettext_lazy("Whom remakes go back to")),
        ("detected", gettext_lazy("Where remakes were noticed")),
        ("time-to-remake", gettext_lazy("Time from dispatch to remake")),
    ),
    "rates": (("rates", gettext_lazy("Rates")),),
    "clearance": (
        ("opposing", gettext_lazy("Opposing teeth adjusted")),
        ("dose-response", gettext_lazy("Clearance and outcome")),
        ("flow", gettext_lazy("From verdict to outcome")),
    ),
    "queries": (
        ("options", gettext_lazy("What came of the queries")),
        ("waiting", gettext_lazy("How long each side took")),
    ),
    "clinics": (
        ("alarms", gettext_lazy("Alarms")),
        ("funnel", gettext_lazy("Funnel")),
        ("funnel-lines", gettext_lazy("Limits of the funnel")),
    ),
    "cases": (("cases", gettext_lazy("Cases behind a number")),),
}


def _quarters(last: date) -> list[tuple[str, str]]:
    """Return the quarter of a month and the one before: as an address says it, in words."""
    index = last.year * 4 + (last.month - 1) // 3
    return [
        (
            f"{one // 4}-Q{one % 4 + 1}",
            _("Q{quarter} {year}").format(quarter=one % 4 + 1, year=one // 4),
        )
        for one in (index, index - 1)
    ]


def files_of(asked: Asked) -> list[dict[str, str]]:
    """Return the addresses of a page's figures as files, and of the quarter's report."""
    filters = asked.filters
    if filters is None:
        return []
    query = urlencode(filters.address())
    found = [
        {
            "label": _("{table} (CSV)").format(table=label),
            "href": f"{reverse('audit_export', args=[table])}?{query}",
        }
        for table, label in _TABLES.get(asked.page, ())
    ]
    narrower = {k: v for k, v in filters.address().items() if k not in ("from", "to")}
    for code, words in _quarters(filters.last):
        asks = urlencode({"quarter": code, **narrower})
        label = _("Report of {quarter} (PDF)").format(quarter=words)
        found.append({"label": label, "href": f"{reverse('audit_report_pdf')}?{asks}"})
    return found

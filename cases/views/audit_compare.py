"""Two periods of the audit side by side: what differs, and how surely."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.audit.comparison import Comparison, ComparisonRow
from cases.audit.filters import AuditFilters
from cases.audit.report_types import RateRow, Setup
from cases.enums import Role
from cases.forms.audit_words import DIMENSIONS, audit_words
from cases.selectors.audit_setup import audit_settings
from cases.services.audit_report import audit_comparison
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_asked import Asked, ask
from cases.views.audit_page import month_words, period_words, show
from cases.views.audit_tables import (
    Cell,
    Grid,
    Head,
    Line,
    Link,
    count_cell,
    grid,
    number_words,
    p_words,
    percent,
)

__all__ = ["compare"]


def _setup(asked: Asked, filters: AuditFilters) -> Setup:
    """Return how carefully this viewer is shown figures, for what a table explains."""
    settings = audit_settings(actor=asked.actor)
    alone = asked.actor.role == Role.CLINICIAN
    return Setup(
        viewer="clinician" if alone else asked.actor.side,
        first=filters.first,
        last=filters.last,
        as_of=asked.at,
        small_number=1 if alone else settings.small_number,
        least_cases=settings.least_cases,
    )


def _side(row: RateRow | None, setup: Setup, link: Link) -> tuple[Cell, ...]:
    """Return one period's cells: how many of how many, and the rate."""
    if row is None:
        return (Cell("–", num=True), Cell("–", num=True))
    count = count_cell(row.count, row.hidden, row.cases, setup, link)
    of = _("{count} of {n}").format(count=count.text, n=number_words(row.n))
    rate = Cell("–" if row.rate is None else percent(row.rate), num=True)
    return (replace(count, text=of), rate)


def _points(share: float) -> str:
    """Return a difference of rates in percentage points, with its sign."""
    size = number_words(abs(share) * 100, 1)
    if size == number_words(0, 1):
        return size
    return f"{'−' if share < 0 else '+'}{size}"


def _difference(row: ComparisonRow) -> tuple[Cell, ...]:
    if row.difference is None or row.low is None or row.high is None:
        return (Cell("–", num=True), Cell("–", num=True), Cell("–", num=True))
    return (
        Cell(_points(row.difference), num=True),
        Cell(f"{_points(row.low)} … {_points(row.high)}", num=True),
        Cell(p_words(row.p), num=True),
    )


def _grid(
    caption: str,
    first: str,
    rows: Sequence[ComparisonRow],
    setup: Setup,
    links: tuple[Link, Link],
) -> Grid:
    earlier, later = links
    heads = (
        Head(first),
        Head(_("Before"), num=True),
        Head(_("Rate before"), num=True),
        Head(_("Now"), num=True),
        Head(_("Rate now"), num=True),
        Head(_("Difference, points"), num=True),
        Head(_("95 % interval"), num=True),
        Head(_("Test"), num=True),
    )
    lines = [
        Line(
            Cell(row.label),
            (
                *_side(row.before, setup, earlier),
                *_side(row.now, setup, later),
                *_difference(row),
            ),
        )
        for row in rows
    ]
    return grid(caption, heads, lines, setup)


def _tables(found: Comparison, setup: Setup, links: tuple[Link, Link]) -> list[Grid]:
    """Return remakes by each dimension that has rows."""
    made = []
    for key, rows in found.tables.items():
        if ":" in key or not rows:
            continue
        name = str(DIMENSIONS.get(key, key))
        caption = _("Remade after dispatch, by {dimension}").format(
            dimension=name.lower()
        )
        made.append(_grid(caption, name, rows, setup, links))
    return made


@require_safe
@acting_required
def compare(request: ActingRequest) -> HttpResponse:
    """Show how the figures of a period differ from those of another one."""
    asked = ask(request, "compare", second=True)
    filters, before = asked.filters, asked.before
    if filters is None or before is None:
        return show(asked, request, "")
    found = audit_comparison(
        actor=asked.actor,
        filters=filters,
        before=before,
        at=asked.at,
        words=audit_words(),
    )
    months = {"from": f"{before.first:%Y-%m}", "to": f"{before.last:%Y-%m}"}

    def earlier(narrower: Mapping[str, str]) -> str:
        return asked.cases({**narrower, **months})

    setup, links = _setup(asked, filters), (earlier, asked.cases)
    return show(
        asked,
        request,
        "audit/compare.html",
        comparison=found,
        earlier=period_words(before),
        headline=_grid(_("In figures"), _("What happened"), found.rows, setup, links),
        grids=_tables(found, setup, links),
        incomplete=", ".join(month_words(month) for month in found.incomplete),
        empty=not any(
            row.n for one in found.rows for row in (one.now, one.before) if row
        ),
    )

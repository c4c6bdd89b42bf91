"""The tables that stand beside the pictures of the audit, and those without one."""

from collections.abc import Sequence

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from cases.audit.report_types import (
    AuditReport,
    CauseRow,
    ControlPoint,
    RateRow,
    RateTable,
    Setup,
)
from cases.forms.audit_words import DIMENSIONS, MEASURES
from cases.views.audit_tables import (
    Cell,
    Grid,
    Head,
    Line,
    Link,
    count_cell,
    grid,
    interval_words,
    number_words,
    percent,
    rate_cells,
    rate_heads,
)

__all__ = [
    "alarm_grid",
    "cause_grid",
    "control_grid",
    "funnel_grid",
    "rate_grid",
    "remake_time_grid",
    "whole_of",
]


def whole_of(measure: str) -> str:
    """Return the outcome that all have of whom a measure is counted; "" any."""
    seating = ("opposing_adjusted", "restoration_adjusted", "as_delivered")
    return "reported" if measure in seating else ""


def rate_grid(table: RateTable, setup: Setup, link: Link) -> Grid:
    """Return the rates of one measure by one dimension, with their total."""
    dimension = str(DIMENSIONS.get(table.dimension, table.dimension))
    counted = str(MEASURES.get(table.measure, table.measure))
    whole = whole_of(table.measure)
    lines = [
        Line(Cell(row.label), rate_cells(row, setup, link, whole)) for row in table.rows
    ]
    total = rate_cells(table.total, setup, link, whole)
    lines.append(Line(Cell(_("All")), total, total=True))
    caption = _("{measure}, by {dimension}").format(
        measure=counted, dimension=dimension.lower()
    )
    heads = rate_heads(dimension, _("Reported") if whole else _("Dispatched"), counted)
    return grid(caption, heads, lines, setup)


def _standing(point: ControlPoint) -> str:
    if not point.complete:
        return _("too early to judge")
    return {
        "above": _("above its limits"),
        "below": _("below its limits"),
    }.get(point.signal, "")


def _span(point: ControlPoint, grouping: str) -> str:
    """Return the months of a point in words."""
    year, month = point.first.year, point.first.month
    months = point.last.month - month + 1
    if months < {"quarter": 3, "half_year": 6}.get(grouping, 1):
        # The period has not all of it.
        words = date_format(point.first, "M Y")
        last = date_format(point.last, "M Y")
        return words if months == 1 else f"{words} – {last}"
    if grouping == "quarter":
        return _("Q{quarter} {year}").format(quarter=(month - 1) // 3 + 1, year=year)
    if grouping == "half_year":
        return _("H{half} {year}").format(half=(month - 1) // 6 + 1, year=year)
    return date_format(point.first, "M Y")


def control_grid(report: AuditReport, link: Link) -> Grid:
    """Return the points of the control chart."""
    heads = (
        Head(_("Dispatched in")),
        Head(_("Dispatched"), num=True),
        Head(_("Remade"), num=True),
        Head(_("Rate"), num=True),
        Head(_("Limits"), num=True),
        Head(_("Signal")),
    )
    setup = report.setup
    lines = [
        Line(
            Cell(_span(point, report.control.grouping)),
            (
                Cell(number_words(point.n), num=True),
                count_cell(point.count, point.hidden, point.cases, setup, link),
                Cell("–" if point.rate is None else percent(point.rate), num=True),
                Cell(interval_words(point.lower, point.upper) or "–", num=True),
                Cell(_standing(point) or "–"),
            ),
        )
        for point in report.control.points
    ]
    return grid(_("Remake rate over time"), heads, lines, setup)


def cause_grid(rows: Sequence[CauseRow], setup: Setup, link: Link) -> Grid:
    """Return the causes of remakes; a laboratory also sees those before dispatch."""
    own = setup.viewer == "laboratory"
    heads = [
        Head(_("Cause")),
        Head(_("Remade"), num=True),
        Head(_("Share"), num=True),
        Head(_("Up to here"), num=True),
        *([Head(_("Before dispatch"), num=True)] if own else []),
    ]
    lines = []
    for row in rows:
        shares = [
            Cell("–" if share is None else percent(share), num=True)
            for share in (row.share, row.cumulative)
        ]
        internal = (
            [count_cell(row.internal, row.hidden, {}, setup, link)] if own else []
        )
        lines.append(
            Line(
                Cell(row.label),
                (
                    count_cell(row.count, row.hidden, row.cases, setup, link),
                    *shares,
                    *internal,
                ),
            )
        )
    return grid(_("Causes of remakes"), heads, lines, setup)


def share_grid(
    caption: str,
    named: tuple[str, str],
    rows: Sequence[RateRow],
    setup: Setup,
    link: Link,
) -> Grid:
    """Return what a whole is parted into; ``named``: heads of the parts and counts."""
    heads = (
        Head(named[0]),
        Head(named[1], num=True),
        Head(_("Share"), num=True),
        Head(_("95 % interval"), num=True),
    )
    lines = [
        Line(
            Cell(row.label),
            (
                count_cell(row.count, row.hidden, row.cases, setup, link),
                Cell("–" if row.rate is None else percent(row.rate), num=True),
                Cell(interval_words(row.low, row.high) or "–", num=True),
            ),
        )
        for row in rows
    ]
    return grid(caption, heads, lines, setup)


def funnel_grid(report: AuditReport, link: Link) -> Grid:
    """Return the clinics of the funnel, most restorations first."""
    words = {
        "inside": _("within the limits"),
        "above_95": _("above 95 %: watch"),
        "above_998": _("above 99.8 %: look at its cases"),
        "below_95": _("below 95 %"),
        "below_998": _("below 99.8 %: learn from it"),
    }
    heads = (
        Head(_("Clinic")),
        Head(_("Dispatched"), num=True),
        Head(_("Remade"), num=True),
        Head(_("Rate"), num=True),
        Head(_("Against the common rate")),
    )
    setup = report.setup
    lines = [
        Line(
            Cell(point.label),
            (
                Cell(number_words(point.n), num=True),
                count_cell(point.count, point.hidden, point.cases, setup, link),
                Cell("–" if point.rate is None else percent(point.rate), num=True),
                Cell(words.get(point.place, "–") if point.rate is not None else "–"),
            ),
        )
        for point in (report.funnel.points if report.funnel else ())
    ]
    return grid(_("Clinics against the common rate"), heads, lines, setup)


def alarm_grid(report: AuditReport, link: Link) -> Grid:
    """Return the clinics whose remakes accumulate, and since how many restorations."""
    heads = (
        Head(_("Clinic")),
        Head(_("Restorations since the rise began"), num=True),
        Head(_("Remade of them"), num=True),
        Head(_("Sum"), num=True),
        Head(_("Alarm at"), num=True),
    )
    lines = [
        Line(
            Cell(alarm.label),
            (
                Cell(number_words(alarm.since), num=True),
                count_cell(alarm.remakes, "small", alarm.cases, report.setup, link),
                Cell(number_words(alarm.value, 2), num=True),
                Cell(number_words(alarm.decision, 2), num=True),
            ),
        )
        for alarm in report.alarms
    ]
    return grid(_("Remakes that accumulate"), heads, lines, report.setup)


def remake_time_grid(report: AuditReport) -> Grid:
    """Return the share remade up to some days after dispatch."""
    heads = (
        Head(_("Within")),
        Head(_("Remade"), num=True),
        Head(_("95 % interval"), num=True),
        Head(_("Followed longer, not remade"), num=True),
    )
    lines = [
        Line(
            Cell(_("{days} days").format(days=number_words(step.days))),
            (
                Cell(percent(step.share), num=True),
                Cell(interval_words(step.low, step.high), num=True),
                Cell(number_words(step.at_risk), num=True),
            ),
        )
        for step in report.time_to_remake.steps
    ]
    return grid(_("Time from dispatch to remake"), heads, lines, report.setup)

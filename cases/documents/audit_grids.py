"""The tables of the audit's report on paper."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from cases.audit.report_types import (
    AuditReport,
    CauseRow,
    ControlPoint,
    DoseResponse,
    FunnelPoint,
    RateRow,
    RateTable,
    Setup,
    Waiting,
)
from cases.documents.audit_lines import (
    NONE,
    Grid,
    Line,
    count_said,
    decimals,
    hours_said,
    interval_said,
    percent,
    said,
)

__all__ = [
    "alarm_grid",
    "cause_grid",
    "control_grid",
    "dose_grid",
    "flow_grid",
    "funnel_grid",
    "headline_grid",
    "opposing_grid",
    "option_grid",
    "remake_grids",
    "rate_grid",
    "waiting_grid",
]


def _figures(row: RateRow, setup: Setup) -> tuple[str, ...]:
    return (
        str(row.n),
        count_said(row.count, row.hidden, setup),
        percent(row.rate),
        interval_said(row.low, row.high),
    )


def _lines(rows: Iterable[RateRow], setup: Setup) -> tuple[Line, ...]:
    return tuple(Line(row.label, _figures(row, setup)) for row in rows)


def _rate_heads(first: str, whole: str, counted: str) -> tuple[str, ...]:
    return (first, whole, counted, _("Rate"), _("95 % interval"))


def headline_grid(report: AuditReport) -> Grid:
    """Return the rates the report opens with."""
    heads = _rate_heads(_("What"), _("Of how many"), _("How many"))
    return Grid(_("In short"), heads, _lines(report.headline, report.setup))


def rate_grid(table: RateTable, setup: Setup) -> Grid:
    """Return the rates of one measure by one dimension, with their total."""
    dimension = said(setup, "dimension", table.dimension)
    measure = said(setup, "measure", table.measure)
    whole = (
        _("Dispatched") if table.measure in {"remade", "internal"} else _("Reported")
    )
    total = Line(_("All"), _figures(table.total, setup), total=True)
    return Grid(
        _("{measure}, by {dimension}").format(
            measure=measure, dimension=dimension.lower()
        ),
        _rate_heads(dimension, whole, _("How many")),
        (*_lines(table.rows, setup), total),
    )


def cause_grid(report: AuditReport) -> Grid:
    """Return the causes of remakes; a laboratory also sees those before dispatch."""
    setup = report.setup
    own = setup.viewer == "laboratory"

    def cells(row: CauseRow) -> tuple[str, ...]:
        return (
            count_said(row.count, row.hidden, setup),
            percent(row.share),
            percent(row.cumulative),
            *((count_said(row.internal, "", setup),) if own else ()),
        )

    heads = (
        _("Cause"),
        _("Remade"),
        _("Share"),
        _("Up to here"),
        *((_("Before dispatch"),) if own else ()),
    )
    lines = tuple(Line(row.label, cells(row)) for row in report.causes)
    return Grid(_("Causes of remakes"), heads, lines)


def remake_grids(report: AuditReport) -> tuple[Grid, ...]:
    """Return the remakes by whom they go back to, and by where they were noticed."""
    tables = (
        (_("Whom remakes go back to"), _("Goes back to"), report.attributions),
        (_("Where remakes were noticed"), _("Noticed"), report.detected),
    )
    return tuple(
        Grid(
            caption,
            _rate_heads(head, _("Remade"), _("How many")),
            _lines(rows, report.setup),
        )
        for caption, head, rows in tables
        if rows
    )


def control_grid(report: AuditReport) -> Grid:
    """Return the points of the control chart."""
    setup = report.setup
    signals = {
        "above": _("above its limits"),
        "below": _("below its limits"),
    }

    def cells(point: ControlPoint) -> tuple[str, ...]:
        signal = signals.get(point.signal, NONE)
        return (
            str(point.n),
            count_said(point.count, point.hidden, setup),
            percent(point.rate),
            interval_said(point.lower, point.upper),
            signal if point.complete else _("too early to judge"),
        )

    heads = (
        _("Dispatched in"),
        _("Dispatched"),
        _("Remade"),
        _("Rate"),
        _("Limits"),
        _("Signal"),
    )
    lines = tuple(Line(point.label, cells(point)) for point in report.control.points)
    return Grid(_("Remake rate over time"), heads, lines, words="last")


def funnel_grid(report: AuditReport) -> Grid:
    """Return the clinics against the common rate, most restorations first."""
    setup = report.setup
    places = {
        "inside": _("within the limits"),
        "above_95": _("above the 95 % limit"),
        "above_998": _("above the 99.8 % limit"),
        "below_95": _("below the 95 % limit"),
        "below_998": _("below the 99.8 % limit"),
    }

    def cells(point: FunnelPoint) -> tuple[str, ...]:
        place = places.get(point.place, NONE) if point.rate is not None else NONE
        return (
            str(point.n),
            count_said(point.count, point.hidden, setup),
            percent(point.rate),
            place,
        )

    heads = (
        _("Clinic"),
        _("Dispatched"),
        _("Remade"),
        _("Rate"),
        _("Against the common rate"),
    )
    points = report.funnel.points if report.funnel else ()
    lines = tuple(Line(point.label, cells(point)) for point in points)
    return Grid(_("Clinics against the common rate"), heads, lines, words="last")


def alarm_grid(report: AuditReport) -> Grid:
    """Return the clinics whose remakes accumulate."""
    heads = (
        _("Clinic"),
        _("Restorations since the rise began"),
        _("Remade of them"),
        _("Sum"),
        _("Alarm at"),
    )
    lines = tuple(
        Line(
            alarm.label,
            (
                str(alarm.since),
                count_said(alarm.remakes, "small", report.setup),
                decimals(alarm.value, 2),
                decimals(alarm.decision, 2),
            ),
        )
        for alarm in report.alarms
    )
    return Grid(_("Remakes that accumulate"), heads, lines)


def dose_grid(dose: DoseResponse, setup: Setup) -> Grid:
    """Return what became of restorations, by what was missing."""
    where = {
        "first": _("Clearance at submission"),
        "built": _("Clearance as built"),
    }.get(dose.basis, dose.basis)
    counted = said(setup, "measure", dose.measure)
    heads = _rate_heads(where, _("Reported"), _("How many"))
    caption = _("{where}: {what}").format(where=where, what=counted)
    return Grid(caption, heads, _lines(dose.rows, setup))


def opposing_grid(report: AuditReport) -> Grid:
    """Return how often the opposing tooth was adjusted, without and with a query."""
    rows = (report.opposing.without, report.opposing.with_query)
    heads = _rate_heads(_("Before dispatch"), _("Reported"), _("Adjusted"))
    return Grid(
        _("Opposing teeth adjusted at seating"), heads, _lines(rows, report.setup)
    )


def option_grid(report: AuditReport) -> Grid:
    """Return what came of the queries."""
    heads = _rate_heads(_("Option chosen"), _("Queries"), _("How many"))
    return Grid(
        _("What came of the queries"), heads, _lines(report.options, report.setup)
    )


def waiting_grid(report: AuditReport) -> Grid:
    """Return how long each side took."""

    def cells(one: Waiting) -> tuple[str, ...]:
        interval = NONE
        if one.median_hours is not None:
            interval = f"{hours_said(one.low_hours)} – {hours_said(one.high_hours)}"
        return (str(one.n), str(one.waiting), hours_said(one.median_hours), interval)

    heads = (
        _("Side"),
        _("Queries"),
        _("Still waiting"),
        _("Half took up to"),
        _("95 % interval"),
    )
    lines = tuple(
        Line(said(report.setup, "side", one.side), cells(one)) for one in report.waiting
    )
    return Grid(_("How long each side took"), heads, lines)


def flow_grid(report: AuditReport) -> Grid:
    """Return the ways from verdict over option to outcome."""
    setup = report.setup
    other = _("All others, each taken by few")
    lines = tuple(
        Line(
            other if row.verdict == "other" else said(setup, "verdict", row.verdict),
            (
                "" if row.verdict == "other" else said(setup, "option", row.option),
                "" if row.verdict == "other" else said(setup, "outcome", row.outcome),
                count_said(row.count, row.hidden, setup),
            ),
        )
        for row in report.flow
    )
    heads = (
        _("Verdict at submission"),
        _("Option chosen"),
        _("Outcome"),
        _("Restorations"),
    )
    return Grid(_("From verdict over option to outcome"), heads, lines, words="middle")

"""A report of the audit as rectangles, one for each table: for CSV and for paper.

Columns have fixed names in the order given here; what is hidden stays hidden in every
figure that would tell it, and ``hidden`` says why: ``small`` (fewer than may be shown),
``secondary`` (could be worked out from what is shown), ``few`` (too few for a rate).
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from django.utils.translation import gettext

from cases.audit.report_types import (
    AuditReport,
    CauseRow,
    ControlPoint,
    DoseResponse,
    FunnelPoint,
    RateRow,
    Waiting,
)
from cases.documents.audit_csv import HIDDEN, Cell, Table
from cases.documents.audit_keys import with_codes
from cases.errors import NotFound

__all__ = ["NAMES", "table_of"]

_RATE: Final = ("key", "label", "n", "count", "rate", "low", "high", "hidden")
_TREND: Final = (
    "trend_z",
    "trend_p",
    "clusters",
    "clustered_z",
    "clustered_p",
    "odds_ratio_per_step",
    "within_p",
)


def _or_hidden(value: Cell, hidden: str) -> Cell:
    """Return the value; what is missing because it is hidden is said to be."""
    return HIDDEN if value is None and hidden else value


def _rate(row: RateRow) -> tuple[Cell, ...]:
    figures = (row.count, row.rate, row.low, row.high)
    said = (_or_hidden(figure, row.hidden) for figure in figures)
    return (row.key, row.label, row.n, *said, row.hidden)


def _headline(report: AuditReport) -> Table:
    rows = tuple(_rate(row) for row in report.headline)
    return Table("headline", _RATE, rows)


def _rates(report: AuditReport, dimension: str = "") -> Table:
    rows = tuple(
        (table.dimension, table.measure, part, *_rate(row))
        for table in report.rates.values()
        if dimension in {"", table.dimension}
        for part, row in (*(("row", one) for one in table.rows), ("total", table.total))
    )
    return Table("rates", ("dimension", "measure", "part", *_RATE), rows)


def _cause(row: CauseRow, *, internal: bool) -> tuple[Cell, ...]:
    before = HIDDEN if row.internal is None else row.internal
    said = [
        _or_hidden(row.count, row.hidden),
        *([before] if internal else ()),
        _or_hidden(row.share, row.hidden),
        _or_hidden(row.cumulative, row.hidden),
    ]
    return (row.key, row.label, *said, row.hidden)


def _causes(report: AuditReport) -> Table:
    # What was made again before dispatch is the laboratory's own matter.
    internal = report.setup.viewer == "laboratory"
    columns = (
        "key",
        "label",
        "remade",
        *(("remade_before_dispatch",) if internal else ()),
        "share",
        "cumulative_share",
        "hidden",
    )
    rows = tuple(_cause(row, internal=internal) for row in report.causes)
    return Table("causes", columns, rows)


def _attributions(report: AuditReport) -> Table:
    return Table(
        "attributions", _RATE, tuple(_rate(row) for row in report.attributions)
    )


def _detected(report: AuditReport) -> Table:
    return Table("detected", _RATE, tuple(_rate(row) for row in report.detected))


def _point(point: ControlPoint) -> tuple[Cell, ...]:
    figures = (point.count, point.rate, point.lower, point.upper)
    said = (_or_hidden(figure, point.hidden) for figure in figures)
    signal = _or_hidden(point.signal or None, point.hidden)
    return (
        point.label,
        point.first,
        point.last,
        point.n,
        *said,
        signal,
        point.complete,
        point.hidden,
    )


def _control(report: AuditReport) -> Table:
    chart = report.control
    columns = (
        "grouping",
        "centre",
        "sigma_z",
        "label",
        "first_day",
        "last_day",
        "n",
        "count",
        "rate",
        "lower_limit",
        "upper_limit",
        "signal",
        "complete",
        "hidden",
    )
    stated = (chart.grouping, chart.centre, chart.sigma_z)
    rows = tuple((*stated, *_point(point)) for point in chart.points)
    return Table("control-chart", columns, rows)


def _clinic(point: FunnelPoint) -> tuple[Cell, ...]:
    said = (_or_hidden(figure, point.hidden) for figure in (point.count, point.rate))
    place = _or_hidden(point.place or None, point.hidden)
    return (point.key, point.label, point.n, *said, place, point.hidden)


def _funnel(report: AuditReport) -> Table:
    found = report.funnel
    columns = ("target", "overdispersion", "key", "label", "n", "count", "rate")
    rows = tuple(
        (found.target, found.overdispersion, *_clinic(point))
        for point in (found.points if found else ())
        if found
    )
    return Table("funnel", (*columns, "place", "hidden"), rows)


def _funnel_lines(report: AuditReport) -> Table:
    columns = ("n", "low_998", "low_95", "high_95", "high_998")
    rows = tuple(
        (line.n, line.low_998, line.low_95, line.high_95, line.high_998)
        for line in (report.funnel.lines if report.funnel else ())
    )
    return Table("funnel-lines", columns, rows)


def _trend(found: DoseResponse) -> tuple[Cell, ...]:
    trend = found.trend
    if trend is None:
        return (None,) * len(_TREND)
    return (
        trend.z,
        trend.p,
        trend.clusters,
        trend.clustered_z,
        trend.clustered_p,
        trend.odds_ratio_per_step,
        trend.within_p,
    )


def _dose(report: AuditReport) -> Table:
    rows = tuple(
        (found.basis, found.measure, *_rate(row), *_trend(found))
        for found in report.dose
        for row in found.rows
    )
    return Table("dose-response", ("check", "measure", *_RATE, *_TREND), rows)


def _opposing(report: AuditReport) -> Table:
    found = report.opposing
    named = ("odds_ratio", "p", "clusters", "clustered_p", "within_p")
    columns = ("query_before", *_RATE, *named)
    tests = tuple(getattr(found, name) for name in named)
    rows = (
        (False, *_rate(found.without), *tests),
        (True, *_rate(found.with_query), *tests),
    )
    return Table("opposing", columns, rows)


def _bars(found: Waiting) -> Iterable[tuple[Cell, ...]]:
    figures = (found.median_hours, found.low_hours, found.high_hours)
    said = [_or_hidden(figure, found.hidden) for figure in figures]
    for bar in found.bars:
        # Only a number that may not be shown is missing from a bar.
        count = HIDDEN if bar.count is None else bar.count
        yield (
            found.side,
            found.n,
            found.waiting,
            *said,
            bar.from_hours,
            bar.to_hours,
            count,
            found.hidden,
        )


def _waiting(report: AuditReport) -> Table:
    columns = (
        "side",
        "n",
        "still_open",
        "median_hours",
        "median_low_hours",
        "median_high_hours",
        "from_hours",
        "to_hours",
        "count",
        "hidden",
    )
    rows = tuple(row for found in report.waiting for row in _bars(found))
    return Table("waiting", columns, rows)


def _options(report: AuditReport) -> Table:
    rows = tuple((report.queries_raised, *_rate(row)) for row in report.options)
    return Table("options", ("queries_raised", *_RATE), rows)


def _flow(report: AuditReport) -> Table:
    columns = ("verdict_at_submission", "option", "outcome", "count", "hidden")
    rows = tuple(
        (
            row.verdict,
            row.option,
            row.outcome,
            _or_hidden(row.count, row.hidden),
            row.hidden,
        )
        for row in report.flow
    )
    return Table("flow", columns, rows)


def _unmade(report: AuditReport) -> Table:
    columns = ("days", "at_risk", "share_remade", "low", "high", "hidden")
    found = report.time_to_remake
    rows: Sequence[tuple[Cell, ...]] = [
        (step.days, step.at_risk, step.share, step.low, step.high, "")
        for step in found.steps
    ]
    if found.hidden:
        rows = [(*(HIDDEN,) * 5, found.hidden)]
    return Table("time-to-remake", columns, tuple(rows))


def _findings(report: AuditReport) -> Table:
    columns = ("key", "finding", "certainty", "p")
    rows = tuple(
        (
            found.key,
            gettext(found.text).format(**found.params),
            gettext(found.certainty).format(**found.params),
            found.p,
        )
        for found in report.findings
    )
    return Table("findings", columns, rows)


def _alarms(report: AuditReport) -> Table:
    columns = ("key", "label", "value", "decision_value", "since", "remakes")
    rows = tuple(
        (
            alarm.key,
            alarm.label,
            alarm.value,
            alarm.decision,
            alarm.since,
            HIDDEN if alarm.remakes is None else alarm.remakes,
        )
        for alarm in report.alarms
    )
    return Table("alarms", columns, rows)


_TABLES: Final[Mapping[str, Callable[[AuditReport], Table]]] = {
    "headline": _headline,
    "findings": _findings,
    "rates": _rates,
    "causes": _causes,
    "attributions": _attributions,
    "detected": _detected,
    "control-chart": _control,
    "funnel": _funnel,
    "funnel-lines": _funnel_lines,
    "dose-response": _dose,
    "opposing": _opposing,
    "waiting": _waiting,
    "options": _options,
    "flow": _flow,
    "time-to-remake": _unmade,
    "alarms": _alarms,
}
NAMES: Final = tuple(_TABLES)


def table_of(report: AuditReport, name: str) -> Table:
    """Return a table by its name; "rates-material" holds the rates of one dimension.

    Raises:
        NotFound: there is no such table, or none of that dimension for this viewer.
    """
    coded = with_codes(report)
    if name in _TABLES:
        return _TABLES[name](coded)
    first, _dash, dimension = name.partition("-")
    found = {table.dimension for table in report.rates.values()}
    if first != "rates" or dimension not in found:
        raise NotFound
    return replace(_rates(coded, dimension), name=name)

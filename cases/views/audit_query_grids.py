"""The audit's tables about clearance: shortage, queries, options, waiting, ways."""

from django.utils.translation import gettext as _

from cases.audit.report_types import AuditReport, DoseResponse, Setup, Waiting
from cases.forms.audit_words import MEASURES, SIDES
from cases.views.audit_grids import share_grid
from cases.views.audit_tables import (
    Cell,
    Grid,
    Head,
    Line,
    Link,
    count_cell,
    grid,
    number_words,
    rate_cells,
    rate_heads,
)

__all__ = [
    "dose_grid",
    "flow_grid",
    "hours_words",
    "opposing_grid",
    "option_grid",
    "waiting_bars",
    "waiting_grid",
]


def dose_grid(dose: DoseResponse, setup: Setup, link: Link) -> Grid:
    """Return what became of restorations, by what was missing."""
    where = {
        "first": _("Clearance at submission"),
        "built": _("Clearance as built"),
    }.get(dose.basis, dose.basis)
    counted = str(MEASURES.get(dose.measure, dose.measure))
    lines = [
        Line(Cell(row.label), rate_cells(row, setup, link, "reported"))
        for row in dose.rows
    ]
    caption = _("{check}: {measure}").format(check=where, measure=counted.lower())
    heads = rate_heads(where, _("Reported"), _("Count"))
    return grid(caption, heads, lines, setup)


def opposing_grid(report: AuditReport, link: Link) -> Grid:
    """Return how often the opposing tooth was adjusted, without and with a query."""
    rows = (report.opposing.without, report.opposing.with_query)
    setup = report.setup
    lines = [
        Line(Cell(row.label), rate_cells(row, setup, link, "reported")) for row in rows
    ]
    heads = rate_heads(
        _("Before fabrication"), _("Reported"), _("Opposing tooth adjusted")
    )
    return grid(_("Opposing teeth adjusted at seating"), heads, lines, setup)


def option_grid(report: AuditReport, link: Link) -> Grid:
    """Return what came of the queries."""
    return share_grid(
        _("What came of the queries"),
        (_("Option chosen"), _("Queries")),
        report.options,
        report.setup,
        link,
    )


def hours_words(hours: float | None) -> str:
    """Return a time in the unit one would say it in."""
    if hours is None:
        return "–"
    if hours < 48:
        return _("{n} h").format(n=number_words(hours, 1 if hours < 10 else 0))
    return _("{n} days").format(n=number_words(hours / 24, 1))


def waiting_grid(report: AuditReport) -> Grid:
    """Return how long each side took."""
    heads = (
        Head(_("Side")),
        Head(_("Queries"), num=True),
        Head(_("Still waiting"), num=True),
        Head(_("Half took up to"), num=True),
        Head(_("95 % interval"), num=True),
    )
    lines = []
    for one in report.waiting:
        known = one.median_hours is not None
        interval = f"{hours_words(one.low_hours)} – {hours_words(one.high_hours)}"
        lines.append(
            Line(
                Cell(str(SIDES.get(one.side, one.side))),
                (
                    Cell(number_words(one.n), num=True),
                    Cell(number_words(one.waiting), num=True),
                    Cell(hours_words(one.median_hours), num=True),
                    Cell(interval if known else "–", num=True),
                ),
            )
        )
    return grid(_("How long each side took"), heads, lines, report.setup)


def waiting_bars(one: Waiting, setup: Setup) -> Grid:
    """Return how many waited how long, of one side."""
    lines = []
    for bar in one.bars:
        if bar.to_hours is None:
            span = _("over {low}").format(low=hours_words(bar.from_hours))
        else:
            span = _("{low} to {high}").format(
                low=hours_words(bar.from_hours), high=hours_words(bar.to_hours)
            )
        cell = count_cell(bar.count, one.hidden or "small", {}, setup, lambda _c: "")
        lines.append(Line(Cell(span), (cell,)))
    side = str(SIDES.get(one.side, one.side))
    heads = (Head(_("Time")), Head(_("Queries"), num=True))
    return grid(side, heads, lines, setup)


def flow_grid(report: AuditReport, link: Link) -> Grid:
    """Return the ways from verdict over option to outcome."""
    heads = (
        Head(_("Verdict at submission")),
        Head(_("Option chosen")),
        Head(_("Outcome")),
        Head(_("Restorations"), num=True),
    )
    setup, words = report.setup, report.setup.labels

    def said(kind: str, key: str) -> str:
        return words.get(kind, {}).get(key, key)

    lines = [
        Line(
            Cell(said("verdict", row.verdict)),
            (
                Cell(said("option", row.option)),
                Cell(said("outcome", row.outcome)),
                count_cell(row.count, row.hidden, row.cases, setup, link),
            ),
        )
        for row in report.flow
    ]
    return grid(_("From verdict to outcome"), heads, lines, setup)

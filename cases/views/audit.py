"""The audit's pages: what stands out first, then rates, then clinics compared."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.audit.control_chart import LEAST_POINTS
from cases.audit.funnel import LEAST_CLINICS, overdispersed
from cases.audit.report_types import AuditReport, Finding, RateRow
from cases.charts.control import control
from cases.charts.funnel import funnel
from cases.charts.pareto import pareto
from cases.enums import Side
from cases.errors import NotAllowed
from cases.forms.audit_words import GROUPINGS, MEASURES
from cases.views import audit_grids as grids
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_asked import Asked, ask
from cases.views.audit_page import figures_of, report_of, show
from cases.views.audit_pictures import picture
from cases.views.audit_tables import (
    Cell,
    Grid,
    Line,
    grid,
    number_words,
    percent,
    rate_cells,
    rate_heads,
)

__all__ = ["audit", "clinics", "rates"]


def _findings(asked: Asked, found: Sequence[Finding]) -> list[dict[str, str]]:
    def said(template: str, one: Finding) -> str:
        return _(template).format(**one.params).replace(" %", "\N{NO-BREAK SPACE}%")

    return [
        {
            "text": said(one.text, one),
            "certainty": said(one.certainty, one),
            "href": asked.cases(one.cases) if one.cases else "",
        }
        for one in found
    ]


def _tested(report: AuditReport) -> str:
    """Return what was looked for, whether or not it was found."""
    laboratory = report.setup.viewer == "laboratory"
    return _(
        "Asked: has the remake rate changed against the months before; {clinics}do "
        "short readings do harm; do queries spare the opposing tooth; does a material "
        "come back more often. All questions together have a chance of 5 % to find "
        "something where there is nothing (Holm). What is seen in the tables may be "
        "real and still too little to be sure of."
    ).format(
        clinics=_("does a clinic stand out, or do its remakes pile up; ")
        if laboratory
        else ""
    )


def _headline(asked: Asked, report: AuditReport) -> Grid:
    rows: Sequence[RateRow] = report.headline
    lines = [
        Line(
            Cell(row.label),
            rate_cells(row, report.setup, asked.cases, grids.whole_of(row.key)),
        )
        for row in rows
    ]
    heads = rate_heads(_("What happened"), _("Of"), _("Count"))
    return grid(_("In figures"), heads, lines, report.setup)


def _causes_note(report: AuditReport) -> str:
    """Return why no cause comes first; empty where one may be shown."""
    if not report.causes or any(row.count is not None for row in report.causes):
        return ""
    return _(
        "Which cause comes first cannot be told: each has too few remakes to show. "
        "Choose a longer period or fewer filters."
    )


def _early(report: AuditReport) -> str:
    """Return how many of the restorations may still come back; empty for none."""
    early = sum(point.n for point in report.control.points if not point.complete)
    if not early:
        return ""
    return _(
        "{n} of these restorations were dispatched too lately to judge: more of them "
        "may still be reported or come back."
    ).format(n=number_words(early))


def _control_note(report: AuditReport) -> str:
    chart = report.control
    if chart.centre is None:
        return _(
            "Limits need {least} complete periods whose count is shown. Hollow points "
            "may still change."
        ).format(least=LEAST_POINTS)
    return _(
        "Limits after Laney (p′, moving range): {centre} on average, σz {sigma}. "
        "Hollow points are too early to judge and count for nothing."
    ).format(centre=percent(chart.centre), sigma=number_words(chart.sigma_z or 1, 2))


def _longer(asked: Asked, report: AuditReport) -> dict[str, str]:
    """Return the next longer usual period, where one is needed for limits."""
    filters = asked.filters
    if filters is None or report.control.centre is not None:
        return {}
    for months in (24, 60):
        if len(filters.months) < months:
            index = filters.last.year * 12 + filters.last.month - months
            first = f"{index // 12}-{index % 12 + 1:02d}"
            words = _("Look at {months} months").format(months=months)
            return {"label": words, "href": asked.address(**{"from": first})}
    return {}


@require_safe
@acting_required
def audit(request: ActingRequest) -> HttpResponse:
    """Show what to act on, the headline, the course over time, and the causes."""
    asked = ask(request, "overview")
    if asked.filters is None:
        return show(asked, request, "")
    report = report_of(asked)
    setup = report.setup
    found = figures_of(asked, report)
    if report.n:
        found |= {
            "findings": _findings(asked, report.findings),
            "tested": _tested(report),
            "headline": _headline(asked, report),
            "early": _early(report),
            "causes_note": _causes_note(report),
            "control": grids.control_grid(report, asked.cases),
            "control_note": _control_note(report),
            "longer": _longer(asked, report),
            "control_picture": picture(control, report.control, setup, "control"),
            "grouping": GROUPINGS.get(report.control.grouping, ""),
            "causes": grids.cause_grid(report.causes, setup, asked.cases),
            "attributions": grids.share_grid(
                _("Remakes by whom they go back to"),
                (_("Goes back to"), _("Remade")),
                report.attributions,
                setup,
                asked.cases,
            ),
            "detected": grids.share_grid(
                _("Remakes by where they were noticed"),
                (_("Noticed"), _("Remade")),
                report.detected,
                setup,
                asked.cases,
            ),
            "cause_picture": picture(pareto, report.causes, setup, "pareto"),
            "remake_time": grids.remake_time_grid(report),
        }
    return show(asked, request, "audit/overview.html", **found)


@require_safe
@acting_required
def rates(request: ActingRequest) -> HttpResponse:
    """Show the rates of one measure by every dimension the viewer has."""
    asked = ask(request, "rates", more=("measure",))
    if asked.filters is None:
        return show(asked, request, "")
    report = report_of(asked)
    tables = list(report.rates.values())
    known = list(dict.fromkeys(table.measure for table in tables)) or ["remade"]
    chosen = asked.more.get("measure", "")
    chosen = chosen if chosen in known else known[0]
    measures = [
        {
            "label": MEASURES.get(one, one),
            "href": asked.address(measure=one if one != known[0] else ""),
            "current": one == chosen,
        }
        for one in known
    ]
    return show(
        asked,
        request,
        "audit/rates.html",
        **figures_of(asked, report),
        measures=measures,
        measure_words=MEASURES.get(chosen, chosen),
        grids=[
            grids.rate_grid(table, report.setup, asked.cases)
            for table in tables
            if table.measure == chosen and table.rows
        ],
    )


def _funnel_note(report: AuditReport) -> str:
    chart = report.funnel
    if chart is None or chart.target is None:
        return _("There are too few remakes or clinics for limits.")
    said = _(
        "Limits at 95 % and 99.8 % around the common rate of {rate}, interpolated exact "
        "binomial (Spiegelhalter 2005)."
    ).format(rate=percent(chart.target))
    said += " " + _(
        "The common rate counts every clinic, also the one compared with it."
    )
    shown = sum(point.rate is not None for point in chart.points)
    if chart.overdispersion is None:
        said += " " + _(
            "Clinics usually differ by more than chance; by how much cannot be said of "
            "fewer than {least}, so a clinic outside is one to look at, no more."
        ).format(least=LEAST_CLINICS)
    elif overdispersed(chart.overdispersion, shown):
        said += " " + _(
            "Clinics vary more than chance alone would have them (φ {phi}), so these "
            "limits are too narrow: more clinics than usual lie outside."
        ).format(phi=number_words(chart.overdispersion, 2))
    return said


@require_safe
@acting_required
def clinics(request: ActingRequest) -> HttpResponse:
    """Show the laboratory its clinics against the common rate, and alarms."""
    if request.actor.side != Side.LABORATORY:
        raise NotAllowed("Clinics are compared by the laboratory alone.")
    asked = ask(request, "clinics")
    if asked.filters is None:
        return show(asked, request, "")
    report = report_of(asked)
    found = figures_of(asked, report)
    if report.n:
        found |= {
            "alarms": grids.alarm_grid(report, asked.cases),
            "funnel": grids.funnel_grid(report, asked.cases),
            "funnel_picture": picture(funnel, report.funnel, report.setup, "funnel")
            if report.funnel
            else "",
            "funnel_note": _funnel_note(report),
        }
    return show(asked, request, "audit/clinics.html", **found)

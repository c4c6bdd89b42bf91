"""The audit's pages about clearance: what was missing, what was asked, what it led to."""

from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.audit.report_types import AuditReport, DoseResponse, Trend
from cases.charts.dose import dose
from cases.charts.flow import flow
from cases.charts.waiting import waiting
from cases.forms.audit_words import MEASURES
from cases.views import audit_query_grids as grids
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_asked import Asked, ask
from cases.views.audit_page import figures_of, report_of, show
from cases.views.audit_pictures import picture
from cases.views.audit_tables import number_words, p_words

__all__ = ["clearance", "queries"]


def _dose(asked: Asked, report: AuditReport, one: DoseResponse) -> dict[str, Any]:
    if one.trend is None:
        trend = _(
            "No trend is tested: too few restorations or classes, or a class not shown."
        )
        clustered = ""
    else:
        trend = _("Trend over the classes (Cochran–Armitage): z {z}, {p}.").format(
            z=number_words(one.trend.z, 2), p=p_words(one.trend.p)
        )
        clustered = _clustered(one, report.setup.viewer)
    return {
        "title": MEASURES.get(one.measure, one.measure),
        "trend": trend,
        "clustered": clustered,
        "grid": grids.dose_grid(one, report.setup, asked.cases),
        "picture": picture(dose, one, report.setup, f"dose-{one.basis}-{one.measure}"),
    }


def _checks(asked: Asked, report: AuditReport) -> list[dict[str, Any]]:
    """Return each check's dose-response, measure by measure."""
    words = {
        "first": (
            _("Clearance at submission and outcome"),
            _(
                "What the first check found missing at the worst required site, "
                "whatever was done about it afterwards."
            ),
        ),
        "built": (
            _("Clearance as built and outcome"),
            _("What was missing by the check the work order rests on."),
        ),
    }
    return [
        {
            "title": title,
            "about": about,
            "doses": [
                _dose(asked, report, one)
                for one in report.dose
                if one.basis == basis and one.rows
            ],
        }
        for basis, (title, about) in words.items()
    ]


def _few(trend: Trend) -> str:
    if trend.within_p is None:
        return _(
            "With {n} clinicians that cannot be allowed for: read it as a hint only."
        ).format(n=trend.clusters)
    return _(
        "Within each of {n} clinicians (Mantel): {p}; that speaks of these alone."
    ).format(n=trend.clusters, p=p_words(trend.within_p))


def _clustered(one: DoseResponse, viewer: str) -> str:
    trend = one.trend
    assert trend is not None  # noqa: S101 -- only called with one
    if viewer == "clinician":
        return ""
    caution = _(
        "Restorations of one clinician are alike, so the test above says too much."
    )
    if trend.clustered_p is None:
        return caution + " " + _few(trend)
    odds = trend.odds_ratio_per_step
    return (
        caution
        + " "
        + _("Allowing for it ({n} clinicians): {p}, odds ratio {odds} a class.").format(
            n=trend.clusters,
            p=p_words(trend.clustered_p),
            odds="–" if odds is None else number_words(odds, 2),
        )
    )


def _opposing_test(report: AuditReport) -> str:
    one = report.opposing
    if one.p is None:
        return _("There are too few restorations on one side to test a difference.")
    said = _("Fisher's exact test: {p}, odds ratio {odds}.").format(
        p=p_words(one.p),
        odds="–" if one.odds_ratio is None else number_words(one.odds_ratio, 2),
    )
    if one.clustered_p is not None:
        said += " " + _("With clinicians as clusters ({n}): {p}.").format(
            n=one.clusters, p=p_words(one.clustered_p)
        )
    elif one.within_p is not None and one.clusters > 1:
        said += " " + _("Within each of {n} clinicians (Mantel): {p}.").format(
            n=one.clusters, p=p_words(one.within_p)
        )
    return (
        said
        + " "
        + _(
            "Queries are raised where room is short, so the two groups differ from the "
            "start: the difference is not by itself what asking does."
        )
    )


@require_safe
@acting_required
def clearance(request: ActingRequest) -> HttpResponse:
    """Show what missing clearance led to, and whether asking first pays."""
    asked = ask(request, "clearance")
    if asked.filters is None:
        return show(asked, request, "")
    report = report_of(asked)
    found = figures_of(asked, report)
    if report.n:
        found |= {
            "opposing": grids.opposing_grid(report, asked.cases),
            "opposing_test": _opposing_test(report),
            "checks": _checks(asked, report),
            "flow": grids.flow_grid(report, asked.cases),
            "flow_picture": picture(flow, report.flow, report.setup, "flow"),
        }
    return show(asked, request, "audit/clearance.html", **found)


@require_safe
@acting_required
def queries(request: ActingRequest) -> HttpResponse:
    """Show how many queries there were, what came of them, and who waited how long."""
    asked = ask(request, "queries")
    if asked.filters is None:
        return show(asked, request, "")
    report = report_of(asked)
    setup = report.setup
    found = figures_of(asked, report)
    if report.queries_raised:
        found |= {
            "options": grids.option_grid(report, asked.cases),
            "waiting": grids.waiting_grid(report),
            "waiting_picture": picture(waiting, report.waiting, setup, "waiting"),
            "bars": [grids.waiting_bars(one, setup) for one in report.waiting],
        }
    return show(asked, request, "audit/queries.html", **found)

"""The pictures of the audit on paper: the same drawings as on the page, wide."""

from django.utils.safestring import SafeString, mark_safe

from cases.audit.report_types import AuditReport
from cases.charts.control import control
from cases.charts.dose import dose
from cases.charts.flow import flow
from cases.charts.funnel import funnel
from cases.charts.pareto import pareto
from cases.charts.waiting import waiting
from cases.charts.words import Words

__all__ = ["audit_pictures"]


def audit_pictures(
    report: AuditReport, *, trend: AuditReport, words: Words
) -> dict[str, SafeString]:
    """Return name -> SVG; a picture without anything to show is empty."""
    small = report.setup.small_number
    drawn = {
        "control": control(trend.control, words=words, uid="control"),
        "pareto": pareto(report.causes, words=words, uid="pareto", small_number=small),
        "waiting": waiting(report.waiting, words=words, uid="waiting"),
        "flow": flow(report.flow, words=words, uid="flow"),
    }
    if report.funnel is not None:
        drawn["funnel"] = funnel(report.funnel, words=words, uid="funnel")
    for one in report.dose:
        name = f"dose-{one.basis}"
        if one.rows and name not in drawn:
            drawn[name] = dose(one, words=words, uid=name)
    return {
        name: mark_safe(svg)  # noqa: S308 -- every text in a drawing is escaped
        for name, svg in drawn.items()
    }

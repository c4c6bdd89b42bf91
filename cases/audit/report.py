"""The whole audit of one viewer, period and filter, made of the figures."""

from dataclasses import replace

from cases.audit.alarms import alarms
from cases.audit.causes import cause_rows, remake_rows
from cases.audit.clinics import clinic_funnel
from cases.audit.figures import Figures
from cases.audit.findings import findings_of
from cases.audit.over_time import control_chart, kept_unmade
from cases.audit.queries import option_rows, waiting_times
from cases.audit.report_types import AuditReport, RateRow, Setup
from cases.audit.seating import opposing
from cases.audit.shortage import dose_responses
from cases.audit.tables import headline_rows, rate_tables
from cases.audit.ways import OTHER, flow_rows

__all__ = ["build"]


def build(
    figures: Figures,
    setup: Setup,
    *,
    before: Figures | None = None,
    charted_by: str = "",
) -> AuditReport:
    """Return the report: what may be shown, tested and linked to its cases.

    ``before``: the figures of as many months right before, with the same filters; only
    the findings use them. ``charted_by``: as ``control_chart``. ``rates`` has the key "material" for remakes by material and
    "material:opposing_adjusted" for another measure. Clinics, technicians and work made
    again before dispatch are in a laboratory's report only. What is guarded against
    being worked out, and what is not, stands in cases.audit.protection.
    """
    rates = rate_tables(figures, setup)
    laboratory = setup.viewer == "laboratory"
    clinics = rates.get("clinic")
    dose, seating = dose_responses(figures, setup), opposing(figures, setup)
    report = AuditReport(
        setup=setup,
        n=figures.total.dispatched,
        reported=figures.total.reported,
        headline=headline_rows(figures, setup),
        findings=(),
        rates=rates,
        causes=cause_rows(figures, setup),
        control=control_chart(figures, setup, charted_by),
        funnel=clinic_funnel(clinics) if laboratory and clinics else None,
        dose=dose,
        opposing=seating,
        queries_raised=sum(month.queries.raised for month in figures.months),
        options=option_rows(figures, setup),
        waiting=waiting_times(figures, setup),
        flow=flow_rows(figures, setup, dose, seating),
        time_to_remake=kept_unmade(figures, setup),
        alarms=alarms(figures, setup, clinics) if laboratory and clinics else (),
        suppressed=False,
        attributions=remake_rows(figures, setup, "attribution"),
        detected=remake_rows(figures, setup, "detected"),
    )
    return replace(
        report,
        findings=findings_of(report, figures, before),
        suppressed=_suppressed(report),
    )


def _suppressed(report: AuditReport) -> bool:
    """Say whether a count is hidden anywhere."""
    rows: list[RateRow] = [
        *report.headline,
        *(row for table in report.rates.values() for row in (*table.rows, table.total)),
        *(row for dose in report.dose for row in dose.rows),
        report.opposing.without,
        report.opposing.with_query,
        *report.options,
    ]
    counts = [
        *(row.count for row in rows),
        *(cause.count for cause in report.causes),
        *(point.count for point in report.control.points),
        *(bar.count for side in report.waiting for bar in side.bars),
        *(way.count for way in report.flow if way.verdict != OTHER),
    ]
    listed = any(way.verdict == OTHER for way in report.flow)
    return listed or None in counts or bool(report.time_to_remake.hidden)

"""Keys as the outside knows them: a clinic by its code, never by its row's number."""

from dataclasses import replace

from cases.audit.report_types import AuditReport, RateRow

__all__ = ["with_codes"]


def with_codes(report: AuditReport) -> AuditReport:
    """Return the report with codes for the numbers of clinics.

    What the labels do not know keeps no number: its key is empty. Other keys are words
    of ours, or the numbers of people that filters take.
    """
    codes = report.setup.labels.get("clinic_code", {})

    def row(one: RateRow) -> RateRow:
        return replace(one, key=codes.get(one.key, ""))

    rates = {
        name: replace(table, rows=tuple(map(row, table.rows)))
        if table.dimension == "clinic"
        else table
        for name, table in report.rates.items()
    }
    funnel = report.funnel and replace(
        report.funnel,
        points=tuple(
            replace(point, key=codes.get(point.key, ""))
            for point in report.funnel.points
        ),
    )
    alarms = tuple(
        replace(alarm, key=codes.get(alarm.key, "")) for alarm in report.alarms
    )
    return replace(report, rates=rates, funnel=funnel, alarms=alarms)

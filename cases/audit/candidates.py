"""The questions a report asks of its figures, each with a test.

A question is asked whether or not its counts may be shown; where they may not, it is
counted with p = 1, so that what is hidden neither makes a finding nor, by the
correction for several questions, an easier one.

Restorations of one clinician are alike, and a test that takes them for independent
finds too much. Where figures are kept by clinician the p is the larger of the exact
test's and that with clinicians as clusters; where they are not, it is widened by how
much clinicians differ (``_dispersion``). A clinician's own page has one clinician.

Not asked: whether one cause dominates (that causes should be equally frequent is no
hypothesis anybody holds), and whether waiting times changed (the queries of one
clinician are alike, and the figures do not say whose they were).
"""

from cases.audit.association import clustered_difference, fisher
from cases.audit.candidate import Candidate, apart, interval, pair
from cases.audit.figures import Figures
from cases.audit.funnel import overdispersion
from cases.audit.over_time import complete_figures, is_complete
from cases.audit.protection import Cell, is_told, state_of, threshold_of
from cases.audit.rate_candidates import (
    alarm_questions,
    clinic_questions,
    material_questions,
)
from cases.audit.report_types import AuditReport, Setup
from cases.audit.sentences import (
    DOSE,
    OPPOSING_HIGHER,
    OPPOSING_LOWER,
    PERIOD,
    TESTS,
    percent,
)

__all__ = ["candidates"]


def candidates(
    report: AuditReport, figures: Figures, before: Figures | None
) -> list[Candidate]:
    """Return every question asked, in the order they are said when equally sure."""
    phi = _dispersion(figures, report.setup)
    found = [_dose(report), _opposing(report)]
    if before is not None:
        found.append(_period(report, figures, before))
    found += clinic_questions(report, phi)
    found += alarm_questions(report, figures, phi)
    found += material_questions(report, phi)
    return found


def _dispersion(figures: Figures, setup: Setup) -> float:
    """Return how much clinicians' rates vary beyond chance; 1 is not at all."""
    whole = figures.total
    if setup.viewer == "clinician" or not whole.dispatched:
        return 1.0
    points = [
        (tally.remade, tally.dispatched) for tally in figures.by("clinician").values()
    ]
    phi = overdispersion(points, whole.remade / whole.dispatched)
    return max(1.0, phi or 1.0)


def _dose(report: AuditReport) -> Candidate:
    """Ask whether outcomes get worse with what was missing at submission."""
    found = next(
        one for one in report.dose if (one.basis, one.measure) == ("first", "adverse")
    )
    trend = found.trend
    if trend is None:
        return Candidate("dose")
    p = trend.p
    if report.setup.viewer != "clinician":
        p = max(p, trend.clustered_p) if trend.clustered_p is not None else 1.0
    rows = {row.key: row for row in found.rows}
    short = next(
        (
            rows[key]
            for key in ("over_050", "up_to_050", "up_to_025")
            if key in rows and rows[key].rate is not None
        ),
        None,
    )
    base = rows.get("sufficient")
    if short is None or base is None or base.rate is None or trend.z <= 0:
        return Candidate("dose", p)
    return Candidate(
        "dose",
        p,
        DOSE[short.key],
        TESTS["dose"] if report.setup.viewer != "clinician" else TESTS["dose_own"],
        {**pair(short, base), "clusters": trend.clusters},
        short.cases,
    )


def _opposing(report: AuditReport) -> Candidate:
    """Ask whether opposing teeth are adjusted as often after a query as without."""
    found = report.opposing
    some, none = found.with_query, found.without
    if found.p is None or some.rate is None or none.rate is None:
        return Candidate("opposing")
    p = found.p
    own = report.setup.viewer == "clinician"
    if not own:
        p = max(p, found.clustered_p) if found.clustered_p is not None else 1.0
    if not apart(some.rate, none.rate):
        return Candidate("opposing", p)
    return Candidate(
        "opposing",
        p,
        OPPOSING_LOWER if some.rate < none.rate else OPPOSING_HIGHER,
        TESTS["difference_own"] if own else TESTS["difference"],
        {**pair(some, none), "clusters": found.clusters},
        some.cases,
    )


def _period(report: AuditReport, figures: Figures, before: Figures) -> Candidate:
    """Ask whether complete months have another rate than the months before."""
    setup = report.setup
    now, then = complete_figures(figures, setup), complete_figures(before, setup)
    a, n = now.total.remade, now.total.dispatched
    b, m = then.total.remade, then.total.dispatched
    if not _may_say(report, figures, now) or _hidden(setup, then):
        return Candidate("period")
    exact = fisher(a, n - a, b, m - b)
    if exact is None or min(n, m) < setup.least_cases:
        return Candidate("period")
    p = exact.p
    if setup.viewer != "clinician":
        clustered = clustered_difference(
            [
                (who, later, tally.remade, tally.dispatched)
                for later, some in ((True, now), (False, then))
                for who, tally in some.by("clinician").items()
            ]
        )
        p = max(p, clustered.p) if clustered else p
    if not apart(a / n, b / m):
        return Candidate("period", p)
    months = [one.month for one in now.months]
    return Candidate(
        "period",
        p,
        PERIOD,
        TESTS["period"],
        {
            "count": a, "n": n, "rate": percent(a / n),
            "other_count": b, "other_n": m, "other_rate": percent(b / m),
            **interval(a, n, b, m),
        },
        {
            "from": f"{months[0]:%Y-%m}", "to": f"{months[-1]:%Y-%m}",
            "outcome": "remade",
        },
    )  # fmt: skip


def _hidden(setup: Setup, figures: Figures) -> bool:
    whole = figures.total
    cell = Cell(whole.remade, whole.reported)
    return bool(state_of(cell, threshold_of(setup.small_number)))


def _may_say(report: AuditReport, figures: Figures, complete: Figures) -> bool:
    """Say whether the remakes of complete months may be told beside those of all.

    Their difference is what the incomplete months had: it must not tell a hidden one.
    """
    setup = report.setup
    if _hidden(setup, figures) or _hidden(setup, complete):
        return False
    if any(point.hidden for point in report.control.points if not point.complete):
        if report.control.grouping != "month":
            return False
        totals = [
            one.total for one in figures.months if not is_complete(setup, one.month)
        ]
        cells = [Cell(total.remade, total.dispatched) for total in totals]
        points = [point for point in report.control.points if not point.complete]
        states = [point.hidden for point in points]
        return not is_told(cells, states, threshold_of(setup.small_number))
    return True

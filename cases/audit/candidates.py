"""The questions a report asks of its figures, each with a test.

A question is asked whether or not its counts may be shown; where they may not, it is
counted with p = 1, so that what is hidden neither makes a finding nor, by the
correction for several questions, an easier one.

Restorations of one clinician are alike, and a test that takes them for independent
finds too much. Where figures are kept by clinician the p is the larger of the exact
test's and that with clinicians as clusters (with too few, that within each of them);
where they are not, it is widened by how
much clinicians differ (``_dispersion``). A clinician's own page has one clinician.

Not asked: whether one cause dominates (that causes should be equally frequent is no
hypothesis anybody holds), and whether waiting times changed (the queries of one
clinician are alike, and the figures do not say whose they were).
"""

from collections.abc import Mapping

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
    DOSE_BUILT,
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
    # Of what was built and what was submitted the first is said: it is what was done.
    found = [
        _dose(report, "built", DOSE_BUILT),
        _dose(report, "first", DOSE),
        _opposing(report),
    ]
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


def _dose(report: AuditReport, basis: str, words: Mapping[str, str]) -> Candidate:
    """Ask whether outcomes get worse with what was missing at a check."""
    key = "dose" if basis == "first" else f"dose_{basis}"
    found = next(
        one for one in report.dose if (one.basis, one.measure) == (basis, "adverse")
    )
    trend = found.trend
    if trend is None:
        return Candidate(key, about="dose")
    p, test = _careful(report, trend.p, trend.clustered_p, trend.within_p)
    rows = {row.key: row for row in found.rows}
    # The class most was missing in, of those with a rate.
    short = [row for row in found.rows if row.key in words and row.rate is not None]
    base = rows.get("sufficient")
    if not short or base is None or base.rate is None or trend.z <= 0:
        return Candidate(key, p, about="dose")
    return Candidate(
        key,
        p,
        words[short[-1].key],
        TESTS[f"dose{test}"],
        {**pair(short[-1], base), "clusters": trend.clusters},
        short[-1].cases,
        about="dose",
    )


def _careful(
    report: AuditReport, p: float, clustered: float | None, within: float | None
) -> tuple[float, str]:
    """Return the p that allows for clinicians, and which of ``TESTS`` it is.

    Where it cannot be said how much clinicians differ, there being too few, each one's
    restorations are compared with one another: of these clinicians that holds.
    """
    if report.setup.viewer == "clinician":
        return p, "_own"
    if clustered is not None:
        return max(p, clustered), ""
    return (max(p, within) if within is not None else 1.0), "_within"


def _opposing(report: AuditReport) -> Candidate:
    """Ask whether opposing teeth are adjusted as often after a query as without."""
    found = report.opposing
    some, none = found.with_query, found.without
    if found.p is None or some.rate is None or none.rate is None:
        return Candidate("opposing")
    p, test = _careful(report, found.p, found.clustered_p, found.within_p)
    if not apart(some.rate, none.rate):
        return Candidate("opposing", p)
    return Candidate(
        "opposing",
        p,
        OPPOSING_LOWER if some.rate < none.rate else OPPOSING_HIGHER,
        TESTS[f"difference{test}"],
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

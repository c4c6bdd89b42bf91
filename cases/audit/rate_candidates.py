"""Questions about the remakes of single clinics and materials."""

from collections.abc import Sequence
from math import inf, sqrt
from typing import Final

from scipy.stats import binom, norm, t

from cases.audit.alarms import accumulations
from cases.audit.association import fisher
from cases.audit.candidate import Candidate, apart, interval
from cases.audit.figures import Figures
from cases.audit.protection import threshold_of
from cases.audit.report_types import (
    Alarm,
    AuditReport,
    Funnel,
    FunnelPoint,
    RateRow,
    Setup,
)
from cases.audit.sentences import ALARM, CLINIC, MATERIAL, TESTS, percent

__all__ = ["alarm_questions", "clinic_questions", "material_questions"]

# From fewer other clinics nobody can say how much clinics differ.
_LEAST_OTHERS: Final = 4
# Smaller ones are lost in rounding.
_LEAST_CHANCE: Final = 1e-12


def clinic_questions(report: AuditReport, phi: float) -> list[Candidate]:
    """Ask of each clinic whether its rate is above the laboratory's own.

    The p is the larger of the exact binomial test against that rate, and of the clinic
    against the others by how much these differ among themselves.
    """
    found = report.funnel
    if found is None:
        return []
    asked = []
    for point in found.points:
        if point.n < report.setup.least_cases:
            continue
        if point.count is None or not found.target or found.target >= 1:
            asked.append(Candidate("clinic"))
            continue
        p = float(binom.sf(point.count - 1, point.n, found.target))
        asked.append(
            Candidate(
                "clinic",
                max(p, _against_others(point, found, phi)),
                CLINIC if point.place == "above_998" else "",
                TESTS["clinic"],
                {
                    "clinic": point.label, "count": point.count, "n": point.n,
                    "rate": percent(point.rate or 0), "target": percent(found.target),
                },
                point.cases,
                about=point.key,
            )
        )  # fmt: skip
    return asked


def _others(key: str, found: Funnel) -> list[tuple[int, int]]:
    return [
        (one.count, one.n)
        for one in found.points
        if one.key != key and one.count is not None and one.n
    ]


def _spread(points: Sequence[tuple[int, int]], least: float) -> tuple[float, float]:
    """Return how much rates vary beyond chance, at least 1, and on how many it rests.

    The mean square of standardised points (one of them lost to their common rate). Of
    fewer than ``_LEAST_OTHERS`` it is not known, and ``least`` stands for it.
    """
    count, n = (sum(one[place] for one in points) for place in (0, 1))
    if len(points) < _LEAST_OTHERS or not 0 < count < n:
        return max(1.0, least), inf
    rate = count / n
    squares = sum((c - m * rate) ** 2 / (m * rate * (1 - rate)) for c, m in points)
    return max(1.0, squares / (len(points) - 1)), len(points) - 1


def _against_others(point: FunnelPoint, found: Funnel, phi: float) -> float:
    """Return the one-sided p of a clinic against the others whose count is shown."""
    others = _others(point.key, found)
    count, n = (sum(one[place] for one in others) for place in (0, 1))
    if point.count is None or not n or not 0 < count + point.count < n + point.n:
        return 1.0
    spread, freedom = _spread(others, phi)
    common = (count + point.count) / (n + point.n)
    error = sqrt(common * (1 - common) * (1 / point.n + 1 / n) * spread)
    z = (point.count / point.n - count / n) / error
    return _upper(z, freedom)


def alarm_questions(
    report: AuditReport, figures: Figures, phi: float
) -> list[Candidate]:
    """Ask of each clinic whether its remakes pile up.

    The chance that its path climbs so high is taken as a normal deviate, and that is
    judged as the clinic's rate is: by how much the others differ among themselves.
    """
    table, found = report.rates.get("clinic"), report.funnel
    if table is None or found is None:
        return []
    chances = accumulations(figures, report.setup, table)
    shown = {alarm.key: alarm for alarm in report.alarms}
    asked = []
    for row in table.rows:
        if row.n >= report.setup.least_cases:
            spread, freedom = _spread(_others(row.key, found), phi)
            z = float(norm.isf(max(chances.get(row.key, 1.0), _LEAST_CHANCE)))
            p = _upper(z / sqrt(spread), freedom)
            asked.append(_alarm(p, row.key, shown.get(row.key)))
    return asked


def _upper(z: float, freedom: float) -> float:
    return float(norm.sf(z) if freedom == inf else t.sf(z, freedom))


def _alarm(p: float, key: str, alarm: Alarm | None) -> Candidate:
    if alarm is None or alarm.remakes is None:
        return Candidate("alarm", p, about=key)
    said = {"clinic": alarm.label, "remakes": alarm.remakes, "since": alarm.since}
    return Candidate("alarm", p, ALARM, TESTS["alarm"], said, alarm.cases, key)


def material_questions(report: AuditReport, phi: float) -> list[Candidate]:
    """Ask of each material whether it is remade as often as all the others."""
    table = report.rates["material"]
    whole = table.total
    rows = [row for row in table.rows if row.n >= report.setup.least_cases]
    # Of two each is the other's rest: one question.
    rows = rows[:1] if len(table.rows) == 2 else rows
    if len(table.rows) < 2:
        return []
    return [_material(report.setup, row, whole, phi) for row in rows]


def _material(setup: Setup, row: RateRow, whole: RateRow, phi: float) -> Candidate:
    if row.count is None or whole.count is None:
        return Candidate("material")
    rest, n = whole.count - row.count, whole.n - row.n
    if 0 < rest < threshold_of(setup.small_number) or not whole.count or not n:
        return Candidate("material")
    exact = fisher(row.count, row.n - row.count, rest, n - rest)
    if exact is None or row.rate is None:
        return Candidate("material")
    common = whole.count / whole.n
    error = sqrt(common * (1 - common) * (1 / row.n + 1 / n) * phi)
    p = max(exact.p, float(2 * norm.sf(abs(row.rate - rest / n) / error)))
    if not apart(row.rate, rest / n):
        return Candidate("material", p)
    return Candidate(
        "material",
        p,
        MATERIAL,
        TESTS["material"],
        {
            "material": row.label, "count": row.count, "n": row.n,
            "rate": percent(row.rate), "other_count": rest, "other_n": n,
            "other_rate": percent(rest / n), **interval(row.count, row.n, rest, n),
        },
        row.cases,
    )  # fmt: skip

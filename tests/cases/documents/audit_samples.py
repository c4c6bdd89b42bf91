"""A report of the audit made by hand: every kind of row, shown and hidden."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from cases.audit.report_types import (
    Alarm,
    Annotation,
    AuditReport,
    CauseRow,
    ControlChart,
    ControlPoint,
    DoseResponse,
    Finding,
    FlowRow,
    Funnel,
    FunnelLine,
    FunnelPoint,
    KeptUnmade,
    Opposing,
    RateRow,
    RateTable,
    Setup,
    SurvivalStep,
    Trend,
    Waiting,
    WaitingBar,
)

__all__ = ["AS_OF", "SETUP", "rate", "report"]

AS_OF = datetime(2026, 10, 31, 6, 30, tzinfo=UTC)
SETUP = Setup(
    viewer="laboratory",
    first=date(2026, 7, 1),
    last=date(2026, 9, 1),
    as_of=AS_OF,
    compare_people=True,
)


def rate(
    key: str, n: int, count: int | None, *, label: str = "", hidden: str = ""
) -> RateRow:
    """Return a row; what it hides is gone from every figure."""
    words = label or key.replace("_", " ").capitalize()
    if count is None or hidden == "few":
        return RateRow(key, words, n, count, None, None, None, hidden or "small")
    share = count / n if n else None
    low = None if share is None else max(0.0, share - 0.02)
    high = None if share is None else min(1.0, share + 0.03)
    return RateRow(key, words, n, count, share, low, high, hidden, {"material": key})


def _control() -> ControlChart:
    def point(month: int, n: int, count: int | None, **more: Any) -> ControlPoint:
        first = date(2026, month, 1)
        share = None if count is None else count / n
        hidden = "small" if count is None else ""
        return ControlPoint(
            f"{first:%Y-%m}", first, first, n, count, share, 0.0, 0.11, hidden=hidden,
            **more,
        )  # fmt: skip

    return ControlChart(
        "month",
        (
            point(7, 210, 11),
            point(8, 190, 27, signal="above"),
            point(9, 205, None, complete=False),
        ),
        0.052,
        1.13,
        (Annotation(date(2026, 8, 12), "Rule set 3 published", "rule_set"),),
    )


def _funnel() -> Funnel:
    lines = tuple(
        FunnelLine(n, max(0.0, 0.05 - 3 / n), max(0.0, 0.05 - 2 / n), 0.05 + 2 / n, 0.05 + 3 / n)
        for n in (20, 60, 120, 240, 480)
    )  # fmt: skip
    return Funnel(
        0.05,
        (
            FunnelPoint("1", "Clinic North", 300, 14, 14 / 300, "inside"),
            FunnelPoint("2", "Clinic South", 205, 24, 24 / 205, "above_998"),
            FunnelPoint("3", "Clinic West", 100, None, None, "", "small"),
        ),
        lines,
        1.2,
    )


def _dose(basis: str, measure: str = "adverse") -> DoseResponse:
    rows = (
        rate("sufficient", 320, 9),
        rate("undecided", 120, 6),
        rate("up_to_025", 90, 7),
        rate("up_to_050", 50, 8),
        rate("over_050", 25, None),
    )
    return DoseResponse(basis, measure, rows, Trend(4.1, 0.00004, 9, 2.6, 0.031, 1.7))


def report(**changes: Any) -> AuditReport:
    """Return the sample, with other parts where they are given."""
    made = AuditReport(
        setup=SETUP,
        n=605,
        reported=540,
        headline=(
            rate("remade", 605, 31, label="Made again after dispatch"),
            rate("opposing_adjusted", 540, 22, label="Opposing tooth adjusted"),
        ),
        findings=(
            Finding(
                "clinic",
                "{clinic}: {rate} of {n} restorations were made again.",
                "Exact binomial, p = {p}.",
                {"clinic": "Clinic South", "rate": "11.7 %", "n": 205, "p": "0.0004"},
                0.0004,
                {"clinic": "K7Q4MZ2R9T"},
            ),
        ),
        rates={
            "material": RateTable(
                "material",
                "remade",
                (
                    rate("zirconia_3y", 400, 20),
                    rate("metal_ceramic", 150, 11),
                    rate("full_metal", 55, 0),
                ),
                rate("all", 605, 31),
            ),
            "kind": RateTable(
                "kind",
                "remade",
                (rate("crown", 500, 28), rate("bridge", 105, None)),
                rate("all", 605, None, hidden="secondary"),
            ),
        },
        causes=(
            CauseRow(
                "insufficient_reduction", "Insufficient reduction", 14, 6, 14 / 31,
                14 / 31, cases={"cause": "x"},
            ),
            CauseRow("shade", "Shade", 11, 0, 11 / 31, 25 / 31),
            CauseRow("fracture", "Fracture", None, None, None, None, "small"),
        ),
        control=_control(),
        funnel=_funnel(),
        dose=(_dose("first"), _dose("first", "remade"), _dose("built")),
        opposing=Opposing(
            rate("without", 430, 20), rate("with", 110, None), 2.4, 0.02, 9, 0.06
        ),
        queries_raised=80,
        options=(rate("re_preparation", 80, 44), rate("change_material", 80, 31)),
        waiting=(
            Waiting(
                "laboratory", 80, 0, 5.5, 4.25, 7.0,
                (WaitingBar(0, 4, 31), WaitingBar(4, 24, 49), WaitingBar(24, None, 0)),
            ),
            Waiting(
                "clinic", 78, 2, 20.0, 15.0, 26.5,
                (WaitingBar(0, 24, 50), WaitingBar(24, None, None)),
            ),
        ),
        flow=(
            FlowRow("insufficient", "re_preparation", "as_delivered", 40),
            FlowRow("insufficient", "accept_risk", "remade", None, "small"),
        ),
        time_to_remake=KeptUnmade(
            (SurvivalStep(12, 605, 0.01, 0.004, 0.02), SurvivalStep(40, 410, 0.05, 0.03, 0.07))
        ),
        alarms=(Alarm("2", "Clinic South", 5.1, 4.2, 120, 24),),
        suppressed=True,
        attributions=(rate("clinic", 31, 16), rate("disputed", 31, 15)),
        detected=(rate("seating", 31, 31),),
    )  # fmt: skip
    return replace(made, **changes)

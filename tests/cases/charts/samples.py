"""Invented reports to draw: plain ones, and others from a seed, as wild as allowed."""

import calendar
import random
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from cases.audit.figures import CLASSES, OUTCOMES
from cases.audit.report_types import (
    Annotation,
    CauseRow,
    ControlChart,
    ControlPoint,
    DoseResponse,
    FlowRow,
    Funnel,
    FunnelLine,
    FunnelPoint,
    RateRow,
    Trend,
    Waiting,
    WaitingBar,
)
from cases.charts.control import control, describe_control
from cases.charts.dose import describe_dose, dose
from cases.charts.flow import describe_flow, flow
from cases.charts.funnel import describe_funnel, funnel
from cases.charts.pareto import describe_pareto, pareto
from cases.charts.waiting import describe_waiting, waiting
from cases.charts.words import Words

HOSTILE = "</text><script>alert(1)</script>&\"' $x^2$ {n} \x00"
WORDS = Words(
    labels={
        "verdict": {"sufficient": "Sufficient", "other": "All other ways"},
        "option": {"reprepare": "Prepare again", "": "No query"},
        "outcome": {"remade": "Remade", "as_delivered": "Fitted as delivered"},
        "side": {"laboratory": "Laboratory, to ask", "clinic": "Clinic, to answer"},
    }
)
DRAWN: dict[str, tuple[Callable[..., str], Callable[..., str]]] = {
    "pareto": (pareto, describe_pareto),
    "control": (control, describe_control),
    "funnel": (funnel, describe_funnel),
    "dose": (dose, describe_dose),
    "waiting": (waiting, describe_waiting),
    "flow": (flow, describe_flow),
}

CAUSES = (
    CauseRow("clearance", "Insufficient clearance", 31, 4, 0.31, 0.31),
    CauseRow("margin", "Margin not readable in the scan", 22, 0, 0.22, 0.53),
    CauseRow("shade", "Shade", None, None, None, None, "small"),
    CauseRow("other", "Other", None, 6, None, None, "secondary"),
    CauseRow("none", "Chipped", 0, 0, 0.0, 1.0),
)


def period(
    index: int,
    n: int,
    count: int | None,
    signal: str = "",
    complete: bool = True,
) -> ControlPoint:
    first = date(2024 + index // 12, index % 12 + 1, 1)
    last = first.replace(day=calendar.monthrange(first.year, first.month)[1])
    rate = None if count is None else count / n
    known = complete and rate is not None
    low, high = (0.01, 0.09) if known else (None, None)
    return ControlPoint(
        f"{first:%b %Y}", first, last, n, count, rate, low, high, signal, complete,
        "small" if count is None else "",
    )  # fmt: skip


CONTROL = ControlChart(
    "month",
    (
        *(period(i, 100 + i, 5) for i in range(6)),
        period(6, 120, 18, "above"),
        period(7, 90, None),
        period(8, 110, 0, "below"),
        *(period(i, 100, 6) for i in range(9, 12)),
        period(12, 80, 3, complete=False),
    ),
    0.051,
    1.2,
    (
        Annotation(date(2024, 3, 10), "Rule set 3 published", "rule_set"),
        Annotation(date(2024, 3, 20), "Training held"),
        Annotation(date(2024, 12, 31), "Scanner replaced"),
        Annotation(date(2029, 1, 1), "Long after"),
    ),
)
FUNNEL = Funnel(
    0.06,
    (
        FunnelPoint("a", "Clinic of the hill", 220, 32, 32 / 220, "above_998"),
        FunnelPoint("b", "Clinic of the mill", 400, 36, 0.09, "above_95"),
        FunnelPoint("c", "Clinic of the pond", 256, 7, 7 / 256, "below_95"),
        FunnelPoint("d", "Clinic of the wood", 300, 0, 0.0, "below_998"),
        FunnelPoint("e", "Clinic inside", 150, 9, 0.06, "inside"),
        FunnelPoint("f", "Clinic unshown", 60, None, None, "", "small"),
    ),
    tuple(
        FunnelLine(n, 0.0, max(0.0, 0.06 - 0.3 / n**0.5), 0.06 + 0.5 / n**0.5,
                   min(1.0, 0.06 + 0.8 / n**0.5))
        for n in range(1, 420, 10)
    ),
    2.6,
)  # fmt: skip


def rated(key: str, label: str, n: int, count: int | None, hidden: str = "") -> RateRow:
    if count is None or hidden:
        return RateRow(key, label, n, count, None, None, None, hidden or "small")
    rate = count / n
    return RateRow(
        key, label, n, count, rate, max(0.0, rate - 0.04), min(1.0, rate + 0.06)
    )


DOSE = DoseResponse(
    "first",
    "adverse",
    (
        rated("sufficient", "Sufficient", 812, 33),
        rated("undecided", "Undecided", 140, 11),
        rated("up_to_025", "Short by up to 0.25 mm", 95, 14),
        rated("up_to_050", "Short by 0.25 to 0.5 mm", 60, 17),
        rated("over_050", "Short by more than 0.5 mm", 9, None),
        rated("unmeasured", "Nothing measured", 8, 0, "few"),
        rated("", "No check", 0, 0, "few"),
    ),
    Trend(5.13, 0.0000004, 14, 3.2, 0.006, 1.6),
)
_EDGES = (0, 4, 8, 24, 48, 72, 168, None)


def bars(*counts: int | None) -> tuple[WaitingBar, ...]:
    return tuple(
        WaitingBar(_EDGES[i] or 0, _EDGES[i + 1], count)
        for i, count in enumerate(counts)
    )


WAITING = (
    Waiting("laboratory", 190, 0, 5.2, 4.1, 7.8, bars(80, 52, 31, 17, None, None, 0)),
    Waiting("clinic", 181, 9, 30.5, 26.0, None, bars(12, 25, 44, 61, 22, None, 8)),
)
FLOW = (
    FlowRow("sufficient", "", "as_delivered", 520),
    FlowRow("sufficient", "", "remade", 14),
    FlowRow("undecided", "", "as_delivered", 40),
    FlowRow("insufficient", "reprepare", "as_delivered", 61),
    FlowRow("insufficient", "accept_risk", "opposing_adjusted", 17),
    FlowRow("insufficient", "accept_risk", "remade", 12),
    FlowRow("", "", "as_delivered", 22),
    FlowRow("other", "other", "other", 27),
)
PLAIN: dict[str, Any] = {
    "pareto": CAUSES,
    "control": CONTROL,
    "funnel": FUNNEL,
    "dose": DOSE,
    "waiting": WAITING,
    "flow": FLOW,
}


def _label(r: random.Random) -> str:
    words = ["Praxis", "am", "Zwischenräumlichkeitsausgleich", "of", "W" * 30, HOSTILE]
    return " ".join(r.choice(words) for _ in range(r.randint(1, 6)))


def _pareto(r: random.Random) -> tuple[CauseRow, ...]:
    rows = []
    for index in range(r.randint(1, 14)):
        count = r.choice([None, 0, 1, 5, 40, 99_999])
        before = r.choice([None, 0, 3, 70_000])
        share = None if count is None else r.random()
        rows.append(
            CauseRow(str(index), _label(r), count, before, share, share, "secondary")
        )
    return tuple(rows)


def _control(r: random.Random) -> ControlChart:
    points = []
    for index in range(r.randint(1, 40)):
        n = r.choice([1, 12, 90, 90_000])
        count = r.choice([None, 0, n, n // 2, n // 20])
        signal = r.choice(["", "", "", "above", "below"])
        points.append(period(index, n, count, signal, r.random() < 0.8))
    first = points[0].first
    notes = tuple(
        Annotation(first + timedelta(days=r.randint(0, 1200)), _label(r))
        for _ in range(r.randint(0, 25))
    )
    return ControlChart("month", tuple(points), r.choice([None, 0.0, 0.04]), 1.1, notes)


def _funnel(r: random.Random) -> Funnel:
    points = []
    for index in range(r.randint(1, 60)):
        n = r.choice([1, 5, 30, 400, r.randint(1, 30_000)])
        count = r.choice([None, 0, n, n // 10])
        place = r.choice(["inside", "above_95", "below_95", "above_998", "below_998"])
        rate = None if count is None else count / n
        points.append(
            FunnelPoint(str(index), _label(r), n, count, rate, place if rate else "")
        )
    return Funnel(r.choice([None, 0.0, 0.05]), tuple(points), FUNNEL.lines, None)


def _dose(r: random.Random) -> DoseResponse:
    rows = []
    for key in [*CLASSES, "unmeasured", ""][: r.randint(1, 7)]:
        n = r.choice([0, 3, 40, 900_000])
        count = r.choice([None, 0, n, n // 3]) if n else 0
        rows.append(rated(key, _label(r), n, count, "" if n else "few"))
    return DoseResponse("built", "remade", tuple(rows), None)


def _waiting(r: random.Random) -> tuple[Waiting, ...]:
    made = []
    for side in ("laboratory", "clinic"):
        found = bars(*(r.choice([None, 0, 5, 60, 99_999]) for _ in range(7)))
        n = r.choice([0, 12, 400_000])
        low, middle, high = sorted(r.choice([0.2, 4, 30, 100, 5000]) for _ in range(3))
        if r.random() < 0.2 or not n:
            made.append(Waiting(side, n, 0, None, None, None, found, "few"))
        else:
            top = r.choice([None, high])
            made.append(Waiting(side, n, 7, middle, low, top, found))
    return tuple(made)


def _flow(r: random.Random) -> tuple[FlowRow, ...]:
    rows = []
    for verdict in ("sufficient", "undecided", "insufficient", "unmeasured", ""):
        for option in ("", "reprepare", "accept_risk", "opposing", "x" * 30, HOSTILE):
            for outcome in OUTCOMES:
                if r.random() < 0.25:
                    count = r.choice([1, 5, 30, 2000])
                    rows.append(FlowRow(verdict, option, outcome, count))
    if r.random() < 0.5:
        rows.append(FlowRow("other", "other", "other", r.choice([None, 9]), "small"))
    return tuple(rows)


def wild(name: str, seed: int) -> Any:
    """Return a report for a picture as its seed says."""
    make: dict[str, Callable[[random.Random], Any]] = {
        "pareto": _pareto,
        "control": _control,
        "funnel": _funnel,
        "dose": _dose,
        "waiting": _waiting,
        "flow": _flow,
    }
    return make[name](random.Random(f"{name}-{seed}"))  # noqa: S311 -- no secret

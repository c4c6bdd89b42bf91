"""Remakes over time: the control chart, and how long after dispatch they come."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from cases.audit.control_chart import Limits, grouping, laney
from cases.audit.figures import Figures, MonthFigures, Tally
from cases.audit.filters import month_after
from cases.audit.protection import Cell, protect, threshold_of
from cases.audit.report_types import (
    ControlChart,
    ControlPoint,
    KeptUnmade,
    Setup,
    SurvivalStep,
)
from cases.audit.survival import kaplan_meier
from cases.audit.tables import total_state

__all__ = ["complete_figures", "control_chart", "is_complete", "kept_unmade"]

_MONTHS: Final = {"month": 1, "quarter": 3, "half_year": 6}
# Limits come from the points shown; with more than this share hidden for being small,
# those left are too high for a fair centre.
_MOST_HIDDEN: Final = 0.2


@dataclass(frozen=True, slots=True)
class _Span:
    months: tuple[MonthFigures, ...]
    complete: bool

    @property
    def total(self) -> Tally:
        return sum((month.total for month in self.months), Tally())


def is_complete(setup: Setup, month: date) -> bool:
    """Say whether restorations of a month have all been followed up long enough."""
    last_day = month_after(month) - timedelta(days=1)
    return (setup.as_of.date() - last_day).days >= setup.follow_up_days


def complete_figures(figures: Figures, setup: Setup) -> Figures:
    """Return the figures of the complete months alone."""
    months = tuple(one for one in figures.months if is_complete(setup, one.month))
    return Figures(months, figures.as_of)


def control_chart(figures: Figures, setup: Setup, by: str = "") -> ControlChart:
    """Return the chart by month, quarter or half year; ``by`` fixes which.

    Beside the total of one of its quarters it has to be by quarter: of two months that
    are shown and their quarter's total the third would follow.

    Limits rest on the complete points whose count is shown, so they tell nothing of a
    hidden one; they are left out where too few are shown for that to be fair.
    """
    kept = by or grouping(
        [
            (one.total.remade, one.total.dispatched)
            for one in complete_figures(figures, setup).months
        ]
    )
    spans = _spans(figures, setup, _MONTHS[kept])
    totals = [span.total for span in spans]
    threshold = threshold_of(setup.small_number)
    states = protect(
        [Cell(total.remade, total.dispatched) for total in totals],
        threshold=threshold,
        total=total_state(setup, figures.total, "remade"),
    )
    limits = _limits(spans, totals, states)
    points = tuple(
        _point(kept, span, total, state, limits, place)
        for place, (span, total, state) in enumerate(
            zip(spans, totals, states, strict=True)
        )
    )
    return ControlChart(
        grouping=kept,
        points=points,
        centre=limits.centre if limits else None,
        sigma_z=limits.sigma_z if limits else None,
        annotations=setup.annotations,
    )


def _limits(
    spans: Sequence[_Span], totals: Sequence[Tally], states: Sequence[str]
) -> Limits | None:
    whole = [
        place
        for place, span in enumerate(spans)
        if span.complete and totals[place].dispatched
    ]
    small = [place for place in whole if states[place] == "small"]
    if len(small) > _MOST_HIDDEN * len(whole):
        return None
    return laney(
        # A hidden count must not reach the limits; as incomplete it does not.
        [
            (0 if state else total.remade, total.dispatched)
            for total, state in zip(totals, states, strict=True)
        ],
        [place in whole and not states[place] for place in range(len(spans))],
    )


def _point(
    kept: str,
    span: _Span,
    total: Tally,
    state: str,
    limits: Limits | None,
    place: int,
) -> ControlPoint:
    first, last = span.months[0].month, span.months[-1].month
    reach = limits.bounds[place] if limits else None
    told = limits is not None and span.complete and not state
    cases = {"from": f"{first:%Y-%m}", "to": f"{last:%Y-%m}", "outcome": "remade"}
    return ControlPoint(
        label=_label(kept, first),
        first=first,
        last=last,
        n=total.dispatched,
        count=None if state else total.remade,
        rate=total.remade / total.dispatched
        if total.dispatched and not state
        else None,
        lower=reach[0] if reach else None,
        upper=reach[1] if reach else None,
        signal=limits.signals[place] if told and limits else "",
        complete=span.complete,
        hidden=state,
        cases={} if state else cases,
    )


def _spans(figures: Figures, setup: Setup, length: int) -> list[_Span]:
    """Return the months in groups as the calendar has them."""
    groups: dict[tuple[int, int], list[MonthFigures]] = {}
    for one in figures.months:
        key = (one.month.year, (one.month.month - 1) // length)
        groups.setdefault(key, []).append(one)
    return [
        _Span(tuple(months), all(is_complete(setup, one.month) for one in months))
        for months in groups.values()
    ]


def _label(kept: str, first: date) -> str:
    if kept == "month":
        return f"{first:%Y-%m}"
    if kept == "quarter":
        return f"{first.year}-Q{(first.month - 1) // 3 + 1}"
    return f"{first.year}-H{(first.month - 1) // 6 + 1}"


def kept_unmade(figures: Figures, setup: Setup) -> KeptUnmade:
    """Return how many were remade how soon.

    Remakes of neighbouring days are taken together, at the last of these days, until
    there are as many as may be shown: a step for one remake would tell its day.
    """
    state = total_state(setup, figures.total, "remade")
    if state:
        return KeptUnmade((), state)
    events = _gathered(figures.remade_after(), threshold_of(setup.small_number))
    today = setup.as_of.date()
    pending = [
        (max(0, (today - day).days), count)
        for day, count in sorted(figures.unremade().items())
    ]
    steps = kaplan_meier(events, pending) if events else ()
    return KeptUnmade(
        tuple(
            SurvivalStep(one.days, one.at_risk, one.share, one.low, one.high)
            for one in steps
        )
    )


def _gathered(events: Mapping[int, int], threshold: int) -> dict[int, int]:
    gathered: dict[int, int] = {}
    waiting = 0
    for day in sorted(events):
        waiting += events[day]
        if waiting >= threshold:
            gathered[day] = waiting
            waiting = 0
    if waiting and gathered:
        # What is left over joins the last step, at the last day.
        last = max(gathered)
        waiting += gathered.pop(last)
        gathered[max(events)] = waiting
    return gathered

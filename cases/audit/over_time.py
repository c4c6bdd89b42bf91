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
from cases.audit.survival import Step, kaplan_meier
from cases.audit.tables import total_state

__all__ = ["complete_figures", "control_chart", "is_complete", "kept_unmade"]

_MONTHS: Final = {"month": 1, "quarter": 3, "half_year": 6}
# Limits come from the points shown; with more than this share hidden for being small,
# those left are too high for a fair centre.
_MOST_HIDDEN: Final = 0.2
# Days after dispatch within which remakes are told; no period has more than the last.
_WITHIN: Final = (7, 14, 30, 60, 90, 180, 365, 730, 1825, 36500)


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

    Else it is the shortest of them of which few points are hidden.

    Beside the total of one of its quarters it has to be by quarter: of two months that
    are shown and their quarter's total the third would follow.

    Limits rest on the complete points whose count is shown, so they tell nothing of a
    hidden one; they are left out where too few are shown for that to be fair.
    """
    least = by or grouping(
        [
            (one.total.remade, one.total.dispatched)
            for one in complete_figures(figures, setup).months
        ]
    )
    for kept in list(_MONTHS)[list(_MONTHS).index(least) :]:
        spans = _spans(figures, setup, _MONTHS[kept])
        totals = [span.total for span in spans]
        states = protect(
            [Cell(total.remade, total.dispatched) for total in totals],
            threshold=threshold_of(setup.small_number),
            total=total_state(setup, figures.total, "remade"),
        )
        if by or _few_hidden(spans, totals, states):
            break
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


def _few_hidden(
    spans: Sequence[_Span], totals: Sequence[Tally], states: Sequence[str]
) -> bool:
    """Say whether at most ``_MOST_HIDDEN`` of the complete points are hidden as small."""
    whole = [
        state
        for span, total, state in zip(spans, totals, states, strict=True)
        if span.complete and total.dispatched
    ]
    return whole.count("small") <= _MOST_HIDDEN * len(whole)


def _limits(
    spans: Sequence[_Span], totals: Sequence[Tally], states: Sequence[str]
) -> Limits | None:
    whole = [
        place
        for place, span in enumerate(spans)
        if span.complete and totals[place].dispatched
    ]
    if not _few_hidden(spans, totals, states):
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
        label=_label(kept, first, last),
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


def _label(kept: str, first: date, last: date) -> str:
    if first == last:
        return f"{first:%Y-%m}"
    if (last.month - first.month) + 1 < _MONTHS[kept]:
        # The period has not all of it: its months are named.
        return f"{first:%Y-%m}/{last:%m}"
    if kept == "quarter":
        return f"{first.year}-Q{(first.month - 1) // 3 + 1}"
    return f"{first.year}-H{(first.month - 1) // 6 + 1}"


def kept_unmade(figures: Figures, setup: Setup) -> KeptUnmade:
    """Return how many were remade within usual times, at those that tell no few.

    The curve is of single days; it is told where, since the time told before, as many
    were remade as may be shown, and at the first time by which all were. Shares are told
    to a hundredth of a per cent: in full they would tell the days.
    """
    state = total_state(setup, figures.total, "remade")
    if state:
        return KeptUnmade((), state)
    events = figures.remade_after()
    today = setup.as_of.date()
    pending = [
        (max(0, (today - day).days), count)
        for day, count in sorted(figures.unremade().items())
    ]
    curve = kaplan_meier(events, pending)
    longest = max([day for day, _ in pending] + [*events], default=0)
    marks = _marks(events, threshold_of(setup.small_number))
    return KeptUnmade(
        tuple(_step(min(mark, longest), curve, events, pending) for mark in marks)
    )


def _marks(events: Mapping[int, int], threshold: int) -> list[int]:
    marks: list[int] = []
    done = told = 0
    for mark in _WITHIN:
        done = sum(count for day, count in events.items() if day <= mark)
        if done - told >= threshold:
            marks.append(mark)
            told = done
    if done > told:
        # What is left over joins the time told last.
        marks = marks[:-1]
        marks.append(next(mark for mark in _WITHIN if mark >= max(events)))
    return marks


def _step(
    mark: int,
    curve: Sequence[Step],
    events: Mapping[int, int],
    pending: Sequence[tuple[int, int]],
) -> SurvivalStep:
    last = [one for one in curve if one.days <= mark][-1]
    followed = sum(count for day, count in pending if day >= mark)
    followed += sum(count for day, count in events.items() if day > mark)
    return SurvivalStep(
        mark, followed, round(last.share, 4), round(last.low, 4), round(last.high, 4)
    )

"""Queries about clearance: what was chosen, and how long each side took."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final, TypeVar

from cases.audit.figures import Figures
from cases.audit.protection import Cell, protect, threshold_of
from cases.audit.report_types import RateRow, Setup, Waiting, WaitingBar
from cases.audit.rows import Part, label_of, rate_rows
from cases.audit.survival import median

__all__ = ["option_rows", "waiting_times"]

_Key = TypeVar("_Key")

# Edges of the bars, in hours of the calendar.
_EDGES: Final = (0, 4, 8, 24, 48, 72, 168)


def option_rows(figures: Figures, setup: Setup) -> tuple[RateRow, ...]:
    """Return how often each option was signed, of all queries answered.

    In order of their words: an order by number would tell of the hidden ones.
    """
    counts = _sums(month.queries.options for month in figures.months)
    n = sum(counts.values())
    keys = sorted(
        (key for key, count in counts.items() if count),
        key=lambda key: (label_of(setup, "option", key), key),
    )
    parts = [
        Part(
            key=key,
            label=label_of(setup, "option", key),
            n=n,
            count=counts[key],
            most=max(n, 2),
            cases={"option": key} if key else {},
        )
        for key in keys
    ]
    return rate_rows(setup, parts)


def waiting_times(figures: Figures, setup: Setup) -> tuple[Waiting, ...]:
    """Return the laboratory's time to ask and the clinic's to answer."""
    asked = _sums(month.queries.asked for month in figures.months)
    answered = _sums(month.queries.answered for month in figures.months)
    still = [
        _minutes(figures.as_of, since)
        for month in figures.months
        for since in month.queries.open
    ]
    return (
        _waiting("laboratory", asked, [], setup),
        _waiting("clinic", answered, still, setup),
    )


def _waiting(
    side: str, minutes: Mapping[int, int], still: list[int], setup: Setup
) -> Waiting:
    n = sum(minutes.values()) + len(still)
    few = n < max(1, setup.least_cases)
    middle, low, high = (None, None, None) if few else median(minutes, still)
    return Waiting(
        side=side,
        n=n,
        waiting=len(still),
        median_hours=_hours(middle),
        low_hours=_hours(low),
        high_hours=_hours(high),
        bars=_bars(minutes, setup),
        hidden="few" if few else "",
    )


def _bars(minutes: Mapping[int, int], setup: Setup) -> tuple[WaitingBar, ...]:
    ends = (*_EDGES[1:], None)
    counts = [
        sum(
            count
            for minute, count in minutes.items()
            if start * 60 < minute + (minute == 0)
            and (end is None or minute <= end * 60)
        )
        for start, end in zip(_EDGES, ends, strict=True)
    ]
    whole = max(sum(counts), 2)
    states = protect(
        [Cell(count, whole) for count in counts],
        threshold=threshold_of(setup.small_number),
        total="small" if 0 < sum(counts) < threshold_of(setup.small_number) else "",
    )
    return tuple(
        WaitingBar(start, end, None if state else count)
        for start, end, count, state in zip(_EDGES, ends, counts, states, strict=True)
    )


def _minutes(now: datetime, since: datetime) -> int:
    return max(0, int((now - since).total_seconds() // 60))


def _hours(minutes: float | None) -> float | None:
    return None if minutes is None else minutes / 60


def _sums(parts: Iterable[Mapping[_Key, int]]) -> dict[_Key, int]:
    found: dict[_Key, int] = {}
    for part in parts:
        for key, count in part.items():
            found[key] = found.get(key, 0) + count
    return found

"""Queries about clearance: what was chosen, and how long each side took."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final, TypeVar

from cases.audit.figures import Figures
from cases.audit.protection import threshold_of
from cases.audit.report_types import RateRow, Setup, Waiting, WaitingBar
from cases.audit.rows import OTHERS, Part, gathered, label_of, rate_row
from cases.audit.survival import median

__all__ = ["OTHERS", "option_rows", "waiting_times"]

_Key = TypeVar("_Key")

# Edges of the bars, in hours of the calendar.
_EDGES: Final = (0, 4, 8, 24, 48, 72, 168)


def option_rows(figures: Figures, setup: Setup) -> tuple[RateRow, ...]:
    """Return how often each option was signed, of all queries answered.

    In order of their words. Those too few chose are one row at the end, if need be with
    the least chosen of the others: hidden one by one they would take a large one along,
    and which there are would be told.
    """
    counts = _sums(month.queries.options for month in figures.months)
    n = sum(counts.values())
    listed, rest = gathered(counts, threshold_of(setup.small_number))
    keys = sorted(listed, key=lambda key: (label_of(setup, "option", key), key))
    parts = [
        _option(setup, key, listed[key], n, {"option": key} if key else {})
        for key in keys
    ]
    if rest:
        parts.append(_option(setup, OTHERS, rest, n, {}))
    return tuple(rate_row(setup, part, "") for part in parts)


def _option(
    setup: Setup, key: str, count: int, n: int, cases: Mapping[str, str]
) -> Part:
    return Part(
        key=key,
        label=label_of(setup, "option", key),
        n=n,
        count=count,
        most=max(n, 2),
        cases=cases,
    )


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
    """Return how many took how long; steps with too few are taken together.

    What has an order is better told less finely than not at all. Only where all are too
    few is nothing told.
    """
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
    threshold = threshold_of(setup.small_number)
    if 0 < sum(counts) < threshold:
        return (WaitingBar(0, None, None),)
    bars = [
        WaitingBar(start, end, count)
        for start, end, count in zip(_EDGES, ends, counts, strict=True)
    ]
    while len(bars) > 1:
        small = [i for i, bar in enumerate(bars) if 0 < (bar.count or 0) < threshold]
        if not small:
            break
        # With the next longer one; the last with the one before.
        first = min(small[0], len(bars) - 2)
        one, other = bars[first : first + 2]
        count = (one.count or 0) + (other.count or 0)
        bars[first : first + 2] = [WaitingBar(one.from_hours, other.to_hours, count)]
    return tuple(bars)


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

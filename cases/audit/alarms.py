"""Clinics whose remakes pile up: a CUSUM of log-likelihood ratios for each.

Each clinic is followed in order of dispatch over the complete months, against the
laboratory's own rate of the period (p0) and looking for twice that (p1). The rate is
that of the report's headline, so an alarm tells nothing new of it.
"""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Final

from cases.audit import cusum
from cases.audit.figures import Figures
from cases.audit.over_time import complete_figures
from cases.audit.report_types import Alarm, RateRow, RateTable, Setup

__all__ = ["FALSE_ALARM", "accumulations", "alarms"]

# The chance that a clinic at the laboratory's own rate alarms within the period.
FALSE_ALARM: Final = 0.01
# For findings, which must hold among many questions: chances of climbing as high.
_LEVELS: Final = (0.0001, 0.001, 0.005)

_Runs = tuple[tuple[int, tuple[int, ...]], ...]


def alarms(figures: Figures, setup: Setup, table: RateTable) -> tuple[Alarm, ...]:
    """Return the clinics that alarm, in the order of their table of remakes.

    A clinic whose count is hidden is not followed: the path would tell it.
    """
    found = []
    for row, p0, runs in _followed(figures, setup, table):
        decision = _decision(p0, _size(runs), FALSE_ALARM)
        path = cusum.run(runs, p0, 2 * p0, decision)
        if path.signal is not None:
            found.append(_alarm(row, runs, path, decision))
    return tuple(found)


def accumulations(
    figures: Figures, setup: Setup, table: RateTable, spreads: Mapping[str, float]
) -> dict[str, float]:
    """Return clinic -> the chance, as one of a few levels, that its path climbs so high.

    ``spreads``: by clinic, how much more the others vary than by chance; the ratios are
    divided by it (quasi-likelihood), so a path must climb so much higher.
    """
    found = {}
    for row, p0, runs in _followed(figures, setup, table):
        highest = max(cusum.run(runs, p0, 2 * p0, float("inf")).values, default=0.0)
        found[row.key] = next(
            (
                level
                for level in _LEVELS
                if highest > spreads[row.key] * _decision(p0, _size(runs), level)
            ),
            1.0,
        )
    return found


def _followed(
    figures: Figures, setup: Setup, table: RateTable
) -> Iterator[tuple[RateRow, float, _Runs]]:
    whole = table.total
    if not whole.count or 2 * whole.count >= whole.n:
        return
    months = complete_figures(figures, setup).months
    for row in table.rows:
        if row.count:
            runs = tuple(
                month.runs[row.key] for month in months if row.key in month.runs
            )
            yield row, whole.count / whole.n, runs


def _alarm(row: RateRow, runs: _Runs, path: cusum.Path, decision: float) -> Alarm:
    """Return the alarm with its highest point, and what has come since it began."""
    remakes = _remakes_of_last(runs, path.since)
    return Alarm(
        key=row.key,
        label=row.label,
        value=max(path.values),
        decision=decision,
        since=path.since,
        remakes=remakes,
        cases=row.cases,
    )


def _remakes_of_last(runs: _Runs, last: int) -> int:
    """Return how many of the last so many restorations were remade."""
    whole, done, found = _size(runs), 0, 0
    for n, places in runs:
        found += sum(1 for place in places if done + place > whole - last)
        done += n
    return found


def _size(runs: _Runs) -> int:
    return sum(n for n, _ in runs)


@lru_cache(maxsize=512)
def _decision(p0: float, observations: int, false_alarm: float) -> float:
    return cusum.decision(p0, 2 * p0, observations, false_alarm)

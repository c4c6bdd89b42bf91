"""Clinics whose remakes pile up: a CUSUM of log-likelihood ratios for each.

Each clinic is followed in order of dispatch over the complete months, against the
laboratory's own rate of the period (p0) and looking for twice that (p1). The rate is
that of the report's headline, so an alarm tells nothing new of it.
"""

from collections.abc import Iterator
from functools import lru_cache
from math import inf
from typing import Final

from cases.audit import cusum
from cases.audit.figures import Figures
from cases.audit.over_time import complete_figures
from cases.audit.protection import threshold_of
from cases.audit.report_types import Alarm, RateRow, RateTable, Setup

__all__ = ["FALSE_ALARM", "accumulations", "alarms"]

# The chance that a clinic at the laboratory's own rate alarms within the period.
FALSE_ALARM: Final = 0.01
# Below this rate a path has too many heights to follow, and hardly a remake.
_LEAST_RATE: Final = 0.001

_Runs = tuple[tuple[int, tuple[int, ...]], ...]


def alarms(figures: Figures, setup: Setup, table: RateTable) -> tuple[Alarm, ...]:
    """Return the clinics whose remakes pile up, in the order of their table.

    Only what has not fallen back to zero since. A clinic whose count is hidden is not
    followed: the path would tell it. Nor is an alarm given by fewer remakes than may be
    shown.
    """
    found = []
    for row, p0, runs in _followed(figures, setup, table):
        path = _path(p0, runs)
        if _chance(p0, _size(runs), max(path.values, default=0.0)) <= FALSE_ALARM:
            found.append(_alarm(row, p0, runs, path))
    threshold = threshold_of(setup.small_number)
    return tuple(one for one in found if (one.remakes or 0) >= threshold)


def accumulations(figures: Figures, setup: Setup, table: RateTable) -> dict[str, float]:
    """Return clinic -> the chance that its path climbs so high by itself.

    Of restorations independent of each other: who uses it allows for more.
    """
    return {
        row.key: _chance(p0, _size(runs), max(_path(p0, runs).values, default=0.0))
        for row, p0, runs in _followed(figures, setup, table)
    }


def _followed(
    figures: Figures, setup: Setup, table: RateTable
) -> Iterator[tuple[RateRow, float, _Runs]]:
    whole = table.total
    if not whole.count or not _LEAST_RATE <= whole.count / whole.n < 0.5:
        return
    months = complete_figures(figures, setup).months
    for row in table.rows:
        if row.count:
            runs = tuple(
                month.runs[row.key] for month in months if row.key in month.runs
            )
            yield row, whole.count / whole.n, runs


def _path(p0: float, runs: _Runs) -> cusum.Path:
    return cusum.run(runs, p0, 2 * p0, inf)


@lru_cache(maxsize=512)
def _chance(p0: float, observations: int, height: float) -> float:
    return cusum.chance(p0, 2 * p0, observations, height) if height > 0 else 1.0


@lru_cache(maxsize=512)
def _decision(p0: float, observations: int) -> float:
    return cusum.decision(p0, 2 * p0, observations, FALSE_ALARM)


def _alarm(row: RateRow, p0: float, runs: _Runs, path: cusum.Path) -> Alarm:
    highest = max(path.values)
    decision = _decision(p0, _size(runs))
    return Alarm(
        key=row.key,
        label=row.label,
        value=highest,
        # The decision is found to a step's width; a path that passed it is not below.
        decision=min(decision, highest),
        since=path.since,
        remakes=_remakes_of_last(runs, path.since),
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

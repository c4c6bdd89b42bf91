"""CUSUM of log-likelihood ratios for single cases: when remakes pile up.

Neither scipy nor statsmodels offers it.
Source: Page, Biometrika 1954;41:100-115; for single cases Reynolds and Stoumbos, J Qual
Technol 1999;31:87-108, who take it for a Markov chain as is done here (both from
memory).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, log
from typing import Final

import numpy as np

__all__ = ["Path", "chance", "decision", "run", "weights"]

# How finely the height of a path is told apart, in parts of one remake's weight.
_FINE: Final = 64
_SETTLED: Final = 1e-13


@dataclass(frozen=True, slots=True)
class Path:
    """A path's heights, after each remake; between them it only falls.

    ``signal``: the case, from 1, at which it first reached the decision; None if never.
    ``since``: how many cases there were since it last rose from zero.
    """

    values: tuple[float, ...]
    signal: int | None
    since: int


def weights(p0: float, p1: float) -> tuple[float, float]:
    """Return what a remake adds, and what a case without one adds (negative).

    Raises:
        ValueError: not 0 < p0 < p1 < 1.
    """
    if not 0 < p0 < p1 < 1:
        raise ValueError("p0 and p1 are rates, the second the higher")
    return log(p1 / p0), log((1 - p1) / (1 - p0))


def run(
    runs: Iterable[tuple[int, tuple[int, ...]]], p0: float, p1: float, h: float
) -> Path:
    """Return the path of cases in order: (how many, which of them from 1 were remade)."""
    up, down = weights(p0, p1)
    height, values = 0.0, []
    signal: int | None = None
    done, seen, began = 0, 0, 0
    for n, places in runs:
        for place in places:
            at = done + place
            height = max(0.0, height + (at - seen - 1) * down)
            if height == 0.0:
                began = at
            height += up
            values.append(height)
            seen = at
            if signal is None and height >= h:
                signal = at
        done += n
    still = height + (done - seen) * down > 0
    return Path(tuple(values), signal, done - began + 1 if still and values else 0)


def chance(p0: float, p1: float, observations: int, h: float) -> float:
    """Return the chance that a path of cases at the rate p0 reaches h.

    By the Markov chain of its heights in steps of a ``_FINE``-th of a remake's weight,
    rounded up, so that it is rather too large. Once the chain has settled, every
    further case adds the same share.
    """
    up, down = weights(p0, p1)
    steps_down = max(2, ceil(_FINE * -down / up))
    unit = -down / steps_down
    steps_up, states = ceil(up / unit), ceil(h / unit - 1e-9)
    if states <= 0:
        return 1.0
    left = np.zeros(states)
    left[0] = 1.0
    kept, share = 1.0, 1.0
    for case in range(observations):
        moved = np.zeros(states)
        moved[steps_up:] = p0 * left[: max(0, states - steps_up)]
        moved[: max(0, states - steps_down)] += (1 - p0) * left[steps_down:]
        moved[0] += (1 - p0) * float(left[:steps_down].sum())
        now = float(moved.sum())
        # The share that is left of each case: constant once the chain has settled.
        if abs(now - share) < _SETTLED and case > steps_up:
            return float(1 - kept * now ** (observations - case))
        kept, share = kept * now, now
        left = moved / now
    return float(1 - kept)


def decision(p0: float, p1: float, observations: int, false_alarm: float) -> float:
    """Return the height reached with at most this chance by cases at the rate p0."""
    up, _ = weights(p0, p1)
    low, high = 0.0, up
    while chance(p0, p1, observations, high) > false_alarm:
        low, high = high, 2 * high
    while high - low > up / _FINE:
        middle = (low + high) / 2
        if chance(p0, p1, observations, middle) > false_alarm:
            low = middle
        else:
            high = middle
    return high

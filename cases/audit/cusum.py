"""CUSUM of log-likelihood ratios for single cases: when remakes pile up.

Neither scipy nor statsmodels offers it.
Source: Page, Biometrika 1954;41:100-115; for single cases Reynolds and Stoumbos, J Qual
Technol 1999;31:87-108, who take it for a Markov chain as is done here (both from
memory).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product
from math import ceil, exp, log
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

__all__ = ["Path", "chance", "climb", "decision", "run", "weights"]

# Into about how many steps the height of a path is divided.
_CELLS: Final = 128
# A chance below this is not worked out closer than its bound.
_BOUND: Final = 1e-4


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


def climb(height: float, by: float) -> float:
    """Return the next height: never below zero. The step of every one-sided CUSUM."""
    return max(0.0, height + by)


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
            height = climb(height, (at - seen - 1) * down)
            if height == 0.0:
                began = at
            height = climb(height, up)
            values.append(height)
            seen = at
            if signal is None and height >= h:
                signal = at
        done += n
    still = height + (done - seen) * down > 0
    return Path(tuple(values), signal, done - began + 1 if still and values else 0)


def chance(p0: float, p1: float, observations: int, h: float) -> float:
    """Return the chance that a path of cases at the rate p0 reaches h.

    By the Markov chain of its heights, in about ``_CELLS`` steps up to h: what comes to
    lie between two steps is shared among them so that the mean stays. Where a case
    without a remake falls by less than a step, as many cases as fall by one are taken
    at once, their remakes first. So it is true to some five per cent of itself. Where the chance is below ``_BOUND`` for sure, because it is at most
    observations * exp(-h) (each case begins a likelihood ratio, whose chance ever to
    reach exp(h) is at most exp(-h)), that bound is returned.
    """
    weights(p0, p1)
    if h <= 0 or observations < 1:
        return float(h <= 0)
    bound = observations * exp(-h)
    if bound < _BOUND:
        return bound
    moves, batch = _moves(p0, p1, h)
    left = np.zeros(len(moves))
    left[0] = 1.0
    steps = ceil(observations / batch)
    while steps:
        if steps % 2:
            left = left @ moves
        steps //= 2
        if steps:
            moves = moves @ moves
    return min(1.0, bound, float(1 - left.sum()))


def decision(
    p0: float, p1: float, observations: int, false_alarm: float = 0.01
) -> float:
    """Return the height reached with at most this chance by cases at the rate p0.

    To a hundredth of a remake's weight, above rather than below.
    """
    up, _ = weights(p0, p1)
    low, high = 0.0, log(max(1, observations) / false_alarm)
    while high - low > up / 100:
        middle = (low + high) / 2
        if chance(p0, p1, observations, middle) > false_alarm:
            low = middle
        else:
            high = middle
    return high


def _moves(p0: float, p1: float, h: float) -> tuple[NDArray[np.float64], int]:
    """Return the chain's moves from height to height, and of how many cases each is."""
    up, down = weights(p0, p1)
    # A step is a whole number of falls, or a whole part of one.
    falls = -down * _CELLS / h
    batch, parts = max(1, round(1 / falls)), max(1, round(falls))
    cell = batch * -down / parts
    cells = ceil(h / cell - 1e-9)
    moves = np.zeros((cells, cells))
    most = min(batch, int(binom.ppf(1 - 1e-12, batch, p0)) + 1)
    start = np.arange(cells)
    for remade in range(most + 1):
        shares = product(
            _shared(remade * up / cell), _shared((batch - remade) * -down / cell)
        )
        for (rise, part), (fall, other) in shares:
            begin = start[start + rise < cells]
            end = np.maximum(0, begin + rise - fall)
            moves[begin, end] += binom.pmf(remade, batch, p0) * part * other
    return moves, batch


def _shared(cells: float) -> tuple[tuple[int, float], tuple[int, float]]:
    """Return the two whole numbers around one, and the share of each."""
    whole = int(cells)
    return (whole, 1 - (cells - whole)), (whole + 1, cells - whole)

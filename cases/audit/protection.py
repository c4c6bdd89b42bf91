"""Which counts of a table must be hidden so that no small one can be worked out.

What is guarded: whoever reads one whole report, knows this rule, every number of
restorations (always shown) and the totals, must be left with at least two possible
values for each hidden count. Every table of a report divides the same restorations, so
its total is known from the others; a table is therefore guarded as if its total stood
under it, unless the total is itself hidden, and then all its counts are.

What is NOT guarded, and cannot be within one report: comparing reports with each
other. Two filters or two periods that differ by a few restorations (eleven months and
twelve; all clinics, and each of the others in turn) let their difference be worked
out. Nor is it guarded against knowing which of several tables' cells overlap, nor
against guessing: a hidden count may be left with only two values. Who may open the
cases can also count them by hand: hiding serves those a printed page is handed on to.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from cases.audit.suppression import hide

__all__ = ["SMALLEST", "Cell", "is_told", "protect", "state_of", "threshold_of"]

# Below three, "hidden" would itself say "one".
SMALLEST: Final = 3


@dataclass(frozen=True, slots=True)
class Cell:
    """A count, and the most it can be for all the report shows elsewhere."""

    count: int
    most: int


def threshold_of(small_number: int) -> int:
    """Return the smallest count that is shown (0 always is); 1 hides nothing.

    A threshold of two would hide only ones, and so tell them: it counts as three.
    """
    return max(small_number, SMALLEST) if small_number > 1 else 1


def state_of(cell: Cell, threshold: int) -> str:
    """Return "" when a count may stand alone, else "small".

    Where there can be but one, hiding only the one would tell it: none is hidden too.
    """
    if threshold <= 1 or cell.most == 0:
        return ""
    if cell.most == 1:
        return "small"
    return "small" if 0 < cell.count < threshold else ""


def protect(
    cells: Sequence[Cell],
    *,
    threshold: int,
    total: str = "",
) -> list[str]:
    """Return for each cell "" (shown), "small", or "secondary" (hidden to guard others).

    ``total``: how the total of the cells is hidden ("" is shown); where it is, every
    cell is, zeros too, for the number of hidden cells is a least value of the total.
    Guards are taken in order of the most a cell can be, which is known anyway, never
    of its count. When no guard is left, every cell is hidden.
    """
    if threshold <= 1 or not (total or any(cell.count for cell in cells)):
        return [""] * len(cells)
    if total:
        return [total] * len(cells)
    return hide(
        [cell.count for cell in cells], threshold, most=[cell.most for cell in cells]
    )


def is_told(cells: Sequence[Cell], states: Sequence[str], threshold: int) -> bool:
    """Say whether a hidden count follows from the sum of the cells and the rule."""
    hidden = [place for place, state in enumerate(states) if state]
    left = sum(cells[place].count for place in hidden)
    ranges = [_range(cells[place].most, states[place], threshold) for place in hidden]
    least = sum(low for low, _ in ranges)
    most = sum(high for _, high in ranges)
    return any(
        max(low, left - (most - high)) == min(high, left - (least - low))
        for low, high in ranges
    )


def _range(most: int, state: str, threshold: int) -> tuple[int, int]:
    if state == "small":
        return (1, min(threshold - 1, most)) if most > 1 else (0, most)
    return threshold, most

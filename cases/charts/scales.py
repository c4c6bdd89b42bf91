"""Numbers along the edges of an axes."""

from collections.abc import Sequence
from typing import Final

from matplotlib.axes import Axes

from cases.charts.sheet import Sheet
from cases.charts.words import Words, percent_text

__all__ = ["TICK_SIZE", "left_scale", "lower_scale", "steps_decimals"]

TICK_SIZE: Final = 11.5


def steps_decimals(steps: Sequence[float]) -> int:
    """Return how many decimals steps need in per cent."""
    return 0 if all(round(step * 100, 6) % 1 == 0 for step in steps) else 1


def left_scale(sheet: Sheet, axes: Axes, steps: Sequence[float], words: Words) -> None:
    """Write fractions in per cent to the left, without decimals that say nothing."""
    decimals = steps_decimals(steps)
    for step in steps:
        x, y = sheet.place(axes, axes.get_xlim()[0], step)
        said = percent_text(step, words, decimals=decimals)
        sheet.write(x - 6, y + 4, said, size=TICK_SIZE, anchor="end", quiet=True)


def lower_scale(
    sheet: Sheet, axes: Axes, steps: Sequence[float], y: float, words: str
) -> None:
    """Write whole numbers at a baseline, and under them what they count."""
    for step in steps:
        x, _y = sheet.place(axes, step, 0)
        sheet.write(x, y, f"{step:.0f}", size=TICK_SIZE, anchor="middle", quiet=True)
    right, _y = sheet.place(axes, steps[-1], 0)
    sheet.write(right, y + 16, words, size=12.5, bold=True, anchor="end")

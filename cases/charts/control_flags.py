"""What happened during the periods of a control chart, as numbered flags."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from cases.audit.report_types import Annotation, ControlChart, ControlPoint
from cases.charts.legend import Key
from cases.charts.marks import FLAG
from cases.charts.sheet import Sheet
from cases.charts.words import Words
from cases.drawings.palette import INK_2, SURFACE
from cases.drawings.svg import text_width

__all__ = ["draw_flags", "flag_keys", "happened"]

# The widest flag, two numbers of two digits each, and a little.
_APART: Final = 46.0


@dataclass(frozen=True, slots=True)
class _Flag:
    """Numbers of annotations that stand too near each other to be told apart."""

    x: float
    first: int
    last: int

    @property
    def text(self) -> str:
        return (
            str(self.first) if self.first == self.last else f"{self.first}–{self.last}"
        )


def happened(chart: ControlChart) -> list[Annotation]:
    """Return what falls into the periods, in order of days."""
    first, last = chart.points[0].first, chart.points[-1].last
    found = [one for one in chart.annotations if first <= one.on <= last]
    return sorted(found, key=lambda one: (one.on, one.text))


def _position(points: Sequence[ControlPoint], annotation: Annotation) -> float:
    for index, point in enumerate(points):
        if annotation.on <= point.last:
            days = (point.last - point.first).days + 1
            gone = max(0, (annotation.on - point.first).days)
            return index - 0.5 + (gone + 0.5) / days
    return len(points) - 0.5


def _grouped(sheet: Sheet, axes: Axes, chart: ControlChart) -> list[_Flag]:
    flags: list[_Flag] = []
    for index, one in enumerate(happened(chart), start=1):
        x, _y = sheet.place(axes, _position(chart.points, one), 0)
        if flags and x - flags[-1].x < _APART:
            flags[-1] = _Flag(flags[-1].x, flags[-1].first, index)
        else:
            flags.append(_Flag(x, index, index))
    return flags


def draw_flags(sheet: Sheet, axes: Axes, chart: ControlChart, base: float) -> None:
    """Draw the flags over the plot, from y 24 down to its base."""
    for flag in _grouped(sheet, axes, chart):
        wide = max(16.0, text_width(flag.text, 11) + 6)
        left = max(1.0, min(flag.x - wide / 2, sheet.width - wide - 1))
        sheet.draw(
            Line2D([flag.x, flag.x], [40, base], color=INK_2, linewidth=1, gid="flag")
        )
        box = Rectangle(
            (left, 24), wide, 16, facecolor=SURFACE, edgecolor=INK_2, linewidth=1.2
        )
        sheet.draw(box)
        sheet.write(left + wide / 2, 36, flag.text, size=11, bold=True, anchor="middle")


def flag_keys(annotations: Sequence[Annotation], words: Words) -> list[Key]:
    """Return what each number means."""
    return [
        Key(
            words.annotation.format(on=words.date_text(one.on), text=one.text),
            "mark",
            FLAG,
            str(index),
            own_line=True,
        )
        for index, one in enumerate(annotations, start=1)
    ]

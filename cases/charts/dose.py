"""How much was missing at a check against what became of it: the dose-response.

A point with the whiskers of its Wilson interval for each class, and the number it is of
below. Classes are told apart by their words and the shape of their verdict, never by a
colour. A class of which nothing may be shown is a hatched column without a height.
"""

from collections.abc import Sequence
from typing import Final

from matplotlib.axes import Axes

from cases.audit.report_types import DoseResponse, RateRow, Trend
from cases.charts.legend import Key, legend, legend_height
from cases.charts.marks import FILLED_POINT, JOIN, UNSHOWN
from cases.charts.scales import left_scale
from cases.charts.sheet import (
    LEADING,
    NARROW,
    WIDE,
    Sheet,
    grid,
    lines_of,
    rule,
    steps_of,
)
from cases.charts.words import Words, count_text, number_text, percent_text, range_text
from cases.drawings.glyphs import glyph

__all__ = ["describe_dose", "dose"]

_TOP: Final = 34.0
_LEFT: Final = 46.0
_RIGHT: Final = 8.0
_VERDICTS: Final = {
    "sufficient": "sufficient",
    "undecided": "undecided",
    "up_to_025": "insufficient",
    "up_to_050": "insufficient",
    "over_050": "insufficient",
    "unmeasured": "unmeasured",
}


def describe_dose(chart: DoseResponse, *, words: Words) -> str:
    """Return the picture's numbers as sentences, and the trend with its caution."""
    said = []
    for row in chart.rows:
        if row.rate is None:
            count = count_text(row.count, row.hidden, words.small_number, words)
            said.append(
                words.dose_row_hidden.format(label=row.label, count=count, n=row.n)
            )
        else:
            said.append(
                words.dose_row.format(
                    label=row.label,
                    rate=percent_text(row.rate, words),
                    interval=range_text(row.low, row.high, words),
                    n=row.n,
                )
            )
    said += _trend(chart.trend, words)
    return "; ".join(said) + "." if said else ""


def _trend(trend: Trend | None, words: Words) -> list[str]:
    if trend is None:
        return []
    z = number_text(trend.z, words, decimals=2)
    said = [words.trend.format(z=z, p=_p_text(trend.p, words))]
    if trend.clustered_p is not None:
        p = _p_text(trend.clustered_p, words)
        said.append(words.trend_clustered.format(clusters=trend.clusters, p=p))
    return said


def _p_text(p: float, words: Words) -> str:
    if p < 0.001:
        return f"< {number_text(0.001, words, decimals=3)}"
    return number_text(p, words, decimals=3)


def dose(chart: DoseResponse, *, words: Words, uid: str, narrow: bool = False) -> str:
    """Return the picture as SVG; nothing where no class may be shown."""
    if all(row.rate is None for row in chart.rows):
        return ""
    width, tall, size = (NARROW, 180.0, 11.5) if narrow else (WIDE, 230.0, 13.0)
    cell = (width - _LEFT - _RIGHT) / len(chart.rows)
    said = [_below(row, words, size, cell - 6) for row in chart.rows]
    base = _TOP + tall
    foot = base + 34 + max(len(lines) for lines in said) * size * LEADING
    keys = _keys(chart.rows, words)
    sheet = Sheet(width, foot + legend_height(keys, width), uid=uid)
    highest = max(row.high or row.rate or 0.0 for row in chart.rows)
    # A little room for the number over the highest whisker.
    steps = steps_of(min(1.0, highest * 1.1))
    axes = sheet.axes(
        (_LEFT, _TOP, width - _RIGHT, base),
        x=(-0.5, len(chart.rows) - 0.5),
        y=(0, steps[-1]),
    )
    grid(axes, y=steps[1:])
    rule(axes, y=0)
    sheet.write(2, 14, words.proportion, size=12.5, bold=True)
    left_scale(sheet, axes, steps, words)
    for index, row in enumerate(chart.rows):
        _column(sheet, axes, index, row, words, size)
        x, _y = sheet.place(axes, index, 0)
        shape = _VERDICTS.get(row.key, "not_applicable")
        sheet.over(glyph(shape, x, base + 15, 14))
        sheet.column(x, base + 38, said[index][:-1], size=size, anchor="middle")
        last = base + 38 + (len(said[index]) - 1) * size * LEADING
        sheet.write(x, last, said[index][-1], size=size, anchor="middle", quiet=True)
    legend(sheet, keys, foot)
    title = words.dose_title
    return sheet.svg(title=title, describe=describe_dose(chart, words=words))


def _below(row: RateRow, words: Words, size: float, width: float) -> list[str]:
    """Return the lines under a class: its name, its number last."""
    lines = lines_of(row.label, size=size, width=width)
    if row.rate is None and row.n:
        count = count_text(row.count, row.hidden, words.small_number, words)
        lines += lines_of(count, size=size, width=width)
    return [*lines, words.n.format(n=row.n)]


def _column(
    sheet: Sheet, axes: Axes, index: int, row: RateRow, words: Words, size: float
) -> None:
    if row.rate is None:
        if row.n:
            axes.axvspan(index - 0.3, index + 0.3, gid="hidden", zorder=0.5, **UNSHOWN)
        return
    low = row.rate if row.low is None else row.low
    high = row.rate if row.high is None else row.high
    _x, top = sheet.place(axes, index, high)
    for level in (low, high):
        axes.plot([index - 0.07, index + 0.07], [level] * 2, clip_on=False, **JOIN)
    axes.plot([index, index], [low, high], gid="whiskers", clip_on=False, **JOIN)
    axes.plot([index], [row.rate], gid="point", linestyle="none", clip_on=False,
              **(FILLED_POINT | {"markersize": 9}))  # fmt: skip
    x, _y = sheet.place(axes, index, row.rate)
    said = percent_text(row.rate, words)
    sheet.write(x, top - 7, said, size=size, bold=True, anchor="middle")


def _keys(rows: Sequence[RateRow], words: Words) -> list[Key]:
    keys = [Key(words.whiskers, "line", JOIN | FILLED_POINT)]
    if any(row.rate is None and row.n for row in rows):
        keys.append(Key(words.hidden_class, "box", UNSHOWN))
    return keys

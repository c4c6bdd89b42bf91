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
from cases.charts.marks import FILLED_POINT, JOIN, TICK, UNSHOWN, Style
from cases.charts.scales import TICK_SIZE, left_scale, steps_decimals
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
_SIZE: Final = 13.0
_POINT: Final[Style] = FILLED_POINT | {"markersize": 9, "linestyle": "none"}
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
    sheet = _rows(chart, words, uid) if narrow else _columns(chart, words, uid)
    title = words.dose_title
    return sheet.svg(title=title, describe=describe_dose(chart, words=words))


def _steps(chart: DoseResponse) -> list[float]:
    highest = max(row.high or row.rate or 0.0 for row in chart.rows)
    # A little room for the number over the highest whisker.
    return steps_of(min(1.0, highest * 1.1))


def _columns(chart: DoseResponse, words: Words, uid: str) -> Sheet:
    """Draw the classes beside each other."""
    cell = (WIDE - _LEFT - _RIGHT) / len(chart.rows)
    said = [_below(row, words, cell - 6) for row in chart.rows]
    base = _TOP + 230
    foot = base + 34 + max(len(lines) for lines in said) * _SIZE * LEADING
    keys = _keys(chart.rows, words)
    sheet = Sheet(WIDE, foot + legend_height(keys, WIDE), uid=uid)
    steps = _steps(chart)
    axes = sheet.axes(
        (_LEFT, _TOP, WIDE - _RIGHT, base),
        x=(-0.5, len(chart.rows) - 0.5),
        y=(0, steps[-1]),
    )
    grid(axes, y=steps[1:])
    rule(axes, y=0)
    sheet.write(2, 14, words.proportion, size=12.5, bold=True)
    left_scale(sheet, axes, steps, words)
    for index, row in enumerate(chart.rows):
        _column(sheet, axes, index, row, words)
        x, _y = sheet.place(axes, index, 0)
        sheet.over(glyph(_shape(row), x, base + 15, 14))
        y = sheet.column(x, base + 38, said[index][:-1], size=_SIZE, anchor="middle")
        sheet.write(x, y, said[index][-1], size=_SIZE, anchor="middle", quiet=True)
    legend(sheet, keys, foot)
    return sheet


def _shape(row: RateRow) -> str:
    """Return the shape of a row's verdict; of several verdicts together none's."""
    found = {_VERDICTS.get(key, "not_applicable") for key in row.key.split(".")}
    return found.pop() if len(found) == 1 else "not_applicable"


def _unshown(row: RateRow, words: Words) -> str:
    """Return why a class has no point; "" for one without restorations."""
    if row.rate is not None or not row.n:
        return ""
    return count_text(row.count, row.hidden, words.small_number, words)


def _below(row: RateRow, words: Words, width: float) -> list[str]:
    """Return the lines under a class: its name, its number last."""
    lines = lines_of(row.label, size=_SIZE, width=width)
    why = _unshown(row, words)
    if why:
        lines += lines_of(why, size=_SIZE, width=width)
    return [*lines, words.n.format(n=row.n)]


def _column(sheet: Sheet, axes: Axes, index: int, row: RateRow, words: Words) -> None:
    if row.rate is None:
        if row.n:
            axes.axvspan(index - 0.3, index + 0.3, gid="hidden", zorder=0.5, **UNSHOWN)
        return
    low = row.rate if row.low is None else row.low
    high = row.rate if row.high is None else row.high
    for level in (low, high):
        axes.plot([index - 0.07, index + 0.07], [level] * 2, clip_on=False, **JOIN)
    axes.plot([index, index], [low, high], gid="whiskers", clip_on=False, **JOIN)
    axes.plot([index], [row.rate], gid="point", clip_on=False, **_POINT)
    x, y = sheet.place(axes, index, high)
    said = percent_text(row.rate, words)
    sheet.write(x, y - 7, said, size=_SIZE, bold=True, anchor="middle")


def _rows(chart: DoseResponse, words: Words, uid: str) -> Sheet:
    """Draw the classes below each other, for a phone."""
    names = [lines_of(row.label, size=_SIZE, width=NARROW - 92) for row in chart.rows]
    tops = [2.0]
    for lines in names:
        tops.append(tops[-1] + len(lines) * _SIZE * LEADING + 34)
    base = tops[-1]
    keys = _keys(chart.rows, words)
    sheet = Sheet(NARROW, base + 34 + legend_height(keys, NARROW), uid=uid)
    steps = _steps(chart)
    box = (16.0, tops[0], NARROW - 66, base)
    axes = sheet.axes(box, x=(0, steps[-1]), y=(base, tops[0]))
    rule(axes, x=0)
    for row, lines, top, bottom in zip(
        chart.rows, names, tops[:-1], tops[1:], strict=True
    ):
        sheet.over(glyph(_shape(row), 9, top + 10, 13))
        sheet.column(22, top + 15, lines, size=_SIZE)
        number = words.n.format(n=row.n)
        sheet.write(NARROW - 2, top + 15, number, size=_SIZE, anchor="end", quiet=True)
        _strip(sheet, axes, row, bottom - 20, words)
    decimals = steps_decimals(steps)
    for step in steps:
        x, _y = sheet.place(axes, step, base)
        axes.plot([step, step], [base, base + 5], clip_on=False, **TICK)
        said = percent_text(step, words, decimals=decimals)
        sheet.write(x, base + 18, said, size=TICK_SIZE, anchor="middle", quiet=True)
    rule(axes, y=base)
    legend(sheet, keys, base + 34)
    return sheet


def _strip(sheet: Sheet, axes: Axes, row: RateRow, y: float, words: Words) -> None:
    if row.rate is None:
        why = _unshown(row, words)
        if why:
            axes.axhspan(y - 8, y + 8, gid="hidden", zorder=0.5, **UNSHOWN)
            sheet.write(NARROW - 2, y + 4.5, why, size=_SIZE, anchor="end", quiet=True)
        return
    low = row.rate if row.low is None else row.low
    high = row.rate if row.high is None else row.high
    for end in (low, high):
        axes.plot([end] * 2, [y - 5, y + 5], clip_on=False, **JOIN)
    axes.plot([low, high], [y, y], gid="whiskers", clip_on=False, **JOIN)
    axes.plot([row.rate], [y], gid="point", clip_on=False, **_POINT)
    said = percent_text(row.rate, words)
    sheet.write(NARROW - 2, y + 4.5, said, size=_SIZE, bold=True, anchor="end")


def _keys(rows: Sequence[RateRow], words: Words) -> list[Key]:
    keys = [Key(words.whiskers, "line", JOIN | FILLED_POINT)]
    if any(row.rate is None and row.n for row in rows):
        guarding = any(row.hidden == "secondary" for row in rows)
        why = words.hidden_classes if guarding else words.hidden_class
        keys.append(Key(why, "box", UNSHOWN))
    return keys

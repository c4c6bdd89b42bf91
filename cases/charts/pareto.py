"""Causes of remakes, most first: a bar for each, and their cumulative share.

The bars lie, so that a cause can be named in full beside its own; the cumulative line has
its scale above. A hidden count is an empty broken bar up to the smallest number shown.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from matplotlib.axes import Axes

from cases.audit.report_types import CauseRow
from cases.charts.legend import Key, legend, legend_height
from cases.charts.marks import EMPTY, HATCHED, HOLLOW_POINT, JOIN, SOLID, TICK
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
from cases.charts.words import Words, count_text, percent_text, share_text

__all__ = ["describe_pareto", "pareto"]


@dataclass(frozen=True, slots=True)
class _Layout:
    width: float
    size: float
    label: float
    count: float
    plot: float
    right: float
    ticks: int


_WIDE: Final = _Layout(WIDE, 13.5, 240, 318, 332, 652, 6)
_NARROW: Final = _Layout(NARROW, 12, 116, 158, 168, 280, 3)
_LINE: Final[dict[str, Any]] = JOIN | HOLLOW_POINT


def describe_pareto(rows: Sequence[CauseRow], *, words: Words) -> str:
    """Return the picture's numbers as sentences."""
    said = []
    for row in rows:
        count = count_text(row.count, row.hidden, words.small_number, words)
        form = (
            words.pareto_row if row.cumulative is not None else words.pareto_row_hidden
        )
        said.append(
            form.format(
                cause=row.label,
                count=count,
                cumulative=share_text(row.cumulative, words),
            )
        )
    return "; ".join(said) + "." if said else ""


def pareto(
    rows: Sequence[CauseRow],
    *,
    words: Words,
    uid: str,
    small_number: int | None = None,
    narrow: bool = False,
) -> str:
    """Return the picture as SVG; nothing where no cause has a number to be shown.

    ``small_number``: counts from 1 to below it are hidden (else as in ``words``); it is
    how long a hidden bar is.
    """
    if not any(row.count or row.internal for row in rows):
        return ""
    if small_number is not None:
        words = replace(words, small_number=small_number)
    layout = _NARROW if narrow else _WIDE
    labels = [lines_of(row.label, size=layout.size, width=layout.label) for row in rows]
    heights = [max(30.0, len(one) * layout.size * 1.22 + 12) for one in labels]
    tops = [52.0]
    for height in heights:
        tops.append(tops[-1] + height)
    middles = [top + height / 2 for top, height in zip(tops, heights, strict=False)]
    keys = _keys(rows, words)
    sheet = Sheet(
        layout.width, tops[-1] + 32 + legend_height(keys, layout.width), uid=uid
    )
    _columns(sheet, rows, labels, middles, layout, words)
    _plot(sheet, rows, middles, (tops[0], tops[-1]), layout, words)
    legend(sheet, keys, tops[-1] + 32)
    return sheet.svg(
        title=words.pareto_title,
        describe=describe_pareto(rows, words=words),
    )


def _columns(
    sheet: Sheet,
    rows: Sequence[CauseRow],
    labels: Sequence[list[str]],
    middles: Sequence[float],
    layout: _Layout,
    words: Words,
) -> None:
    """Write cause and count before the bars, the cumulative share after them."""
    size = layout.size
    sheet.write(2, 14, words.cause, size=size, bold=True)
    sheet.write(layout.count, 14, words.remakes, size=size, bold=True, anchor="end")
    sheet.write(
        layout.width - 2, 14, words.cumulative, size=size, bold=True, anchor="end"
    )
    for row, lines, middle in zip(rows, labels, middles, strict=True):
        first = middle - (len(lines) - 1) * size * LEADING / 2 + size * 0.35
        sheet.column(2, first, lines, size=size)
        count = count_text(row.count, row.hidden, words.small_number, words)
        parts = lines_of(count, size=size, width=layout.count - layout.label - 8)
        sheet.column(
            layout.count,
            middle - (len(parts) - 1) * size * LEADING / 2 + size * 0.35,
            parts,
            size=size,
            bold=row.count is not None,
            anchor="end",
        )
        level = middle + size * 0.35
        if row.cumulative is not None:
            share = percent_text(row.cumulative, words)
            sheet.write(layout.width - 2, level, share, size=size, anchor="end")


def _plot(
    sheet: Sheet,
    rows: Sequence[CauseRow],
    middles: Sequence[float],
    ends: tuple[float, float],
    layout: _Layout,
    words: Words,
) -> None:
    """Draw the bars against the lower scale and the line against the upper."""
    counts = [
        max(words.small_number if row.count is None else row.count, row.internal or 0)
        for row in rows
    ]
    steps = steps_of(max(counts), whole=True, at_most=layout.ticks)
    box = (layout.plot, ends[0], layout.right, ends[1])
    bars = sheet.axes(box, x=(0, steps[-1]), y=(ends[1], ends[0]))
    grid(bars, x=steps[1:])
    rule(bars, x=0)
    _bars(bars, rows, middles, words.small_number)
    for step in steps:
        x, _y = sheet.place(bars, step, ends[1])
        sheet.write(
            x, ends[1] + 16, f"{step:.0f}", size=11.5, anchor="middle", quiet=True
        )
    shares = sheet.axes(box, x=(0, 1), y=(ends[1], ends[0]))
    for share in (0.0, 0.5, 1.0):
        x, _y = sheet.place(shares, share, ends[0])
        said = percent_text(share, words, decimals=0)
        sheet.write(x, ends[0] - 10, said, size=11.5, anchor="middle", quiet=True)
        shares.plot([share, share], [ends[0] - 6, ends[0]], clip_on=False, **TICK)
    line = [math.nan if row.cumulative is None else row.cumulative for row in rows]
    shares.plot(line, middles, clip_on=False, gid="cumulative", **_LINE)


def _bars(
    axes: Axes, rows: Sequence[CauseRow], middles: Sequence[float], small_number: int
) -> None:
    """Draw what is known of each cause; a bar makes room for one below it."""
    shown, hidden, before = [], [], []
    for row, middle in zip(rows, middles, strict=True):
        level = middle - 3 if row.internal else middle
        # One hidden only to guard others may be long: nothing is drawn of it.
        if row.hidden == "small":
            hidden.append((level, small_number))
        elif row.count:
            shown.append((level, row.count))
        if row.internal:
            before.append((middle + 9, row.internal))
    for found, gid, tall, look in (
        (shown, "bar", 16, SOLID),
        (hidden, "hidden", 16, EMPTY),
        (before, "internal", 6, HATCHED),
    ):
        axes.barh([y for y, _count in found], [count for _y, count in found], tall,
                  gid=gid, **look)  # fmt: skip


def _keys(rows: Sequence[CauseRow], words: Words) -> list[Key]:
    keys = [Key(words.after_dispatch, "box", SOLID)]
    if any(row.internal for row in rows):
        keys.append(Key(words.before_dispatch, "box", HATCHED))
    if any(row.hidden == "small" for row in rows):
        keys.append(Key(words.hidden_count, "box", EMPTY))
    if any(row.cumulative is not None for row in rows):
        keys.append(Key(words.cumulative_line, "line", _LINE))
    return keys

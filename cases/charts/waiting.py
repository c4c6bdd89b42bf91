"""How long each side took: counts by time, a row for the laboratory and the clinic.

The steps of time are of unequal length but equally wide, so that hours and days can be
read in one picture. The median of the survival curve stands over the bars with its
interval; those that still wait count in it, but are in no bar.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes

from cases.audit.report_types import Waiting, WaitingBar
from cases.charts.legend import Key, legend, legend_height
from cases.charts.marks import EMPTY, JOIN, OUTSIDE, SOLID, TICK
from cases.charts.scales import TICK_SIZE
from cases.charts.sheet import LEADING, NARROW, WIDE, Sheet, lines_of, rule, steps_of
from cases.charts.words import Words, hours_text, label_of

__all__ = ["describe_waiting", "waiting"]

_MARGIN: Final = 16.0
_SIZE: Final = 12.5
_STRIP: Final = 24.0
_TALL: Final = 96.0
_MEDIAN: Final[dict[str, Any]] = JOIN | OUTSIDE | {"markersize": 9}


def describe_waiting(sides: Sequence[Waiting], *, words: Words) -> str:
    """Return the picture's numbers as sentences."""
    said = []
    for side in sides:
        bars = [_bar_text(bar, words) for bar in side.bars if bar.count != 0]
        name = label_of(words, "side", side.side)
        said.append(", ".join([name, *_headline(side, words), *bars]))
    return "; ".join(said) + "." if said else ""


def _bar_text(bar: WaitingBar, words: Words) -> str:
    count = words.hidden if bar.count is None else str(bar.count)
    low = hours_text(bar.from_hours, words)
    if bar.to_hours is None:
        return words.waiting_bar_last.format(low=low, count=count)
    high = hours_text(bar.to_hours, words)
    return words.waiting_bar.format(low=low, high=high, count=count)


def _headline(side: Waiting, words: Words) -> list[str]:
    """Return number, median with interval, and how many still wait."""
    said = [words.n.format(n=side.n)]
    if side.median_hours is not None:
        low = hours_text(side.low_hours or 0.0, words)
        interval = (
            words.or_more.format(low=low)
            if side.high_hours is None
            else words.interval.format(low=low, high=hours_text(side.high_hours, words))
        )
        median = hours_text(side.median_hours, words)
        said.append(words.median_text.format(median=median, interval=interval))
    elif side.n:
        said.append(words.hidden if side.hidden else words.median_unknown)
    if side.waiting:
        said.append(words.still_waiting.format(count=side.waiting))
    return said


@dataclass(frozen=True, slots=True)
class _Row:
    """One side's place in the picture."""

    side: Waiting
    head: list[str]
    top: float
    base: float

    @property
    def bars_top(self) -> float:
        return self.base - _TALL


def waiting(
    sides: Sequence[Waiting], *, words: Words, uid: str, narrow: bool = False
) -> str:
    """Return the picture as SVG; nothing where there was no query."""
    known = [side for side in sides if side.n and side.bars]
    if not known:
        return ""
    width = NARROW if narrow else WIDE
    rows: list[_Row] = []
    y = 0.0
    for side in known:
        said = ", ".join(_headline(side, words))
        head = lines_of(said, size=_SIZE, width=width - 4)
        base = y + 22 + len(head) * _SIZE * LEADING + _STRIP + 14 + _TALL
        rows.append(_Row(side, head, y, base))
        y = base + 36
    keys = _keys(known, words)
    sheet = Sheet(width, y + 2 + legend_height(keys, width), uid=uid)
    counts = [bar.count or 0 for side in known for bar in side.bars]
    highest = steps_of(max([*counts, words.small_number]), whole=True)[-1]
    for row in rows:
        _side(sheet, row, highest, words)
    legend(sheet, keys, y + 2)
    title = words.waiting_title
    return sheet.svg(title=title, describe=describe_waiting(sides, words=words))


def _side(sheet: Sheet, row: _Row, highest: float, words: Words) -> None:
    name = label_of(words, "side", row.side.side)
    sheet.write(2, row.top + 14, name, size=13.5, bold=True)
    sheet.column(2, row.top + 31, row.head, size=_SIZE, quiet=True)
    box = (_MARGIN, row.bars_top, sheet.width - _MARGIN, row.base)
    axes = sheet.axes(box, x=(0, len(row.side.bars)), y=(0, highest))
    rule(axes, y=0)
    bars = row.side.bars
    shown = [(i + 0.5, bar.count) for i, bar in enumerate(bars) if bar.count]
    hidden = [i + 0.5 for i, bar in enumerate(bars) if bar.count is None]
    few = [words.small_number] * len(hidden)
    axes.bar([x for x, _count in shown], [count for _x, count in shown], 0.72,
             gid="bar", clip_on=False, **SOLID)  # fmt: skip
    axes.bar(hidden, few, 0.72, gid="hidden", clip_on=False, **EMPTY)
    ticks = [-highest * 0.05] * len(bars)
    axes.vlines(range(len(bars)), ticks, 0, clip_on=False, **TICK)
    _median(sheet, axes, row, highest)
    for index, bar in enumerate(bars):
        _numbers(sheet, axes, index, bar, words)


def _numbers(
    sheet: Sheet, axes: Axes, index: int, bar: WaitingBar, words: Words
) -> None:
    """Write a bar's count over it, and where it begins below."""
    left, base = sheet.place(axes, index, 0)
    begins = hours_text(bar.from_hours, words) if bar.from_hours else "0"
    sheet.write(left, base + 18, begins, size=TICK_SIZE, anchor="middle", quiet=True)
    if bar.count is not None:
        x, y = sheet.place(axes, index + 0.5, bar.count)
        sheet.write(x, y - 5, str(bar.count), size=TICK_SIZE, anchor="middle",
                    quiet=not bar.count)  # fmt: skip


def _position(bars: Sequence[WaitingBar], hours: float) -> float:
    """Return where a time lies on the steps; in the open one, its middle."""
    for index, bar in enumerate(bars):
        if bar.to_hours is None:
            return index + 0.5
        if hours <= bar.to_hours:
            gone = (hours - bar.from_hours) / (bar.to_hours - bar.from_hours)
            return index + max(0.0, gone)
    return float(len(bars))


def _median(sheet: Sheet, axes: Axes, row: _Row, highest: float) -> None:
    side = row.side
    if side.median_hours is None:
        return
    bars = side.bars
    place = _position(bars, side.median_hours)
    low = place if side.low_hours is None else _position(bars, side.low_hours)
    high = (
        float(len(bars))
        if side.high_hours is None
        else _position(bars, side.high_hours)
    )
    level = highest * (1 + (14 + _STRIP / 2) / _TALL)
    axes.plot([low, high], [level] * 2, gid="interval", clip_on=False, **JOIN)
    reach = highest * 5 / _TALL
    # Without an upper end the interval stays open.
    for end in [low] if side.high_hours is None else [low, high]:
        axes.plot([end] * 2, [level - reach, level + reach], clip_on=False, **JOIN)
    axes.plot([place], [level], gid="median", linestyle="none", clip_on=False,
              **(OUTSIDE | {"markersize": 9}))  # fmt: skip


def _keys(sides: Sequence[Waiting], words: Words) -> list[Key]:
    keys = [Key(words.queries, "box", SOLID)]
    if any(bar.count is None for side in sides for bar in side.bars):
        keys.append(Key(words.hidden_count, "box", EMPTY))
    if any(side.median_hours is not None for side in sides):
        keys.append(Key(words.median, "line", _MEDIAN))
    return keys

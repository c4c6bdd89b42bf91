"""The remake rate over time with the limits of a Laney p' chart.

Signals are large diamonds with a letter, what happened are numbered flags; both are
explained below. A period that may still change is hollow and joined by dots.
"""

import math
from collections.abc import Sequence
from typing import Any, Final

from matplotlib.axes import Axes

from cases.audit.report_types import ControlChart, ControlPoint
from cases.charts.control_flags import draw_flags, flag_keys, happened
from cases.charts.legend import Key, legend, legend_height, mark
from cases.charts.marks import (
    DASHED,
    DOTTED_JOIN,
    FILLED_POINT,
    HOLLOW_POINT,
    JOIN,
    SIGNAL,
    THIN,
    UNSHOWN,
    letter,
)
from cases.charts.scales import TICK_SIZE, left_scale
from cases.charts.sheet import NARROW, WIDE, Sheet, grid, rule, steps_of
from cases.charts.words import Words, percent_text
from cases.drawings.svg import text_width

__all__ = ["control", "describe_control"]

_TOP: Final = 52.0
_LEFT: Final = 46.0
_RIGHT: Final = 14.0


def describe_control(chart: ControlChart, *, words: Words) -> str:
    """Return what the picture shows as sentences."""
    if not chart.points:
        return ""
    first, last = chart.points[0].label, chart.points[-1].label
    said = [words.control_range.format(count=len(chart.points), first=first, last=last)]
    if chart.centre is None:
        said.append(words.no_limits)
    else:
        said.append(words.centre.format(rate=percent_text(chart.centre, words)))
    said += [key.words for key in _signal_keys(chart, words)]
    said += [key.words for key in flag_keys(happened(chart), words)]
    return "; ".join(said) + "."


def control(
    chart: ControlChart, *, words: Words, uid: str, narrow: bool = False
) -> str:
    """Return the picture as SVG; nothing where no period may be shown."""
    if all(point.rate is None for point in chart.points):
        return ""
    width, tall = (NARROW, 190.0) if narrow else (WIDE, 240.0)
    keys = _keys(chart, words)
    base = _TOP + tall
    sheet = Sheet(width, base + 52 + legend_height(keys, width), uid=uid)
    steps = steps_of(min(1.0, _highest(chart) * 1.08))
    axes = sheet.axes(
        (_LEFT, _TOP, width - _RIGHT, base),
        x=(-0.5, len(chart.points) - 0.5),
        y=(0, steps[-1]),
    )
    grid(axes, y=steps[1:])
    rule(axes, y=0)
    sheet.write(2, 14, words.rate, size=12.5, bold=True)
    left_scale(sheet, axes, steps, words)
    _limits(axes, chart)
    draw_flags(sheet, axes, chart, base)
    _points(sheet, axes, chart)
    _periods(sheet, axes, chart, base, words)
    legend(sheet, keys, base + 52)
    return sheet.svg(
        title=words.control_title, describe=describe_control(chart, words=words)
    )


def _highest(chart: ControlChart) -> float:
    values = [
        value
        for point in chart.points
        for value in (point.rate, point.upper)
        if value is not None
    ]
    return max([*values, chart.centre or 0.0]) or 0.05


def _limits(axes: Axes, chart: ControlChart) -> None:
    for index, point in enumerate(chart.points):
        # Nothing is hidden where nothing was dispatched.
        if point.rate is None and point.n:
            axes.axvspan(index - 0.5, index + 0.5, gid="hidden", zorder=0.5, **UNSHOWN)
    if chart.centre is None:
        return
    edges = [index - 0.5 for index in range(len(chart.points) + 1)]
    for name in ("lower", "upper"):
        values = [getattr(point, name) for point in chart.points]
        known = [math.nan if value is None else value for value in values]
        if any(value is not None for value in values):
            axes.stairs(known, edges, baseline=None, gid=name, **_patch(DASHED))
    axes.plot(
        [edges[0], edges[-1]], [chart.centre] * 2, gid="centre", clip_on=False, **THIN
    )


def _patch(style: dict[str, Any]) -> dict[str, Any]:
    """Return a line's style for a patch without filling."""
    rest = {key: value for key, value in style.items() if key != "color"}
    return rest | {"edgecolor": style["color"], "fill": False, "clip_on": False}


def _points(sheet: Sheet, axes: Axes, chart: ControlChart) -> None:
    """Draw what joins the points, then the points; unknown rates leave gaps."""
    for style, wanted in ((JOIN, True), (DOTTED_JOIN, False)):
        joined_x, joined_y = _joined(chart.points, complete=wanted)
        axes.plot(joined_x, joined_y, clip_on=False, **style)
    size = 7.0 if len(chart.points) <= 24 and sheet.width == WIDE else 5.0
    for style, gid, wanted in (
        (FILLED_POINT, "point", True),
        (HOLLOW_POINT, "incomplete", False),
    ):
        drawn = style | {"markersize": size, "linestyle": "none"}
        found = [
            (index, point.rate)
            for index, point in enumerate(chart.points)
            if point.rate is not None and not point.signal and point.complete is wanted
        ]
        axes.plot([x for x, _y in found], [y for _x, y in found], gid=gid,
                  clip_on=False, **drawn)  # fmt: skip
    for number, index in enumerate(_signals(chart)):
        x, y = sheet.place(axes, index, chart.points[index].rate or 0.0)
        mark(sheet, x, y, SIGNAL, letter(number))


def _joined(
    points: Sequence[ControlPoint], *, complete: bool
) -> tuple[list[float], list[float]]:
    """Return the lines between neighbours as one, with gaps."""
    x: list[float] = []
    y: list[float] = []
    for index, (one, other) in enumerate(zip(points, points[1:], strict=False)):
        if one.rate is None or other.rate is None:
            continue
        if (one.complete and other.complete) is complete:
            follows = bool(x) and x[-1] == index
            x += [index + 1] if follows else [math.nan, index, index + 1]
            y += [other.rate] if follows else [math.nan, one.rate, other.rate]
    return x, y


def _signals(chart: ControlChart) -> list[int]:
    return [
        index
        for index, point in enumerate(chart.points)
        if point.signal and point.rate is not None
    ]


def _periods(
    sheet: Sheet, axes: Axes, chart: ControlChart, base: float, words: Words
) -> None:
    """Write periods and numbers below, as many as there is room for; always the last."""
    said = [(point.label, words.n.format(n=point.n)) for point in chart.points]
    wide = max(text_width(part, TICK_SIZE) for pair in said for part in pair)
    one, _y = sheet.place(axes, 0, 0)
    other, _y = sheet.place(axes, 1, 0)
    cell = other - one
    over = max(0.0, wide / 2 - cell / 2 - _RIGHT)
    every = max(1, math.ceil((wide + 8 + over) / cell))
    for index, (label, number) in enumerate(said):
        if (len(said) - 1 - index) % every:
            continue
        x = min(one + index * cell, sheet.width - wide / 2 - 1)
        x = max(x, wide / 2 + 1)
        sheet.write(x, base + 22, label, size=TICK_SIZE, anchor="middle")
        sheet.write(x, base + 37, number, size=TICK_SIZE, anchor="middle", quiet=True)


def _signal_keys(chart: ControlChart, words: Words) -> list[Key]:
    found = [chart.points[index] for index in _signals(chart)]
    forms = {"above": words.signal_above, "below": words.signal_below}
    return [
        Key(
            forms[point.signal].format(
                label=point.label,
                rate=percent_text(point.rate or 0.0, words),
                count=point.count,
                n=point.n,
            ),
            "mark",
            SIGNAL,
            letter(index),
            own_line=True,
        )
        for index, point in enumerate(found)
    ]


def _keys(chart: ControlChart, words: Words) -> list[Key]:
    keys = [Key(words.point_complete, "line", JOIN | FILLED_POINT)]
    if any(not point.complete and point.rate is not None for point in chart.points):
        keys.append(Key(words.point_incomplete, "line", DOTTED_JOIN | HOLLOW_POINT))
    if chart.centre is not None:
        centre = words.centre.format(rate=percent_text(chart.centre, words))
        keys.append(Key(centre, "line", THIN))
        keys.append(Key(words.limits, "line", DASHED))
    else:
        keys.append(Key(words.no_limits, "none"))
    if any(point.rate is None and point.n for point in chart.points):
        guarding = any(point.hidden == "secondary" for point in chart.points)
        why = words.hidden_periods if guarding else words.hidden_period
        keys.append(Key(why, "box", UNSHOWN))
    return [
        *keys,
        *_signal_keys(chart, words),
        *flag_keys(happened(chart), words),
    ]

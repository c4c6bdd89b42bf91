"""Clinics against the common rate, with limits that narrow as numbers grow.

Clinics inside are small hollow points without a name; those outside are diamonds with a
letter, hollow beyond the 95 % and filled beyond the 99.8 % limits, named below.
"""

from collections.abc import Sequence
from typing import Final

from matplotlib.axes import Axes

from cases.audit.funnel import overdispersed
from cases.audit.report_types import Funnel, FunnelPoint
from cases.charts.legend import Key, legend, legend_height, mark
from cases.charts.marks import (
    DASHED,
    HOLLOW_POINT,
    LIMIT,
    OUTSIDE,
    SIGNAL,
    THIN,
    UNKNOWN,
    Style,
    letter,
)
from cases.charts.scales import left_scale, lower_scale
from cases.charts.sheet import NARROW, WIDE, Sheet, grid, rule, steps_of
from cases.charts.words import Words, number_text, percent_text

__all__ = ["describe_funnel", "funnel"]

_TOP: Final = 30.0
_LEFT: Final = 46.0
_RIGHT: Final = 16.0
_STYLES: Final[dict[str, Style]] = {
    "above_998": SIGNAL,
    "above_95": OUTSIDE,
    "below_95": OUTSIDE,
    "below_998": SIGNAL,
}


def _outside(chart: Funnel) -> list[FunnelPoint]:
    """Return the clinics to be named, highest rate first."""
    found = [p for p in chart.points if p.rate is not None and p.place in _STYLES]
    return sorted(found, key=lambda p: (-(p.rate or 0.0), -p.n, p.label))


def describe_funnel(chart: Funnel, *, words: Words) -> str:
    """Return what the picture shows as sentences."""
    if not chart.points:
        return ""
    inside = sum(1 for p in chart.points if p.rate is not None and p.place == "inside")
    said = [words.funnel_range.format(count=len(chart.points), inside=inside)]
    if chart.target is not None:
        said.append(words.target.format(rate=percent_text(chart.target, words)))
    said += [_named(point, words) for point in _outside(chart)]
    return "; ".join(said) + "."


def funnel(chart: Funnel, *, words: Words, uid: str, narrow: bool = False) -> str:
    """Return the picture as SVG; nothing where no clinic may be shown."""
    if all(point.rate is None for point in chart.points):
        return ""
    width, tall = (NARROW, 230.0) if narrow else (WIDE, 300.0)
    keys = _keys(chart, words)
    base = _TOP + tall
    sheet = Sheet(width, base + 54 + legend_height(keys, width), uid=uid)
    across = steps_of(
        max(point.n for point in chart.points), whole=True, at_most=4 if narrow else 8
    )
    up = steps_of(_highest(chart))
    box = (_LEFT, _TOP, width - _RIGHT, base)
    axes = sheet.axes(box, x=(0, across[-1]), y=(0, up[-1]))
    grid(axes, y=up[1:])
    rule(axes, y=0)
    sheet.write(2, 14, words.rate, size=12.5, bold=True)
    left_scale(sheet, axes, up, words)
    lower_scale(sheet, axes, across, base + 22, words.restorations)
    _lines(axes, chart)
    _points(sheet, axes, chart)
    legend(sheet, keys, base + 54)
    return sheet.svg(
        title=words.funnel_title, describe=describe_funnel(chart, words=words)
    )


def _highest(chart: Funnel) -> float:
    """Return how high the picture reaches: over the points, and some of the limits."""
    rates = [point.rate for point in chart.points if point.rate is not None]
    least = min(point.n for point in chart.points)
    limits = [line.high_998 for line in chart.lines if line.n >= max(least, 1)]
    target = chart.target or 0.0
    wanted = max([*rates, target * 2, 0.02]) * 1.12
    # Limits at very small numbers go up to 1 and would flatten everything else.
    return min(1.0, max(wanted, min(max(limits, default=0.0), wanted * 1.6)))


def _lines(axes: Axes, chart: Funnel) -> None:
    across = [line.n for line in chart.lines]
    for name, style in (
        ("low_998", LIMIT),
        ("low_95", DASHED),
        ("high_95", DASHED),
        ("high_998", LIMIT),
    ):
        if across:
            axes.plot(across, [getattr(line, name) for line in chart.lines], gid=name,
                      **style)  # fmt: skip
    if chart.target is not None:
        axes.axhline(chart.target, gid="target", **THIN)


def _points(sheet: Sheet, axes: Axes, chart: Funnel) -> None:
    inside = [p for p in chart.points if p.rate is not None and p.place not in _STYLES]
    axes.plot([p.n for p in inside], [p.rate or 0.0 for p in inside], gid="point",
              linestyle="none", clip_on=False, **HOLLOW_POINT)  # fmt: skip
    unknown = [p.n for p in chart.points if p.rate is None]
    axes.plot(unknown, [0.0] * len(unknown), gid="hidden", linestyle="none",
              clip_on=False, **UNKNOWN)  # fmt: skip
    for index, point in enumerate(_outside(chart)):
        x, y = sheet.place(axes, point.n, point.rate or 0.0)
        mark(sheet, x, y, _STYLES[point.place], letter(index))


def _named(point: FunnelPoint, words: Words) -> str:
    form: str = getattr(words, point.place)
    return form.format(
        label=point.label,
        rate=percent_text(point.rate or 0.0, words),
        count=point.count,
        n=point.n,
    )


def _keys(chart: Funnel, words: Words) -> list[Key]:
    named = [
        Key(_named(point, words), "mark", _STYLES[point.place], letter(index), True)
        for index, point in enumerate(_outside(chart))
    ]
    return [*_line_keys(chart, words), *_point_keys(chart, words), *named]


def _line_keys(chart: Funnel, words: Words) -> Sequence[Key]:
    keys = []
    if chart.target is not None:
        rate = percent_text(chart.target, words)
        keys.append(Key(words.target.format(rate=rate), "line", THIN))
    if chart.lines:
        keys.append(Key(words.limits_95, "line", DASHED))
        keys.append(Key(words.limits_998, "line", LIMIT))
    shown = sum(point.rate is not None for point in chart.points)
    if chart.overdispersion is not None and overdispersed(chart.overdispersion, shown):
        phi = number_text(chart.overdispersion, words)
        keys.append(Key(words.overdispersed.format(phi=phi), "none"))
    return keys


def _point_keys(chart: Funnel, words: Words) -> Sequence[Key]:
    keys = []
    if any(p.rate is not None and p.place not in _STYLES for p in chart.points):
        keys.append(Key(words.clinic_inside, "mark", HOLLOW_POINT))
    if any(point.rate is None for point in chart.points):
        keys.append(Key(words.clinic_hidden, "mark", UNKNOWN))
    return keys

"""From the verdict at submission to the option of the answer to the outcome.

Bands as wide as the number of restorations, in the look of their verdict: its colour and
a hatch of its own. What may not be told apart lies below as one hatched band.
"""

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path

from cases.audit.report_types import FlowRow
from cases.charts.flow_layout import NODE, Column, Label, Layout, laid_out
from cases.charts.flow_ways import Flow
from cases.charts.legend import Key, legend, legend_height
from cases.charts.sheet import LEADING, Sheet
from cases.charts.words import Words
from cases.drawings.glyphs import glyph
from cases.drawings.palette import INK, INK_2, SURFACE, VERDICT
from cases.drawings.svg import text_width

__all__ = ["describe_flow", "flow"]

_HATCHES: Final = {"insufficient": "/", "undecided": "\\", "sufficient": ""}
_REST: Final[dict[str, Any]] = {
    "facecolor": SURFACE,
    "edgecolor": INK_2,
    "hatchcolor": INK_2,
    "hatch": "x",
    "linewidth": 1,
    "linestyle": (0, (4, 3)),
}


def describe_flow(rows: Sequence[FlowRow], *, words: Words) -> str:
    """Return the picture's numbers as sentences."""
    said = Flow.of(rows).sentences(words)
    return "; ".join(said) + "." if said else ""


def flow(
    rows: Sequence[FlowRow], *, words: Words, uid: str, narrow: bool = False
) -> str:
    """Return the picture as SVG; nothing where no way may be shown.

    The row of all other ways (``cases.audit.ways.OTHER``) and rows without a count are
    one band, as wide as what is known of them.
    """
    found = Flow.of(rows)
    if not found.ways:
        return ""
    layout = laid_out(found, words, narrow=narrow)
    keys = [Key(words.flow_band, "none")]
    sheet = Sheet(
        layout.width, layout.height + legend_height(keys, layout.width), uid=uid
    )
    _heads(sheet, layout)
    _first_bands(sheet, found, layout)
    _second_bands(sheet, found, layout)
    if layout.rest is not None:
        _rest(sheet, layout)
    for column in layout.columns:
        _nodes(sheet, column)
    legend(sheet, keys, layout.height)
    title = words.flow_title
    return sheet.svg(title=title, describe=describe_flow(rows, words=words))


def _look(verdict: str) -> dict[str, Any]:
    colour = VERDICT.get(verdict, VERDICT["not_applicable"])
    hatch = _HATCHES.get(verdict, "-")
    look = {"facecolor": (colour, 0.16), "edgecolor": colour, "linewidth": 0.8}
    return look | ({"hatch": hatch, "hatchcolor": colour} if hatch else {})


def _band(
    sheet: Sheet,
    ends: tuple[float, float],
    tops: tuple[float, float],
    wide: float,
    gid: str,
    **look: Any,
) -> None:
    """Draw a band from one node to another; both ends leave level."""
    (left, right), (start, end) = ends, tops
    middle = (left + right) / 2
    points = [
        (left, start),
        (middle, start), (middle, end), (right, end),
        (right, end + wide),
        (middle, end + wide), (middle, start + wide), (left, start + wide),
        (left, start),
    ]  # fmt: skip
    codes = [
        Path.MOVETO, Path.CURVE4, Path.CURVE4, Path.CURVE4, Path.LINETO,
        Path.CURVE4, Path.CURVE4, Path.CURVE4, Path.CLOSEPOLY,
    ]  # fmt: skip
    sheet.draw(PathPatch(Path(points, codes), gid=gid, **look))


def _first_bands(sheet: Sheet, found: Flow, layout: Layout) -> None:
    """Draw verdict to option, stacked at both in the order of the other side."""
    left, right = layout.columns[0], layout.columns[1]
    starts, ends = dict(left.tops), dict(right.tops)
    sums = found.first_sums()
    tops = {}
    for verdict in left.keys:
        for option in right.keys:
            tops[verdict, option] = starts[verdict]
            starts[verdict] += sums.get((verdict, option), 0) * layout.unit
    for option in right.keys:
        for verdict in left.keys:
            wide = sums.get((verdict, option), 0) * layout.unit
            if wide:
                _band(
                    sheet, (left.x + NODE, right.x), (tops[verdict, option], ends[option]),
                    wide, "first-band", **_look(verdict),
                )  # fmt: skip
            ends[option] += wide


def _second_bands(sheet: Sheet, found: Flow, layout: Layout) -> None:
    """Draw option to outcome; each verdict keeps its own band and look."""
    verdicts = layout.columns[0].keys
    left, right = layout.columns[1], layout.columns[2]
    starts, ends = dict(left.tops), dict(right.tops)
    tops = {}
    for option in left.keys:
        for outcome in right.keys:
            for verdict in verdicts:
                tops[verdict, option, outcome] = starts[option]
                count = found.ways.get((verdict, option, outcome), 0)
                starts[option] += count * layout.unit
    for outcome in right.keys:
        for option in left.keys:
            for verdict in verdicts:
                way = (verdict, option, outcome)
                wide = found.ways.get(way, 0) * layout.unit
                if wide:
                    _band(sheet, (left.x + NODE, right.x), (tops[way], ends[outcome]),
                          wide, "second-band", **_look(verdict))  # fmt: skip
                ends[outcome] += wide


def _heads(sheet: Sheet, layout: Layout) -> None:
    for column in layout.columns:
        sheet.column(
            column.head_x, 14, column.head, size=layout.size, bold=True,
            anchor=column.head_anchor,
        )  # fmt: skip


def _nodes(sheet: Sheet, column: Column) -> None:
    for key in column.keys:
        colour = VERDICT.get(key, INK_2) if column.first else INK
        height = max(column.heights[key], 1.0)
        box = Rectangle(
            (column.x, column.tops[key]), NODE, height, facecolor=colour,
            edgecolor="none", linewidth=0, gid="node",
        )  # fmt: skip
        sheet.draw(box)
        label = column.labels[key]
        _ground(sheet, label)
        sheet.column(label.x, label.y, label.lines[:-1], size=label.size,
                     anchor=label.anchor)  # fmt: skip
        last = label.y + (len(label.lines) - 1) * label.size * LEADING
        sheet.write(label.x, last, label.lines[-1], size=label.size, bold=True,
                    anchor=label.anchor)  # fmt: skip
        if label.glyph:
            sheet.over(glyph(label.glyph, label.glyph_x, label.y - 4.5, 13))


def _ground(sheet: Sheet, label: Label) -> None:
    """Draw a clear ground under words, over the bands that pass there."""
    wide = max(text_width(line, label.size) for line in label.lines)
    left = {"start": label.x, "middle": label.x - wide / 2, "end": label.x - wide}
    top, tall = label.y - label.size, len(label.lines) * label.size * LEADING + 1
    sheet.draw(
        Rectangle(
            (left[label.anchor], top), wide, tall, facecolor=(SURFACE, 0.8),
            edgecolor="none", linewidth=0, gid="ground",
        )
    )  # fmt: skip


def _rest(sheet: Sheet, layout: Layout) -> None:
    """Draw what may not be told apart as a band across all columns."""
    rest = layout.rest
    if rest is None:
        return
    left, right = layout.columns[0].x, layout.columns[2].x + NODE
    box = Rectangle((left, rest.top), right - left, rest.height, gid="hidden", **_REST)
    sheet.draw(box)
    sheet.column(left, rest.top + rest.height + 16, rest.lines, size=layout.size)

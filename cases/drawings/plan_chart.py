"""The drawing of a plan: a tooth with its sites and the millimetres each needs.

One ink: a shape tells the quantity (room to the antagonist, reduction, width), a word
the site and a number the length. Nothing is coloured by its thickness.
"""

from collections.abc import Sequence

from cases.drawings.outlines import Outline, Placement, outline_for, outline_paths
from cases.drawings.palette import HAIR, INK, INK_2, SURFACE
from cases.drawings.plan_figures import PlanChart, PlanMark, PlanWords
from cases.drawings.plan_layout import (
    LEADING,
    NARROW,
    WIDE,
    Callout,
    Layout,
    callouts_of,
    column_height,
    ends_of,
    region_of,
    sides_of,
    tops_of,
)
from cases.drawings.plan_marks import QUANTITIES, quantity_shape, region_drawn
from cases.drawings.regions import SITES
from cases.drawings.svg import document, fit_size, line, tag, text

__all__ = ["PlanChart", "PlanMark", "PlanWords", "plan_chart"]


def plan_chart(chart: PlanChart, *, narrow: bool = False) -> str:
    """Return the drawing as SVG; ``narrow`` for a phone.

    Raises KeyError for a site, quantity, arch or tooth class that does not exist.
    """
    layout = NARROW if narrow else WIDE
    shape, width, depth = outline_for(
        chart.tooth_class, chart.arch, int(chart.tooth[-1])
    )
    scale = layout.half / max(width, depth)
    depth_drawn = depth * scale
    callouts = callouts_of(chart, shape)
    left, right = sides_of(callouts, chart)
    tall = max(column_height(left, layout), column_height(right, layout))
    block = max(2 * depth_drawn * 1.24 + 64, tall)
    place = Placement(
        layout.width / 2, block / 2, width * scale, depth_drawn,
        mesial_right=chart.side == "right", buccal_up=chart.arch == "maxilla",
    )  # fmt: skip
    legend, bottom = _legend(chart, layout, block + 12)
    return document(
        width=layout.width, height=bottom, title=chart.title,
        describe=chart.describe, uid=chart.uid,
        class_=f"chart plan {'chart-stacked' if narrow else 'chart-wide'}",
        body=[
            outline_paths(shape, place, stroke=INK, class_="c-line", width=2,
                          groove_width=1.1),
            *_regions(chart, shape, place, layout),
            *_said(left, layout, place, block, toward=-1),
            *_said(right, layout, place, block, toward=1),
            *_orientation(chart, place, layout),
            legend,
        ],
    )  # fmt: skip


def _regions(
    chart: PlanChart, shape: Outline, place: Placement, layout: Layout
) -> list[str]:
    wanted = {site for mark in chart.marks for site in mark.sites}
    return [
        region_drawn(
            site, region_of(chart, shape, site), shape, place, layout.half / 66
        )
        for site in SITES
        if site in wanted
    ]


def _said(
    callouts: Sequence[Callout],
    layout: Layout,
    place: Placement,
    block: float,
    *,
    toward: int,
) -> list[str]:
    """Draw one column of words with a line from each to its site."""
    x = layout.column if toward < 0 else layout.width - layout.column
    ends = [ends_of(callout, place, toward) for callout in callouts]
    levels = [sum(y for _x, y in points) / len(points) for points in ends]
    tops = tops_of(callouts, levels, layout, block)
    parts = []
    for callout, points, top in zip(callouts, ends, tops, strict=True):
        start = (x - toward * 5, top + layout.figure * 0.62)
        for end in points:
            parts.append(line(start, end, stroke=HAIR, class_="c-hair"))
            parts.append(
                tag("circle", cx=end[0], cy=end[1], r=3.2, fill=INK, stroke=SURFACE,
                    stroke_width=1, class_="c-ink s-surface")
            )  # fmt: skip
        parts.append(_words(callout, layout, x, top, toward))
    return parts


def _words(callout: Callout, layout: Layout, x: float, y: float, toward: int) -> str:
    anchor = "end" if toward < 0 else "start"
    mark = callout.mark
    y += layout.figure * 0.86
    size = layout.figure
    icon = quantity_shape(mark.quantity, x + toward * size * 0.36, y - size * 0.34,
                          size * 0.72)  # fmt: skip
    parts = [
        icon,
        text(x + toward * size * 0.92, y, mark.least, size=size, bold=True,
             anchor=anchor),
    ]  # fmt: skip
    words, more = callout.lines(layout)
    y += layout.label * LEADING
    for part in words:
        parts.append(text(x, y, part, size=layout.label, anchor=anchor))
        y += layout.label * LEADING
    for part in more:
        parts.append(
            text(x, y, part, size=layout.label - 1, anchor=anchor, fill=INK_2,
                 class_="c-ink2")
        )  # fmt: skip
        y += (layout.label - 1) * LEADING
    return tag("g", "".join(parts), data_site=" ".join(mark.sites))


def _orientation(chart: PlanChart, place: Placement, layout: Layout) -> list[str]:
    said = chart.words
    up, down = said.buccal, said.lingual
    if not place.buccal_up:
        up, down = down, up
    before, after = said.distal, said.mesial
    if not place.mesial_right:
        before, after = after, before
    reach = place.half_depth * 1.24
    top, bottom = place.y - reach - 8, place.y + reach + 15
    room = layout.width / 2 - layout.column - 6
    size = layout.label - 1

    def caption(x: float, y: float, words: str, anchor: str) -> str:
        return text(x, y, words, size=fit_size(words, size=size, width=room),
                    anchor=anchor, fill=INK_2, class_="c-ink2")  # fmt: skip

    return [
        caption(place.x, top, up, "middle"),
        caption(place.x, bottom, down, "middle"),
        caption(place.x - room * 0.62, bottom + 14, before, "middle"),
        caption(place.x + room * 0.62, bottom + 14, after, "middle"),
    ]


def _legend(chart: PlanChart, layout: Layout, y: float) -> tuple[str, float]:
    """Draw what each shape means, for the quantities that occur."""
    found = [q for q in QUANTITIES if any(m.quantity == q for m in chart.marks)]
    parts, size = [], layout.label - 1
    parts.append(line((0, y), (layout.width, y), stroke=HAIR, class_="c-hair"))
    y += 20
    for name in found:
        said = f"{chart.words.quantity(name)} ({chart.words.unit})"
        parts.append(quantity_shape(name, 8, y - 4.5, 14))
        parts.append(text(24, y, said, size=size, fill=INK_2, class_="c-ink2"))
        y += size * 1.45
    return "".join(parts), y - 4

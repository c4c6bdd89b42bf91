"""The drawing of a plan: a tooth with its sites and the millimetres each needs.

One ink: a shape tells the quantity (room to the antagonist, reduction, width), a word
the site and a number the length. Nothing is coloured by its thickness.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from cases.drawings.outlines import Outline, Placement, outline_for, outline_paths
from cases.drawings.palette import HAIR, INK, INK_2, SURFACE
from cases.drawings.plan_marks import QUANTITIES, quantity_shape, region_drawn
from cases.drawings.regions import SITES, Region, region_for
from cases.drawings.svg import Point, document, fit_size, line, tag, text, wrap

__all__ = ["PlanChart", "PlanMark", "PlanWords", "plan_chart"]

_LEADING: Final = 1.2
_GAP: Final = 14.0


@dataclass(frozen=True, slots=True)
class PlanWords:
    """The fixed words of the drawing, already translated; ``lingual`` by the arch."""

    buccal: str = "buccal"
    lingual: str = "lingual"
    mesial: str = "mesial"
    distal: str = "distal"
    unit: str = "mm"
    clearance: str = "clearance to the antagonist"
    reduction: str = "reduction to the planned contour"
    width: str = "width"

    def quantity(self, name: str) -> str:
        """Return the words of a quantity."""
        return str(getattr(self, name))


@dataclass(frozen=True, slots=True)
class PlanMark:
    """One line of the plan: its sites, what it is called, how much, how measured.

    ``quantity`` is clearance, reduction or width; ``least`` a length as text; ``more``
    one short line under it (what to aim at).
    """

    sites: tuple[str, ...]
    label: str
    quantity: str
    least: str
    more: str = ""


@dataclass(frozen=True, slots=True)
class PlanChart:
    """One unit before its preparation; the keys are those of ``ClearanceChart``."""

    tooth: str
    arch: str
    side: str
    tooth_class: str
    marks: tuple[PlanMark, ...]
    title: str
    describe: str
    uid: str
    words: PlanWords = field(default_factory=PlanWords)
    functional_buccal: bool | None = None


@dataclass(frozen=True, slots=True)
class _Layout:
    """Width of the drawing and of each column of words, and sizes of type."""

    width: float
    column: float
    half: float
    figure: float
    label: float


_WIDE: Final = _Layout(620, 176, 92, 21, 14)
_NARROW: Final = _Layout(340, 92, 52, 18, 12.5)


@dataclass(frozen=True, slots=True)
class _Callout:
    """A mark with its words, and the point of the tooth it speaks of."""

    mark: PlanMark
    points: tuple[Point, ...]

    def lines(self, layout: _Layout) -> tuple[list[str], list[str]]:
        """Return the label and what stands under the figure, wrapped."""
        words = wrap(self.mark.label, size=layout.label, width=layout.column)
        more = wrap(self.mark.more, size=layout.label - 1, width=layout.column)
        return words, more

    def height(self, layout: _Layout) -> float:
        """Return how much room the words take."""
        words, more = self.lines(layout)
        return (
            layout.figure * _LEADING
            + len(words) * layout.label * _LEADING
            + len(more) * (layout.label - 1) * _LEADING
        )


def plan_chart(chart: PlanChart, *, narrow: bool = False) -> str:
    """Return the drawing as SVG; ``narrow`` for a phone.

    Raises KeyError for a site, quantity, arch or tooth class that does not exist.
    """
    layout = _NARROW if narrow else _WIDE
    shape, width, depth = outline_for(
        chart.tooth_class, chart.arch, int(chart.tooth[-1])
    )
    scale = layout.half / max(width, depth)
    depth_drawn = depth * scale
    callouts = _callouts(chart, shape)
    left, right = _sides(callouts, chart)
    tall = max(_column(left, layout), _column(right, layout))
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


def _functional(chart: PlanChart) -> bool:
    if chart.functional_buccal is None:
        return chart.arch == "mandible"
    return chart.functional_buccal


def _region(chart: PlanChart, shape: Outline, site: str) -> Region:
    if site not in SITES:
        raise KeyError(site)
    return region_for(shape, site, _functional(chart))


def _callouts(chart: PlanChart, shape: Outline) -> list[_Callout]:
    for mark in chart.marks:
        if mark.quantity not in QUANTITIES:
            raise KeyError(mark.quantity)
    return [
        _Callout(
            mark, tuple(point for s in mark.sites for point in _points(chart, shape, s))
        )
        for mark in chart.marks
    ]


def _points(chart: PlanChart, shape: Outline, site: str) -> tuple[Point, ...]:
    """Return where a line may end: on a band, or anywhere along a contour's back."""
    region = _region(chart, shape, site)
    if not region.contour:
        return (region.mark,)
    x, y = region.mark
    near = min(shape.contour, key=lambda at: (at[0] - x) ** 2 + (at[1] - y) ** 2)
    return ((near[0] * 1.08, near[1] * 1.08),)


def _sides(
    callouts: Sequence[_Callout], chart: PlanChart
) -> tuple[list[_Callout], list[_Callout]]:
    """Part the callouts: each to its own side, as long as that has room."""
    turn = 1 if chart.side == "right" else -1
    lift = -1 if chart.arch == "maxilla" else 1
    room = (len(callouts) + 1) // 2

    def across(callout: _Callout) -> float:
        return turn * sum(x for x, _y in callout.points) / len(callout.points)

    sides: tuple[list[_Callout], list[_Callout]] = ([], [])
    for callout in sorted(callouts, key=lambda c: -abs(across(c))):
        wanted = int(across(callout) > 0) if abs(across(callout)) > 0.05 else 0
        if abs(across(callout)) <= 0.05:
            wanted = int(len(sides[0]) > len(sides[1]))
        sides[wanted if len(sides[wanted]) < room else 1 - wanted].append(callout)
    for side in sides:
        side.sort(key=lambda c: sum(lift * y for _x, y in c.points) / len(c.points))
    return sides


def _column(callouts: Sequence[_Callout], layout: _Layout) -> float:
    heights = [callout.height(layout) for callout in callouts]
    return sum(heights) + _GAP * max(len(heights) - 1, 0) + 8


def _regions(
    chart: PlanChart, shape: Outline, place: Placement, layout: _Layout
) -> list[str]:
    wanted = {site for mark in chart.marks for site in mark.sites}
    return [
        region_drawn(site, _region(chart, shape, site), shape, place, layout.half / 66)
        for site in SITES
        if site in wanted
    ]


def _said(
    callouts: Sequence[_Callout],
    layout: _Layout,
    place: Placement,
    block: float,
    *,
    toward: int,
) -> list[str]:
    """Draw one column of words with a line from each to its site."""
    x = layout.column if toward < 0 else layout.width - layout.column
    ends = [_ends(callout, place, toward) for callout in callouts]
    levels = [sum(y for _x, y in points) / len(points) for points in ends]
    tops = _tops(callouts, levels, layout, block)
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


def _ends(callout: _Callout, place: Placement, toward: int) -> list[Point]:
    """Return where its lines end: at both of two sites, at the nearest of more."""
    points = [place.at(point) for point in callout.points]
    if len(points) <= 2:
        return points
    return [max(points, key=lambda at: toward * at[0])]


def _tops(
    callouts: Sequence[_Callout],
    targets: Sequence[float],
    layout: _Layout,
    block: float,
) -> list[float]:
    """Return where each callout begins: level with its site, none on another."""
    heights = [callout.height(layout) for callout in callouts]
    wanted = [target - layout.figure * 0.62 for target in targets]
    tops: list[float] = []
    y = 0.0
    for height, level in zip(heights, wanted, strict=True):
        tops.append(max(y, level))
        y = tops[-1] + height + _GAP * 0.6
    # Pushed apart they drift down: take that back, evenly.
    drift = sum(t - w for t, w in zip(tops, wanted, strict=True)) / max(len(tops), 1)
    tops = [max(0.0, top - drift) for top in tops]
    for index in range(1, len(tops)):
        least = tops[index - 1] + heights[index - 1] + _GAP * 0.6
        tops[index] = max(tops[index], least)
    end = block
    for index in reversed(range(len(tops))):
        tops[index] = max(0.0, min(tops[index], end - heights[index]))
        end = tops[index] - _GAP * 0.6
    return tops


def _words(callout: _Callout, layout: _Layout, x: float, y: float, toward: int) -> str:
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
    y += layout.label * _LEADING
    for part in words:
        parts.append(text(x, y, part, size=layout.label, anchor=anchor))
        y += layout.label * _LEADING
    for part in more:
        parts.append(
            text(x, y, part, size=layout.label - 1, anchor=anchor, fill=INK_2,
                 class_="c-ink2")
        )  # fmt: skip
        y += (layout.label - 1) * _LEADING
    return tag("g", "".join(parts), data_site=" ".join(mark.sites))


def _orientation(chart: PlanChart, place: Placement, layout: _Layout) -> list[str]:
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


def _legend(chart: PlanChart, layout: _Layout, y: float) -> tuple[str, float]:
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

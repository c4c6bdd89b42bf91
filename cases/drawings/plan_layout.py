"""Where the words of a plan stand: two columns beside the tooth, level with the sites."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from cases.drawings.outlines import Outline, Placement
from cases.drawings.plan_figures import PlanChart, PlanMark
from cases.drawings.plan_marks import QUANTITIES
from cases.drawings.regions import SITES, Region, region_for
from cases.drawings.svg import Point, wrap

__all__ = [
    "LEADING",
    "NARROW",
    "WIDE",
    "Callout",
    "Layout",
    "callouts_of",
    "column_height",
    "ends_of",
    "region_of",
    "sides_of",
    "tops_of",
]

LEADING: Final = 1.2
_GAP: Final = 14.0


@dataclass(frozen=True, slots=True)
class Layout:
    """Width of the drawing and of each column of words, and sizes of type."""

    width: float
    column: float
    half: float
    figure: float
    label: float


WIDE: Final = Layout(620, 176, 92, 21, 14)
NARROW: Final = Layout(340, 92, 52, 18, 12.5)


@dataclass(frozen=True, slots=True)
class Callout:
    """A mark with its words, and the point of the tooth it speaks of."""

    mark: PlanMark
    points: tuple[Point, ...]

    def lines(self, layout: Layout) -> tuple[list[str], list[str]]:
        """Return the label and what stands under the figure, wrapped."""
        words = wrap(self.mark.label, size=layout.label, width=layout.column)
        more = wrap(self.mark.more, size=layout.label - 1, width=layout.column)
        return words, more

    def height(self, layout: Layout) -> float:
        """Return how much room the words take."""
        words, more = self.lines(layout)
        return (
            layout.figure * LEADING
            + len(words) * layout.label * LEADING
            + len(more) * (layout.label - 1) * LEADING
        )


def _functional(chart: PlanChart) -> bool:
    if chart.functional_buccal is None:
        return chart.arch == "mandible"
    return chart.functional_buccal


def region_of(chart: PlanChart, shape: Outline, site: str) -> Region:
    if site not in SITES:
        raise KeyError(site)
    return region_for(shape, site, _functional(chart))


def callouts_of(chart: PlanChart, shape: Outline) -> list[Callout]:
    for mark in chart.marks:
        if mark.quantity not in QUANTITIES:
            raise KeyError(mark.quantity)
    return [
        Callout(
            mark, tuple(point for s in mark.sites for point in _points(chart, shape, s))
        )
        for mark in chart.marks
    ]


def _points(chart: PlanChart, shape: Outline, site: str) -> tuple[Point, ...]:
    """Return where a line may end: on a band, or anywhere along a contour's back."""
    region = region_of(chart, shape, site)
    if not region.contour:
        return (region.mark,)
    x, y = region.mark
    near = min(shape.contour, key=lambda at: (at[0] - x) ** 2 + (at[1] - y) ** 2)
    return ((near[0] * 1.08, near[1] * 1.08),)


def sides_of(
    callouts: Sequence[Callout], chart: PlanChart
) -> tuple[list[Callout], list[Callout]]:
    """Part the callouts: each to its own side, as long as that has room."""
    turn = 1 if chart.side == "right" else -1
    lift = -1 if chart.arch == "maxilla" else 1
    room = (len(callouts) + 1) // 2

    def across(callout: Callout) -> float:
        return turn * sum(x for x, _y in callout.points) / len(callout.points)

    sides: tuple[list[Callout], list[Callout]] = ([], [])
    for callout in sorted(callouts, key=lambda c: -abs(across(c))):
        wanted = int(across(callout) > 0) if abs(across(callout)) > 0.05 else 0
        if abs(across(callout)) <= 0.05:
            wanted = int(len(sides[0]) > len(sides[1]))
        sides[wanted if len(sides[wanted]) < room else 1 - wanted].append(callout)
    for side in sides:
        side.sort(key=lambda c: sum(lift * y for _x, y in c.points) / len(c.points))
    return sides


def column_height(callouts: Sequence[Callout], layout: Layout) -> float:
    heights = [callout.height(layout) for callout in callouts]
    return sum(heights) + _GAP * max(len(heights) - 1, 0) + 8


def ends_of(callout: Callout, place: Placement, toward: int) -> list[Point]:
    """Return where its lines end: at both of two sites, at the nearest of more."""
    points = [place.at(point) for point in callout.points]
    if len(points) <= 2:
        return points
    return [max(points, key=lambda at: toward * at[0])]


def tops_of(
    callouts: Sequence[Callout],
    targets: Sequence[float],
    layout: Layout,
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

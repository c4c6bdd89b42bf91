"""The drawn tooth of a clearance chart, with its sites marked on it."""

from dataclasses import dataclass
from typing import Final

from cases.drawings.figures import ClearanceChart, SiteMark
from cases.drawings.glyphs import glyph
from cases.drawings.outlines import Outline, Placement, outline_for, outline_paths
from cases.drawings.palette import INK, INK_2, SURFACE, VERDICT
from cases.drawings.regions import ROWS, SITES, Region, region_for
from cases.drawings.svg import (
    Point,
    closed_curve,
    fit_size,
    open_curve,
    tag,
    text,
)

__all__ = ["LETTERS", "Surface"]

LETTERS: Final = "abcdefghijklmnopqrstuvwxyz"
_SHORT: Final = frozenset({"insufficient", "undecided"})


@dataclass(frozen=True, slots=True)
class Surface:
    """A panel of a width around a tooth whose half size is at most ``half``."""

    chart: ClearanceChart
    centre_x: float
    top: float
    half: float
    width: float

    @property
    def height(self) -> float:
        """Total height: the tooth and two lines of words above and below it."""
        _, _, half_depth = self._sizes()
        return 2 * (self._reach(half_depth) + 36)

    @property
    def _zoom(self) -> float:
        return self.half / 66

    def _has(self, *sites: str) -> bool:
        return any(mark.site in sites for mark in self.chart.sites)

    @property
    def _walled(self) -> bool:
        """Whether marks stand beside the contour and need room there."""
        return self._has(
            "mesial_wall", "distal_wall", "finish_line", "implant_platform"
        )

    def _sizes(self) -> tuple[Outline, float, float]:
        """Return the shape, its half width and its half depth as drawn."""
        chart = self.chart
        place = int(chart.tooth[-1])
        shape, wide, deep = outline_for(chart.tooth_class, chart.arch, place)
        scale = self.half * (0.85 if self._walled else 1) / max(wide, deep)
        return shape, wide * scale, deep * scale

    def _reach(self, half_depth: float) -> float:
        """Return how far marks go from the centre, towards cheek and tongue."""
        past = self._has(
            "facial_wall", "lingual_wall", "finish_line", "implant_platform"
        )
        return half_depth * (1.2 if past else 1) + 10

    def _placed(self) -> tuple[Outline, Placement]:
        shape, half_width, half_depth = self._sizes()
        return shape, Placement(
            self.centre_x, self.top + self.height / 2, half_width, half_depth,
            mesial_right=self.chart.side == "right",
            buccal_up=self.chart.arch == "maxilla",
        )  # fmt: skip

    def draw(self) -> str:
        """Return tooth, sites and words of orientation."""
        shape, place = self._placed()
        marks = {mark.site: mark for mark in self.chart.sites}
        letters = dict(zip(marks, LETTERS, strict=False))
        parts = [
            outline_paths(shape, place, stroke=INK, class_="c-line", width=2,
                          groove_width=1.2)
        ]  # fmt: skip
        for site in marks:
            if site not in SITES:
                raise KeyError(site)
        for site in SITES:
            if site in marks:
                parts.append(self._site(shape, place, marks[site], letters[site]))
        parts.append(self._words(place))
        return "".join(parts)

    def _site(
        self, shape: Outline, place: Placement, mark: SiteMark, letter: str
    ) -> str:
        functional = self.chart.functional_buccal
        if functional is None:
            functional = self.chart.arch == "mandible"
        region = region_for(shape, mark.site, functional)
        colour, class_ = VERDICT[mark.verdict], f"s-{mark.verdict}"
        drawn = (
            _contour(shape, place, colour, class_)
            if region.contour
            else "".join(_band(region, place, colour, class_, self._zoom))
        )
        return tag(
            "g",
            drawn
            + _mark(place.at(region.mark), region, mark.verdict, letter, self._zoom),
            data_site=mark.site,
            data_part="surface",
        )

    def _words(self, place: Placement) -> str:
        said = self.chart.captions
        up, down = said.buccal, said.lingual
        sites = ["buccal_cusps", "lingual_cusps"]
        if not place.buccal_up:
            up, down, sites = down, up, sites[::-1]
        left, right = said.distal, said.mesial
        if not place.mesial_right:
            left, right = right, left
        reach = self._reach(place.half_depth)
        top, bottom = place.y - reach - 5, place.y + reach + 14
        edge = self.width / 2 - 1
        room = edge - place.half_width * (1.2 if self._walled else 1.0) - 8
        hints = {
            mark.site
            for mark in self.chart.sites
            if mark.site in ROWS and mark.verdict in _SHORT
        }
        parts = [
            _caption(self.centre_x, top, up),
            _caption(self.centre_x, bottom, down),
            _caption(self.centre_x - edge, place.y + 4, left, "start", room),
            _caption(self.centre_x + edge, place.y + 4, right, "end", room),
        ]
        for site, y in zip(sites, (top - 14, bottom + 14), strict=True):
            if site in hints:
                parts.append(
                    text(self.centre_x, y, said.row_hint, size=12, anchor="middle")
                )
        return "".join(parts)


def _caption(
    x: float, y: float, words: str, anchor: str = "middle", room: float = 200
) -> str:
    size = fit_size(words, size=12.5, width=max(room, 24))
    return text(x, y, words, size=size, anchor=anchor, fill=INK_2, class_="c-ink2")


def _contour(shape: Outline, place: Placement, colour: str, class_: str) -> str:
    points = [place.at((x * 1.08, y * 1.08)) for x, y in shape.contour]
    return tag(
        "path", d=closed_curve(points), fill="none", stroke=colour, stroke_width=2,
        stroke_dasharray="6 3", class_=class_,
    )  # fmt: skip


def _band(
    region: Region, place: Placement, colour: str, class_: str, zoom: float
) -> list[str]:
    """Return each line of a region as an outlined band with round ends."""
    parts = []
    for points in region.lines:
        placed = [place.at(point) for point in points]
        if len(placed) == 1:
            (x, y) = placed[0]
            parts.append(
                tag("circle", cx=x, cy=y, r=region.width * zoom / 2 - 1, fill=SURFACE,
                    stroke=colour, stroke_width=2, class_=f"c-surface {class_}")
            )  # fmt: skip
            continue
        path = open_curve(placed)
        for width, stroke, name in (
            (region.width * zoom, colour, class_),
            (region.width * zoom - 4, SURFACE, "s-surface"),
        ):
            parts.append(
                tag("path", d=path, fill="none", stroke=stroke, stroke_width=width,
                    stroke_linecap="round", stroke_linejoin="round", class_=name)
            )  # fmt: skip
    return parts


def _mark(at: Point, region: Region, verdict: str, letter: str, zoom: float) -> str:
    """Return glyph and letter together, on a plate where the band is too thin."""
    x, y = at
    size = zoom * (12.0 if region.width < 20 else 15.0 if region.width < 32 else 17.0)
    letter_size = max(size * 0.84, 11)
    along, across = size * 2 + 3, size + 5
    across = max(across, region.width * zoom - 4) if region.upright else across
    wide, high = (across, along + 2) if region.upright else (along, across)
    plate = ""
    if region.width * zoom < size + 4 or region.contour:
        plate = tag(
            "rect", x=x - wide / 2, y=y - high / 2, width=wide, height=high,
            rx=min(wide, high) / 2, fill=SURFACE, class_="c-surface",
        )  # fmt: skip
    shift = size * 0.52
    if region.upright:
        name = text(x, y + shift + letter_size * 0.36, letter, size=letter_size,
                    bold=True, anchor="middle")  # fmt: skip
        return plate + glyph(verdict, x, y - shift, size) + name
    name = text(x + shift, y + letter_size * 0.33, letter, size=letter_size,
                bold=True, anchor="middle")  # fmt: skip
    return plate + glyph(verdict, x - shift * 0.8, y, size) + name

"""The clearance chart of one unit: the product's picture.

Left (or above, stacked for a phone) the occlusal surface with its sites; beside
it a scale for each site, from contact to a maximum shared by all of them. Each
site carries its verdict as a shape, a word and a colour, and a letter ties its
place on the tooth to its scale.
"""

from dataclasses import dataclass
from typing import Final

from cases.drawings.figures import (
    Captions,
    ClearanceChart,
    SiteMark,
    chart_headers,
    chart_rows,
    measured_text,
    mm_text,
)
from cases.drawings.glyphs import glyph
from cases.drawings.palette import FAINT, INK_2, VERDICT
from cases.drawings.scales import HEIGHT, Scale, shared_maximum
from cases.drawings.surface import LETTERS, Surface
from cases.drawings.svg import document, line, tag, text, wrap

__all__ = [
    "Captions",
    "ClearanceChart",
    "SiteMark",
    "chart_headers",
    "chart_rows",
    "clearance_chart",
    "measured_text",
    "mm_text",
]

_GAP: Final = 16.0
_INDENT: Final = 20.0


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where the columns of a row lie."""

    width: float
    rows_left: float
    scale_right: float
    verdict_left: float
    stacked: bool

    @property
    def verdict_width(self) -> float:
        return self.width - self.verdict_left - 2

    @property
    def head_width(self) -> float:
        return self.scale_right - self.rows_left


_WIDE: Final = _Layout(740, 266, 556, 584, False)
_STACKED: Final = _Layout(340, 2, 314, 2, True)


@dataclass(frozen=True, slots=True)
class _Writer:
    """Lines of text set one below the other."""

    x: float
    width: float

    def lines(
        self, y: float, words: str, *, size: float = 13, bold: bool = False,
        fill: str | None = None, class_: str = "c-ink", indent: float = 0,
    ) -> tuple[str, float]:  # fmt: skip
        """Return the drawn lines and the baseline of the next one."""
        parts = []
        for part in wrap(words, size=size, width=self.width - indent):
            if fill is None:
                parts.append(text(self.x + indent, y, part, size=size, bold=bold))
            else:
                parts.append(
                    text(self.x + indent, y, part, size=size, bold=bold, fill=fill,
                         class_=class_)
                )  # fmt: skip
            y += size * 1.22
        return "".join(parts), y


def _heading(
    mark: SiteMark, letter: str, layout: _Layout, y: float
) -> tuple[str, float]:
    writer = _Writer(layout.rows_left, layout.head_width)
    key = text(
        layout.rows_left, y, letter, size=14, bold=True, fill=INK_2, class_="c-ink2"
    )
    name, y = writer.lines(y, mark.label, size=14, bold=True, indent=_INDENT)
    where, y = writer.lines(
        y - 1,
        mark.position_label,
        size=12.5,
        fill=INK_2,
        class_="c-ink2",
        indent=_INDENT,
    )
    return key + name + where, y


def _verdict(
    mark: SiteMark, chart: ClearanceChart, layout: _Layout, y: float
) -> tuple[str, float]:
    writer = _Writer(layout.verdict_left, layout.verdict_width)
    shape = glyph(mark.verdict, layout.verdict_left + 8, y - 5, 16)
    colour = VERDICT[mark.verdict]
    word, y = writer.lines(
        y, mark.verdict_word, size=14, bold=True, fill=colour,
        class_=f"v-{mark.verdict}", indent=_INDENT,
    )  # fmt: skip
    figures, y = writer.lines(y, measured_text(mark, chart.captions), indent=_INDENT)
    short, y = writer.lines(y, mark.shortage_text, bold=True, indent=_INDENT)
    return shape + word + figures + short, y


def _row(
    mark: SiteMark, letter: str, chart: ClearanceChart, layout: _Layout,
    scale: Scale, top: float,
) -> tuple[str, float]:  # fmt: skip
    """Return one site's row and where it ends."""
    head, y = _heading(mark, letter, layout, top + 14)
    if layout.stacked:
        said, y = _verdict(mark, chart, layout, y + 2)
        drawn = scale.draw(mark, y - 8)
        bottom = y - 8 + HEIGHT
    else:
        said, said_end = _verdict(mark, chart, layout, top + 14)
        drawn = scale.draw(mark, y - 6)
        bottom = max(y - 6 + HEIGHT, said_end - 10)
    body = tag("g", head + said + drawn, data_site=mark.site, data_part="scale")
    return body, bottom


def _rows(
    chart: ClearanceChart, layout: _Layout, top: float
) -> tuple[list[str], float]:
    scale = Scale(
        layout.rows_left + _INDENT if not layout.stacked else layout.rows_left + 6,
        layout.scale_right, shared_maximum(chart.sites), chart.captions,
    )  # fmt: skip
    parts: list[str] = []
    y = top
    for index, (mark, letter) in enumerate(zip(chart.sites, LETTERS, strict=False)):
        if index:
            parts.append(
                line((layout.rows_left, y), (layout.width - 2, y), stroke=FAINT,
                     class_="c-faint")
            )  # fmt: skip
        row, end = _row(mark, letter, chart, layout, scale, y + 4)
        parts.append(row)
        y = end + _GAP / 2
    return parts, y


def clearance_chart(chart: ClearanceChart, *, stacked: bool = False) -> str:
    """Return the chart as SVG; ``stacked`` puts the tooth above the scales.

    Raises KeyError for a site, verdict, arch or tooth class that does not
    exist, and ValueError for more sites than there are letters or a site twice.
    """
    sites = [mark.site for mark in chart.sites]
    if len(set(sites)) != len(sites) or len(sites) > len(LETTERS):
        raise ValueError("each site once, at most 26 of them")
    layout = _STACKED if stacked else _WIDE
    label, start = _Writer(2, layout.width - 4 if stacked else 244).lines(
        16, chart.tooth_label, size=15, bold=True
    )
    if stacked:
        surface = Surface(chart, layout.width / 2, start - 8, 88, layout.width)
        rows, bottom = _rows(chart, layout, surface.top + surface.height + 4)
    else:
        surface = Surface(chart, 123, start - 6, 74, 242)
        rows, bottom = _rows(chart, layout, 0)
        bottom = max(bottom, surface.top + surface.height)
    return document(
        width=layout.width, height=bottom, title=chart.title,
        describe=chart.describe, uid=chart.uid,
        class_=f"chart {'chart-stacked' if stacked else 'chart-wide'}",
        body=[label, surface.draw(), *rows],
    )  # fmt: skip

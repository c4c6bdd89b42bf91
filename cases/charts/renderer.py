"""A matplotlib renderer that writes the project's kind of SVG.

matplotlib computes scales, steps, markers and curves; this writes each shape once, with
presentation attributes only (a strict Content-Security-Policy allows no style), in a
colour of ``cases.drawings.palette`` and with the class that lets the sheet replace it in
dark mode. Words are not drawn through matplotlib: they stay real text in the page's font.
"""

import re
from typing import Any, Final

from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.colors import to_hex
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Transform

from cases.drawings.palette import (
    FAINT,
    HAIR,
    INK,
    INK_2,
    ROOM,
    SURFACE,
    TOOTH,
    VERDICT,
)
from cases.drawings.svg import number, tag

__all__ = ["SvgRenderer", "safe_uid"]

_FILLS: Final = {colour: f"v-{verdict}" for verdict, colour in VERDICT.items()} | {
    INK: "c-ink",
    INK_2: "c-ink2",
    ROOM: "c-room",
    SURFACE: "c-surface",
    TOOTH: "c-tooth",
}
_STROKES: Final = {colour: f"s-{verdict}" for verdict, colour in VERDICT.items()} | {
    INK: "c-line",
    HAIR: "c-hair",
    FAINT: "c-faint",
    SURFACE: "s-surface",
}
_LETTERS: Final = {
    Path.MOVETO: "M",
    Path.LINETO: "L",
    Path.CURVE3: "Q",
    Path.CURVE4: "C",
}
# Lines of a hatch in a tile, and the tile's side; told apart in one printing ink.
_HATCHES: Final = {
    "/": ("M-1.5 1.5L1.5 -1.5M0 6L6 0M4.5 7.5L7.5 4.5", 6),
    "\\": ("M-2 8L2 12M0 0L10 10M8 -2L12 2", 10),
    "-": ("M0 3H6", 6),
    "x": ("M0 0L7 7M0 7L7 0", 7),
}


def safe_uid(uid: str) -> str:
    """Return a uid without characters that an id should not have."""
    return re.sub(r"[^A-Za-z0-9_-]", "", uid) or "picture"


class SvgRenderer(RendererBase):
    """Collects the shapes of one figure, whose points are the picture's pixels."""

    def __init__(self, width: float, height: float, uid: str) -> None:
        super().__init__()
        self._width = width
        self._height = height
        self._uid = safe_uid(uid)
        self._flip = Affine2D().scale(1, -1).translate(0, height)
        self._patterns: dict[tuple[str, str, str, float | None], tuple[str, str]] = {}
        self._open: list[tuple[str | None, list[str]]] = [(None, [])]

    def flipy(self) -> bool:
        """Return that y grows downwards, as in SVG."""
        return True

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Return the picture's size."""
        return self._width, self._height

    def points_to_pixels(self, points: Any) -> Any:
        """Return the same: figures have 72 dots per inch."""
        return points

    def open_group(self, s: str, gid: str | None = None) -> None:
        """Open a group of shapes."""
        self._open.append((gid, []))

    def close_group(self, s: str) -> None:
        """Close the group; an artist's gid says which part of the picture it is."""
        gid, parts = self._open.pop()
        inner = "".join(parts)
        marked = tag("g", inner, data_mark=gid) if gid and inner else inner
        self._open[-1][1].append(marked)

    def draw_path(
        self,
        gc: GraphicsContextBase,
        path: Path,
        transform: Transform,
        rgbFace: Any = None,
    ) -> None:
        """Write one shape."""
        face = rgbFace if rgbFace is not None and rgbFace[3] > 0 else None
        data = self._data(
            path, transform, gc.get_clip_rectangle() if face is None else None
        )
        if data:
            shape = self._fill(gc, face) | _stroke(gc)
            classes = f"{shape.pop('fill_class')} {shape.pop('stroke_class')}".strip()
            drawn = tag("path", d=data, **shape, class_=classes or None)
            self._open[-1][1].append(drawn)

    def markup(self) -> str:
        """Return everything drawn so far, hatches first."""
        patterns = "".join(markup for _name, markup in self._patterns.values())
        shapes = "".join(part for _gid, parts in self._open for part in parts)
        return (tag("defs", patterns) if patterns else "") + shapes

    def _data(self, path: Path, transform: Transform, clip: Any) -> str:
        window = None
        if clip is not None:
            window = (
                clip.xmin,
                self._height - clip.ymax,
                clip.xmax,
                self._height - clip.ymin,
            )
        segments: Any = path.iter_segments(
            transform + self._flip, clip=window, simplify=False
        )
        parts = []
        for points, code in segments:
            if code == Path.CLOSEPOLY:
                parts.append("Z")
            else:
                shown = " ".join(number(value) for value in points.tolist())
                parts.append(f"{_LETTERS[code]}{shown}")
        return "".join(parts)

    def _fill(self, gc: GraphicsContextBase, face: Any) -> dict[str, Any]:
        if face is None:
            return {"fill": "none", "fill_class": ""}
        colour = to_hex(face)
        opacity = None if face[3] == 1 else round(float(face[3]), 2)
        hatch = gc.get_hatch()
        if hatch:
            name = self._pattern(hatch, colour, to_hex(gc.get_hatch_color()), opacity)
            return {"fill": f"url(#{name})", "fill_class": ""}
        return {"fill": colour, "fill_opacity": opacity, "fill_class": _FILLS[colour]}

    def _pattern(self, hatch: str, ground: str, ink: str, opacity: float | None) -> str:
        """Return the id of a hatch: lines in one colour on a ground of another."""
        key = (hatch, ground, ink, opacity)
        if key not in self._patterns:
            lines, side = _HATCHES[hatch]
            name = f"{self._uid}-h{len(self._patterns) + 1}"
            inner = tag(
                "path", d=f"M0 0H{side}V{side}H0Z", fill=ground, fill_opacity=opacity,
                class_=_FILLS[ground],
            ) + tag(
                "path", d=lines, fill="none", stroke=ink, stroke_width=1,
                class_=_STROKES[ink],
            )  # fmt: skip
            drawn = tag(
                "pattern", inner, id=name, patternUnits="userSpaceOnUse", width=side,
                height=side,
            )  # fmt: skip
            self._patterns[key] = (name, drawn)
        return self._patterns[key][0]


def _stroke(gc: GraphicsContextBase) -> dict[str, Any]:
    width = gc.get_linewidth()
    if not width or gc.get_rgb()[3] == 0:
        return {"stroke_class": ""}
    colour = to_hex(gc.get_rgb())
    dashes: Any = gc.get_dashes()[1]
    dashed = " ".join(number(float(one)) for one in dashes) if dashes else None
    join = gc.get_joinstyle()
    return {
        "stroke": colour,
        "stroke_width": float(width),
        "stroke_dasharray": dashed,
        "stroke_linejoin": None if join == "miter" else str(join),
        "stroke_class": _STROKES[colour],
    }

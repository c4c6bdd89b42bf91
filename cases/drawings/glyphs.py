"""One shape for each verdict, told apart without colour.

The shapes, in a box of 16 by 16: a disc with a tick (sufficient), a wedge that
hangs short of its line (insufficient), a diamond filled on one side only
(undecided), a broken ring (unmeasured), a short bar (not applicable).
"""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from cases.drawings.palette import VERDICT
from cases.drawings.svg import escape, number, tag

__all__ = ["BOX", "GLYPHS", "glyph", "glyph_svg"]

BOX: Final = 16


def _broken_ring(outer: float, inner: float) -> str:
    """Return four sectors of a ring, each 58 degrees wide."""

    def at(radius: float, degrees: float) -> str:
        angle = math.radians(degrees)
        x, y = 8 + radius * math.cos(angle), 8 + radius * math.sin(angle)
        return f"{number(x)} {number(y)}"

    parts = []
    for middle in (45, 135, 225, 315):
        low, high = middle - 29, middle + 29
        parts.append(
            f"M{at(outer, low)}A{number(outer)} {number(outer)} 0 0 1 {at(outer, high)}"
            f"L{at(inner, high)}A{number(inner)} {number(inner)} 0 0 0 {at(inner, low)}Z"
        )
    return "".join(parts)


# Filled with the even-odd rule: the second outline of a pair is a hole, so the
# shapes stay themselves on any background and in one printing ink.
GLYPHS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sufficient": "M8 .7A7.3 7.3 0 0 1 8 15.3A7.3 7.3 0 0 1 8 .7Z"
        "M3.9 8.4L5.4 6.9L7.1 8.6L10.9 4.6L12.4 6.1L7.1 11.6Z",
        "insufficient": "M.8 1H15.2V3.6H.8ZM1.6 5.8H14.4L8 15.4Z",
        "undecided": "M8 .3L15.7 8L8 15.7L.3 8ZM8.3 3.2L13.1 8L8.3 12.8Z",
        "unmeasured": _broken_ring(7.4, 5.2),
        "not_applicable": "M2.4 6.8H13.6V9.2H2.4Z",
    }
)


def glyph(verdict: str, x: float, y: float, size: float) -> str:
    """Return the verdict's shape, centred on x and y.

    Raises KeyError for a verdict that is not one of the five.
    """
    scale = size / BOX
    move = f"translate({number(x - size / 2)} {number(y - size / 2)})"
    return tag(
        "path",
        d=GLYPHS[verdict],
        transform=f"{move} scale({scale:.4g})",
        fill=VERDICT[verdict],
        fill_rule="evenodd",
        class_=f"v-{verdict}",
        data_verdict=verdict,
    )


def glyph_svg(verdict: str, *, size: float, word: str = "") -> str:
    """Return the shape as a picture of its own, for documents without a sheet.

    With ``word`` it carries that as its name; without, it is decoration beside
    a written word and hidden from a screen reader.
    """
    name = tag("title", escape(word)) if word else ""
    return tag(
        "svg",
        name + glyph(verdict, BOX / 2, BOX / 2, BOX),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {BOX} {BOX}",
        width=size,
        height=size,
        role="img" if word else None,
        aria_hidden=None if word else "true",
        class_="glyph",
    )

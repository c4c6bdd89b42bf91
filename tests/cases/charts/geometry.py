"""Where things in a picture really lie, with the widths of the font itself."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from xml.etree import ElementTree as ET

from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # -- has no types

from cases.documents.fonts import font_bytes
from tests.cases.drawings.reading import SVG, number

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float
    said: str = ""

    def meets(self, other: "Box") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@lru_cache(maxsize=2)
def _advances(weight: int) -> tuple[dict[int, int], int]:
    name = f"source-sans-3-latin-{weight}-normal.woff2"
    font = TTFont(BytesIO(font_bytes(name)))
    widths = font["hmtx"]
    found = {code: widths[glyph][0] for code, glyph in font.getBestCmap().items()}
    return found, font["head"].unitsPerEm


def width_of(words: str, size: float, weight: int) -> float:
    advances, em = _advances(weight)
    return size * sum(advances.get(ord(char), em) for char in words) / em


def text_boxes(root: ET.Element) -> Iterator[Box]:
    """Boxes around the letters: from their height over the baseline to below it."""
    for element in root.iter(f"{SVG}text"):
        size, x, y = (number(element, name) for name in ("font-size", "x", "y"))
        words = element.text or ""
        wide = width_of(words, size, int(element.get("font-weight", "400")))
        part = {"start": 0.0, "middle": 0.5, "end": 1.0}
        left = x - wide * part[element.get("text-anchor", "start")]
        yield Box(left, y - size * 0.7, left + wide, y + size * 0.22, words)


def path_boxes(root: ET.Element) -> Iterator[Box]:
    """Boxes around shapes with their stroke; curves lie within their control points."""
    inside_patterns = {p for one in root.iter(f"{SVG}pattern") for p in one.iter()}
    for element in root.iter(f"{SVG}path"):
        if element in inside_patterns:
            continue
        data = element.attrib["d"]
        if element.get("transform"):
            yield _moved(element)
            continue
        assert re.fullmatch(r"[MLQCZ0-9 .\-]+", data), data
        values = [float(value) for value in _NUMBER.findall(data)]
        x, y = values[::2], values[1::2]
        half = float(element.get("stroke-width", "0")) / 2
        yield Box(min(x) - half, min(y) - half, max(x) + half, max(y) + half)


def _moved(element: ET.Element) -> Box:
    """The box of a verdict's shape, 16 by 16 before it is moved and scaled."""
    found = re.fullmatch(
        r"translate\((\S+) (\S+)\) scale\((\S+)\)", element.attrib["transform"]
    )
    assert found, element.attrib["transform"]
    x, y, scale = (float(one) for one in found.groups())
    return Box(x, y, x + 16 * scale, y + 16 * scale)


def view_of(root: ET.Element) -> Box:
    left, top, width, height = (float(one) for one in root.attrib["viewBox"].split())
    return Box(left, top, left + width, top + height)

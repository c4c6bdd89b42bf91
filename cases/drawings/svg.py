"""The few pieces of SVG the drawings are made of."""

import re
from collections.abc import Iterable, Sequence
from typing import Final

from cases.drawings.palette import INK

__all__ = [
    "FONT",
    "Point",
    "closed_curve",
    "document",
    "escape",
    "fit_size",
    "line",
    "number",
    "open_curve",
    "polygon",
    "tag",
    "text",
    "text_width",
    "wrap",
]

Point = tuple[float, float]

FONT: Final = "'Source Sans 3', 'Noto Sans', sans-serif"
# Advances in ems. The embedded semibold measures 0.44 over English words, 0.58
# over capitals and 0.84 at "m" (read from the font with fontTools); a little
# more, so that a wrapped line never runs out of its column.
_ADVANCE: Final = 0.47
_WIDE_ADVANCE: Final = 0.62
_WIDEST_ADVANCE: Final = 0.88
_WIDEST: Final = frozenset("mwMW@%")

# XML 1.0 section 2.2 allows no other characters; a pasted control character
# would make the whole drawing unreadable.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_ENTITIES = str.maketrans(
    {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"}
)


def escape(value: str) -> str:
    """Return text safe in element content and in quoted attributes."""
    return _NOT_XML.sub("", value).translate(_ENTITIES)


def number(value: float) -> str:
    """Return a coordinate with at most two decimals and no trailing zeros."""
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def tag(name: str, content: str = "", **attributes: str | float | None) -> str:
    """Return one element; ``content`` is markup, attribute values are escaped.

    Underscores in attribute names become hyphens and a trailing one is dropped
    (``class_``); an attribute that is None is left out.
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        shown = escape(value) if isinstance(value, str) else number(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{shown}"')
    opening = " ".join(parts)
    return f"<{opening}>{content}</{name}>" if content else f"<{opening}/>"


def text(
    x: float,
    y: float,
    content: str,
    *,
    size: float = 13,
    bold: bool = False,
    anchor: str = "start",
    fill: str = INK,
    class_: str = "c-ink",
) -> str:
    """Return a line of text; ``y`` is its baseline."""
    return tag(
        "text",
        escape(content),
        x=x,
        y=y,
        font_size=size,
        font_weight="600" if bold else None,
        text_anchor=None if anchor == "start" else anchor,
        fill=fill,
        class_=class_,
    )


def line(
    a: Point, b: Point, *, stroke: str, class_: str, width: float = 1, dash: str = ""
) -> str:
    """Return a straight line."""
    return tag(
        "path",
        d=f"M{number(a[0])} {number(a[1])}L{number(b[0])} {number(b[1])}",
        fill="none",
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash or None,
        class_=class_,
    )


def polygon(points: Iterable[Point]) -> str:
    """Return path data of a closed straight-sided figure."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"


def _segments(points: Sequence[Point], closed: bool) -> str:
    count = len(points)
    steps = count if closed else count - 1

    def at(index: int) -> Point:
        return points[index % count if closed else max(0, min(count - 1, index))]

    parts = [f"M{number(points[0][0])} {number(points[0][1])}"]
    for i in range(steps):
        before, start, end, after = at(i - 1), at(i), at(i + 1), at(i + 2)
        controls = (
            start[0] + (end[0] - before[0]) / 6,
            start[1] + (end[1] - before[1]) / 6,
            end[0] - (after[0] - start[0]) / 6,
            end[1] - (after[1] - start[1]) / 6,
            *end,
        )
        parts.append("C" + " ".join(number(value) for value in controls))
    return "".join(parts) + ("Z" if closed else "")


def closed_curve(points: Sequence[Point]) -> str:
    """Return path data of a smooth closed curve through the points.

    Catmull-Rom segments written as cubic Bezier curves (tension 1/6).
    """
    return _segments(points, True)


def open_curve(points: Sequence[Point]) -> str:
    """Return path data of a smooth open curve through the points."""
    return _segments(points, False)


def text_width(content: str, size: float) -> float:
    """Return a generous estimate of a text's width at a font size."""
    return size * sum(
        _WIDEST_ADVANCE
        if char in _WIDEST or ord(char) > 0x2FF
        else _WIDE_ADVANCE
        if char.isupper()
        else _ADVANCE
        for char in content
    )


def _pieces(word: str, size: float, width: float) -> list[str]:
    """Return a word cut where it would run out of the column."""
    room = max(1, int(width / (size * _WIDEST_ADVANCE)))
    if text_width(word, size) <= width:
        return [word]
    return [word[i : i + room] for i in range(0, len(word), room)]


def wrap(content: str, *, size: float, width: float) -> list[str]:
    """Return the lines of a text in a column; nothing is cut off."""
    lines: list[str] = []
    for word in content.split():
        for piece in _pieces(word, size, width):
            longer = f"{lines[-1]} {piece}" if lines else piece
            if lines and text_width(longer, size) <= width:
                lines[-1] = longer
            else:
                lines.append(piece)
    return lines


def fit_size(content: str, *, size: float, width: float, least: float = 8) -> float:
    """Return the font size at which one short label fits, not under ``least``."""
    wanted = text_width(content, size)
    return size if wanted <= width else max(least, size * width / wanted)


def document(
    *,
    width: float,
    height: float,
    title: str,
    describe: str,
    uid: str,
    class_: str,
    body: Iterable[str],
) -> str:
    """Return the whole drawing, named and described for a screen reader.

    ``uid`` must be unique in the page; it becomes part of two ids and loses
    every character that an id should not have.
    """
    safe = re.sub(r"[^A-Za-z0-9_-]", "", uid) or "drawing"
    head = tag("title", escape(title) or " ", id=f"{safe}-t") + tag(
        "desc", escape(describe) or " ", id=f"{safe}-d"
    )
    return tag(
        "svg",
        head + "".join(body),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=width,
        height=height,
        role="img",
        aria_labelledby=f"{safe}-t",
        aria_describedby=f"{safe}-d",
        font_family=FONT,
        class_=class_,
    )

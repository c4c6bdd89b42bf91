"""Where the columns, nodes and words of the flow lie."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from cases.charts.flow_ways import Flow
from cases.charts.sheet import LEADING, NARROW, WIDE, lines_of
from cases.charts.words import Words, label_of
from cases.drawings.palette import VERDICT

__all__ = [
    "NODE",
    "Column",
    "Label",
    "Layout",
    "Rest",
    "laid_out",
]

NODE: Final = 12.0
_GAP: Final = 12.0
_UNKNOWN: Final = 12.0


@dataclass(frozen=True, slots=True)
class Label:
    """The words of a node, its count last."""

    x: float
    y: float
    lines: list[str]
    size: float
    anchor: str
    glyph: str = ""
    glyph_x: float = 0.0


@dataclass(frozen=True, slots=True)
class Column:
    """One column of nodes from its left edge."""

    x: float
    keys: list[str]
    tops: Mapping[str, float]
    heights: Mapping[str, float]
    labels: Mapping[str, Label]
    head: list[str]
    head_x: float
    head_anchor: str
    bottom: float
    first: bool


@dataclass(frozen=True, slots=True)
class Rest:
    """The band of what may not be told apart."""

    top: float
    height: float
    lines: list[str]


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything in pixels; ``unit`` is the width of a band of one restoration."""

    width: float
    height: float
    size: float
    unit: float
    columns: tuple[Column, ...]
    rest: Rest | None


@dataclass(frozen=True, slots=True)
class _Place:
    """How a column writes its words: beside its nodes, or over them."""

    x: float
    label_x: float
    anchor: str
    room: float
    beside: bool


# Wide: the outer columns have their words outside; a phone has no such room.
_WIDE: Final = (
    _Place(174, 164, "end", 138, True),
    _Place(366, 372, "middle", 190, False),
    _Place(554, 576, "start", 160, True),
)
_NARROW: Final = (
    _Place(2, 2, "start", 104, False),
    _Place(164, 170, "middle", 112, False),
    _Place(326, 338, "end", 104, False),
)


def laid_out(found: Flow, words: Words, *, narrow: bool) -> Layout:
    """Return the places of everything, the tallest column deciding the height."""
    size, tall = (11.5, 220.0) if narrow else (13.0, 280.0)
    total = sum(found.ways.values()) + (found.rest or 0)
    unit = tall / total
    places = _NARROW if narrow else _WIDE
    heads = (words.flow_verdict, words.flow_option, words.flow_outcome)
    head_lines = [
        lines_of(head, size=size, width=place.room)
        for head, place in zip(heads, places, strict=True)
    ]
    top = 14 + max(len(lines) for lines in head_lines) * size * LEADING
    columns = tuple(
        _column(found, index, place, lines, top, unit, size, words)
        for index, (place, lines) in enumerate(zip(places, head_lines, strict=True))
    )
    bottom = max(column.bottom for column in columns)
    width = NARROW if narrow else WIDE
    rest = _rest(found, words, bottom + 6, unit, size, width - columns[0].x)
    if rest is not None:
        bottom = rest.top + rest.height + 8 + len(rest.lines) * size * LEADING
    return Layout(width, bottom + 8, size, unit, columns, rest)


def _rest(
    found: Flow, words: Words, top: float, unit: float, size: float, room: float
) -> Rest | None:
    if found.rest is None:
        return None
    known = found.rest and not found.unknown
    said = found.rest_text(words)
    # Nothing may be read from the width of what is not known.
    height = max(found.rest * unit, 2.0) if known else _UNKNOWN
    return Rest(top, height, lines_of(said, size=size, width=room))


def _column(
    found: Flow,
    index: int,
    place: _Place,
    head: list[str],
    top: float,
    unit: float,
    size: float,
    words: Words,
) -> Column:
    counts = found.sums(index)
    keys = found.keys(index)
    heights = {key: counts[key] * unit for key in keys}
    tops: dict[str, float] = {}
    labels: dict[str, Label] = {}
    y = top
    for key in keys:
        lines = _lines(index, key, counts[key], place, size, words)
        block = len(lines) * size * LEADING
        if place.beside:
            slot = max(block, heights[key])
            tops[key] = y + (slot - heights[key]) / 2
            first = y + (slot - block) / 2 + size * 0.9
        else:
            slot = block + 3 + heights[key]
            tops[key] = y + block + 3
            first = y + size * 0.9
        labels[key] = _label(index, key, place, first, lines, size)
        y += slot + _GAP
    return Column(
        place.x, keys, tops, heights, labels, head, place.label_x, place.anchor, y,
        index == 0,
    )  # fmt: skip


def _lines(
    index: int, key: str, count: int, place: _Place, size: float, words: Words
) -> list[str]:
    kind = ("verdict", "option", "outcome")[index]
    empty = (words.no_verdict, words.no_query, key)[index]
    room = place.room - (18 if index == 0 else 0)
    name = label_of(words, kind, key, empty)
    return [*lines_of(name, size=size, width=room), str(count)]


def _label(
    index: int, key: str, place: _Place, y: float, lines: list[str], size: float
) -> Label:
    shape = key if index == 0 and key in VERDICT else ""
    if not shape:
        return Label(place.label_x, y, lines, size, place.anchor)
    if place.anchor == "end":
        return Label(
            place.label_x - 18, y, lines, size, "end", shape, place.label_x - 7
        )
    return Label(place.label_x + 18, y, lines, size, "start", shape, place.label_x + 7)

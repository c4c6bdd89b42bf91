"""The 32 permanent teeth, with the units of a case marked on them.

Straight rows rather than a curved arch: the numbers stand under each other and
there is room for a word at every marked tooth.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from cases.drawings.glyphs import glyph
from cases.drawings.outlines import (
    Placement,
    outline_for,
    outline_paths,
    tooth_class,
)
from cases.drawings.palette import HAIR, INK, INK_2, SURFACE, VERDICT
from cases.drawings.svg import document, escape, fit_size, line, tag, text, wrap

__all__ = ["ToothMark", "ToothWords", "tooth_chart"]

_PITCH: Final = 44.0
_MARGIN: Final = 24.0
_MIDLINE: Final = 8.0
_PER_MM: Final = 3.75
_ROW: Final = 48.0  # room for the deepest crown
_CALLOUT: Final = 80.0
_LEADING: Final = 13.5
_PICTURE: Final = {
    "maxilla": (*range(18, 10, -1), *range(21, 29)),
    "mandible": (*range(48, 40, -1), *range(31, 39)),
}


@dataclass(frozen=True, slots=True)
class ToothMark:
    """What is said about one tooth.

    ``verdict`` is one of the five or empty (no check yet); ``linked`` holds the
    ISO 3950 codes of neighbours joined to it in one span.
    """

    label: str
    verdict: str
    verdict_word: str
    linked: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class ToothWords:
    """The words beside the rows, already translated."""

    right: str = "right"
    left: str = "left"


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of teeth in the picture, with the place of every tooth in it."""

    arch: str
    centres: Mapping[str, float]
    marks: Mapping[str, ToothMark]
    numbering: Mapping[str, str]

    @property
    def order(self) -> list[str]:
        return list(self.centres)

    def half(self, code: str) -> tuple[float, float]:
        place = int(code[1])
        _, width, depth = outline_for(tooth_class(place), self.arch, place)
        return width * _PER_MM / 2, depth * _PER_MM / 2


def _centres(codes: Sequence[int]) -> dict[str, float]:
    found: dict[str, float] = {}
    for index, code in enumerate(codes):
        crossed = code // 10 in (2, 3) and len(codes) > 8
        x = _MARGIN + _PITCH * (index + 0.5) + (_MIDLINE if crossed else 0)
        found[str(code)] = x
    return found


def _callout_lines(mark: ToothMark) -> list[tuple[str, bool]]:
    """Return the lines of a callout; True stands for the verdict's word."""
    said = ((mark.label, False), (mark.verdict_word, True))
    return [
        (part, is_verdict)
        for words, is_verdict in said
        for part in wrap(words, size=12, width=_CALLOUT)
    ]


def _levels(row: _Row) -> dict[str, int]:
    """Return 0 or 1 for each marked tooth: neighbours write on different levels."""
    levels: dict[str, int] = {}
    before: str | None = None
    for code in row.order:
        if code in row.marks:
            levels[code] = 1 - levels[before] if before is not None else 0
        before = code if code in row.marks else None
    return levels


def _heights(row: _Row) -> tuple[float, float]:
    """Return the height of the callouts near the teeth and of those beyond."""
    levels = _levels(row)
    tallest = [0, 0]
    for code, level in levels.items():
        count = len(_callout_lines(row.marks[code]))
        tallest[level] = max(tallest[level], count)
    near, far = (count * _LEADING + (6 if count else 0) for count in tallest)
    return near, far


def _row_height(row: _Row) -> float:
    near, far = _heights(row)
    return _ROW + 18 + near + far + 4


def _tooth(row: _Row, code: str, y: float) -> str:
    place = int(code[1])
    shape, _, _ = outline_for(tooth_class(place), row.arch, place)
    half_width, half_depth = row.half(code)
    mark = row.marks.get(code)
    placed = Placement(
        row.centres[code], y, half_width, half_depth,
        mesial_right=code[0] in "14", buccal_up=row.arch == "maxilla",
    )  # fmt: skip
    parts = []
    if mark:
        said = ", ".join(part for part in (mark.label, mark.verdict_word) if part)
        parts.append(tag("title", escape(f"{row.numbering.get(code, code)}: {said}")))
    parts.append(
        outline_paths(
            shape,
            placed,
            stroke=INK if mark else HAIR,
            class_="c-line" if mark else "c-hair",
            width=3 if mark else 1.1,
            groove_width=0.9,
        )  # fmt: skip
    )
    if mark and mark.verdict:
        parts.append(
            tag("circle", cx=placed.x, cy=y, r=11, fill=SURFACE, class_="c-surface")
        )
        parts.append(glyph(mark.verdict, placed.x, y, 17))
    return tag("g", "".join(parts), data_tooth=code)


def _bridge(row: _Row, code: str, y: float) -> str:
    """Return the bars that join a tooth to the linked neighbour on its right."""
    mark = row.marks[code]
    order = row.order
    index = order.index(code)
    following = order[index + 1] if index + 1 < len(order) else None
    if following is None or following not in mark.linked:
        return ""
    start = row.centres[code] + row.half(code)[0]
    end = row.centres[following] - row.half(following)[0]
    return "".join(
        line((start - 2, y + gap), (end + 2, y + gap),
             stroke=INK, class_="c-line", width=2.5)
        for gap in (-5, 5)
    )  # fmt: skip


def _callout(row: _Row, code: str, y: float, level: int) -> str:
    """Return number and words of a marked tooth on the outer side of its row."""
    mark, x, up = row.marks[code], row.centres[code], row.arch == "maxilla"
    lines = _callout_lines(mark)
    near, _ = _heights(row)
    edge = _ROW / 2 + 18 + (near if level else 0)
    parts = []
    if level and near:
        sign = -1 if up else 1
        parts.append(
            line((x, y + sign * (_ROW / 2 + 17)), (x, y + sign * (edge - 1)),
                 stroke=HAIR, class_="c-hair", width=1)
        )  # fmt: skip
    first = y - edge - _LEADING * (len(lines) - 1) - 3 if up else y + edge + 10
    for offset, (words, bold) in enumerate(lines):
        colour = VERDICT.get(mark.verdict, INK) if bold else INK
        class_ = f"v-{mark.verdict}" if bold and mark.verdict else "c-ink"
        parts.append(
            text(x, first + offset * _LEADING, words, size=12, bold=bold,
                 anchor="middle", fill=colour, class_=class_)
        )  # fmt: skip
    return "".join(parts)


def _draw_row(row: _Row, y: float) -> str:
    """Return a row whose crowns are centred on ``y``."""
    parts = [_tooth(row, code, y) for code in row.order]
    levels = _levels(row)
    number_y = y - _ROW / 2 - 5 if row.arch == "maxilla" else y + _ROW / 2 + 14
    for code, x in row.centres.items():
        marked = code in row.marks
        label = row.numbering.get(code, code)
        parts.append(
            text(x, number_y, label, bold=marked, anchor="middle",
                 size=fit_size(label, size=14 if marked else 13, width=_PITCH),
                 fill=INK if marked else INK_2, class_="c-ink" if marked else "c-ink2")
        )  # fmt: skip
        if marked:
            parts.append(_bridge(row, code, y))
            parts.append(_callout(row, code, y, levels[code]))
    return "".join(parts)


def _rows(
    marks: Mapping[str, ToothMark], numbering: Mapping[str, str], quadrant: int | None
) -> list[_Row]:
    rows = []
    for arch, codes in _PICTURE.items():
        shown = [c for c in codes if quadrant in (None, c // 10)]
        if shown:
            centres = _centres(shown)
            kept = {code: marks[code] for code in centres if code in marks}
            rows.append(_Row(arch, centres, kept, numbering))
    return rows


def tooth_chart(
    marks: Mapping[str, ToothMark],
    *,
    numbering: Mapping[str, str],
    title: str,
    describe: str,
    uid: str,
    quadrant: int | None = None,
    words: ToothWords | None = None,
) -> str:
    """Return the chart as SVG.

    ``marks`` is keyed by ISO 3950 code; ``numbering`` maps such a code to what
    is shown (a missing one is shown as it is). ``quadrant`` 1 to 4 draws that
    quadrant alone, for a phone. Raises ValueError for a tooth that is not a
    permanent one, or another quadrant.
    """
    known = {str(code) for codes in _PICTURE.values() for code in codes}
    if unknown := sorted(set(marks) - known):
        raise ValueError(f"not permanent teeth: {', '.join(unknown)}")
    if quadrant not in (None, 1, 2, 3, 4):
        raise ValueError(f"no such quadrant: {quadrant}")
    said = words or ToothWords()
    rows = _rows(marks, numbering, quadrant)
    width = max(max(row.centres.values()) for row in rows) + _PITCH / 2 + _MARGIN
    body: list[str] = []
    top = 4.0
    for row in rows:
        upper = row.arch == "maxilla"
        y = top + _row_height(row) - _ROW / 2 if upper else top + _ROW / 2
        body.append(_draw_row(row, y))
        top += _row_height(row)
        if upper and len(rows) == 2:
            body.append(_middle(top, width, said))
            top += 20
    if quadrant is not None:
        body.append(_side(top, width, quadrant, said))
        top += 18
    return document(
        width=width, height=top, title=title, describe=describe, uid=uid,
        class_="chart chart-teeth", body=body,
    )  # fmt: skip


def _middle(top: float, width: float, words: ToothWords) -> str:
    y = top + 14
    half = width / 2
    return (
        line((half, top - 40), (half, top + 60), stroke=HAIR, class_="c-hair", dash="4 3")
        + text(6, y, words.right, size=12, fill=INK_2, class_="c-ink2")
        + text(width - 6, y, words.left, size=12, anchor="end", fill=INK_2,
               class_="c-ink2")
    )  # fmt: skip


def _side(top: float, width: float, quadrant: int, words: ToothWords) -> str:
    right = quadrant in (1, 4)
    return text(
        6 if right else width - 6, top + 12, words.right if right else words.left,
        size=12, anchor="start" if right else "end", fill=INK_2, class_="c-ink2",
    )  # fmt: skip

"""The 32 permanent teeth, with the units of a case marked on them.

Straight rows rather than a curved arch: the numbers stand under each other and
there is room for a word at every marked tooth.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from cases.drawings.palette import HAIR, INK_2
from cases.drawings.svg import document, line, text
from cases.drawings.tooth_row import PITCH, ToothMark, ToothRow

__all__ = ["ToothMark", "ToothWords", "tooth_chart"]

_MARGIN: Final = 24.0
_MIDLINE: Final = 8.0
_BETWEEN: Final = 20.0
# The patient's right lies on the left of the picture.
_PICTURE: Final = {
    "maxilla": (*range(18, 10, -1), *range(21, 29)),
    "mandible": (*range(48, 40, -1), *range(31, 39)),
}


@dataclass(frozen=True, slots=True)
class ToothWords:
    """The words beside the rows, already translated."""

    right: str = "right"
    left: str = "left"


def _centres(codes: Sequence[int]) -> dict[str, float]:
    whole_arch = len(codes) > 8
    return {
        str(code): _MARGIN
        + PITCH * (index + 0.5)
        + (_MIDLINE if whole_arch and code // 10 in (2, 3) else 0)
        for index, code in enumerate(codes)
    }


def _rows(
    marks: Mapping[str, ToothMark], numbering: Mapping[str, str], quadrant: int | None
) -> list[ToothRow]:
    rows = []
    for arch, codes in _PICTURE.items():
        shown = [code for code in codes if quadrant in (None, code // 10)]
        if shown:
            centres = _centres(shown)
            kept = {code: marks[code] for code in centres if code in marks}
            # A quadrant is for a phone, where the drawing is shown smaller.
            size = 12 if quadrant is None else 14
            rows.append(ToothRow(arch, centres, kept, numbering, size))
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
    permanent one, or another quadrant; KeyError for an unknown verdict.
    """
    known = {str(code) for codes in _PICTURE.values() for code in codes}
    if unknown := sorted(set(marks) - known):
        raise ValueError(f"not permanent teeth: {', '.join(unknown)}")
    if quadrant not in (None, 1, 2, 3, 4):
        raise ValueError(f"no such quadrant: {quadrant}")
    said = words or ToothWords()
    rows = _rows(marks, numbering, quadrant)
    width = max(max(row.centres.values()) for row in rows) + PITCH / 2 + _MARGIN
    body, height = (
        _both(rows, width, said)
        if quadrant is None
        else _single(rows[0], width, said, right=quadrant in (1, 4))
    )
    return document(
        width=width, height=height, title=title, describe=describe, uid=uid,
        class_="chart chart-teeth", body=body,
    )  # fmt: skip


def _both(
    rows: Sequence[ToothRow], width: float, words: ToothWords
) -> tuple[list[str], float]:
    upper, lower = rows
    seam = upper.height + 2
    half = width / 2
    body = [
        line((half, seam - 40), (half, seam + _BETWEEN + 40), stroke=HAIR,
             class_="c-hair", dash="4 3"),
        upper.draw(seam - upper.crown_from_edge),
        lower.draw(seam + _BETWEEN + lower.crown_from_edge),
        _side_word(words, seam + 14, width, right=True),
        _side_word(words, seam + 14, width, right=False),
    ]  # fmt: skip
    return body, seam + _BETWEEN + lower.height


def _single(
    row: ToothRow, width: float, words: ToothWords, *, right: bool
) -> tuple[list[str], float]:
    """Return one quadrant; its side's word stands away from the callouts."""
    if row.upper:
        y = row.height - row.crown_from_edge
        side = _side_word(words, row.height + 12, width, right=right)
    else:
        y = 18 + row.crown_from_edge
        side = _side_word(words, 12, width, right=right)
    return [row.draw(y), side], row.height + 18


def _side_word(words: ToothWords, y: float, width: float, *, right: bool) -> str:
    return text(
        6 if right else width - 6, y, words.right if right else words.left, size=12,
        anchor="start" if right else "end", fill=INK_2, class_="c-ink2",
    )  # fmt: skip

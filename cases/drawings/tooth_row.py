"""One straight row of teeth: crowns, numbers and what is written beside them."""

from collections.abc import Mapping
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
from cases.drawings.svg import escape, fit_size, line, tag, text, wrap

__all__ = ["PITCH", "ToothMark", "ToothRow"]

PITCH: Final = 44.0
_PER_MM: Final = 3.75
_CROWN: Final = 48.0  # room for the deepest crown
_NUMBER: Final = 18.0
# Neighbours write on two levels, so a text may be nearly two columns wide.
_CALLOUT: Final = 82.0


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
class ToothRow:
    """The teeth of one arch (or half of it) in the order of the picture.

    ``centres`` gives each ISO 3950 code its x, in order; ``size`` is the size
    of the words.
    """

    arch: str
    centres: Mapping[str, float]
    marks: Mapping[str, ToothMark]
    numbering: Mapping[str, str]
    size: float

    @property
    def upper(self) -> bool:
        """Whether words go above the teeth rather than below."""
        return self.arch == "maxilla"

    @property
    def height(self) -> float:
        """Height of the row with everything written beside it."""
        return _CROWN + _NUMBER + sum(self._heights()) + 4

    @property
    def crown_from_edge(self) -> float:
        """Distance of the crowns' middle from the side towards the other arch."""
        return _CROWN / 2

    def draw(self, y: float) -> str:
        """Return the row, its crowns centred on ``y``."""
        order = list(self.centres)
        levels = self._levels()
        parts = [self._crown(code, y) for code in order]
        for code, following in zip(order, [*order[1:], ""], strict=True):
            parts.append(self._number(code, y))
            if code in self.marks:
                parts.append(self._bridge(code, following, y))
                parts.append(self._callout(code, y, levels[code]))
        return "".join(parts)

    def _half(self, code: str) -> tuple[float, float]:
        place = int(code[1])
        _, width, depth = outline_for(tooth_class(place), self.arch, place)
        return width * _PER_MM / 2, depth * _PER_MM / 2

    def _lines(self, mark: ToothMark) -> list[tuple[str, bool]]:
        """Return the lines of a callout; True stands for the verdict's word."""
        said = ((mark.label, False), (mark.verdict_word, True))
        return [
            (part, is_verdict)
            for words, is_verdict in said
            for part in wrap(words, size=self.size, width=_CALLOUT)
        ]

    def _levels(self) -> dict[str, int]:
        """Return 0 (near) or 1 (beyond) for each marked tooth, neighbours apart."""
        levels: dict[str, int] = {}
        before: str | None = None
        for code in self.centres:
            if code in self.marks:
                levels[code] = 0 if before is None else 1 - levels[before]
            before = code if code in self.marks else None
        return levels

    def _heights(self) -> tuple[float, float]:
        """Return the heights of the two levels of callouts."""
        tallest = [0, 0]
        for code, level in self._levels().items():
            count = len(self._lines(self.marks[code]))
            tallest[level] = max(tallest[level], count)
        near, far = (n * self._leading + (6 if n else 0) for n in tallest)
        return near, far

    @property
    def _leading(self) -> float:
        return self.size * 1.13

    def _crown(self, code: str, y: float) -> str:
        place = int(code[1])
        shape, _, _ = outline_for(tooth_class(place), self.arch, place)
        mark = self.marks.get(code)
        placed = Placement(
            self.centres[code], y, *self._half(code),
            mesial_right=code[0] in "14", buccal_up=self.upper,
        )  # fmt: skip
        drawn = outline_paths(
            shape, placed, width=3 if mark else 1.1, groove_width=0.9,
            stroke=INK if mark else HAIR, class_="c-line" if mark else "c-hair",
        )  # fmt: skip
        if mark:
            said = ", ".join(part for part in (mark.label, mark.verdict_word) if part)
            name = f"{self.numbering.get(code, code)}: {said}"
            drawn = tag("title", escape(name)) + drawn
        if mark and mark.verdict:
            drawn += tag(
                "circle", cx=placed.x, cy=y, r=11, fill=SURFACE, class_="c-surface"
            ) + glyph(mark.verdict, placed.x, y, 17)
        return tag("g", drawn, data_tooth=code)

    def _number(self, code: str, y: float) -> str:
        label = self.numbering.get(code, code)
        marked = code in self.marks
        shift = -_CROWN / 2 - 5 if self.upper else _CROWN / 2 + 14
        size = self.size + (2 if marked else 1)
        return text(
            self.centres[code], y + shift, label, bold=marked, anchor="middle",
            size=fit_size(label, size=size, width=PITCH), fill=INK if marked else INK_2,
            class_="c-ink" if marked else "c-ink2",
        )  # fmt: skip

    def _bridge(self, code: str, following: str, y: float) -> str:
        """Return the bars that join a tooth to the linked one on its right."""
        if not following or following not in self.marks[code].linked:
            return ""
        start = self.centres[code] + self._half(code)[0] - 2
        end = self.centres[following] - self._half(following)[0] + 2
        return "".join(
            line((start, y + gap), (end, y + gap), stroke=INK, class_="c-line",
                 width=2.5)
            for gap in (-5, 5)
        )  # fmt: skip

    def _callout(self, code: str, y: float, level: int) -> str:
        """Return the words of a marked tooth, on the outer side of its row."""
        mark, x = self.marks[code], self.centres[code]
        lines, sign = self._lines(mark), -1 if self.upper else 1
        near, _ = self._heights()
        number_edge = _CROWN / 2 + _NUMBER
        edge = number_edge + (near if level else 0)
        parts = []
        if level:
            leader = (x, y + sign * (number_edge - 1)), (x, y + sign * (edge - 1))
            parts.append(line(*leader, stroke=HAIR, class_="c-hair"))
        last = self._leading * (len(lines) - 1)
        first = y - edge - last - 3 if self.upper else y + edge + self.size * 0.84
        for offset, (words, is_verdict) in enumerate(lines):
            shown = is_verdict and mark.verdict in VERDICT
            parts.append(
                text(x, first + offset * self._leading, words, size=self.size,
                     bold=is_verdict, anchor="middle",
                     fill=VERDICT[mark.verdict] if shown else INK,
                     class_=f"v-{mark.verdict}" if shown else "c-ink")
            )  # fmt: skip
        return "".join(parts)

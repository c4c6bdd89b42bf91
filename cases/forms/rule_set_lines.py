"""The table of one material's needs as it is edited: sections of lines.

A section holds what its lines have in common (kinds of restoration, cementation,
occlusal surface, tooth classes), as a group of a TOML file does. Rows are numbered
with gaps; what was typed stays whatever the core says of it.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.utils.translation import gettext as _

from cases.errors import Invalid
from cases.forms.rule_set_cells import (
    MAX_FIELDS,
    Body,
    SheetRow,
    cells,
    flat,
    length_of,
)
from cases.forms.rule_set_words import (
    built,
    condition_words,
    need_at,
    place_words,
    rule_fault,
)

__all__ = ["LinesEditor", "LineRow", "Section"]

PREFIX = "groups"
_TEXTS = ("site", "quantity", "thickness_mm", "min_mm", "target_mm", "max_mm", "source")
_LINE = (*_TEXTS, "note", "positions", "stored", "remove")
# A row in which only these hold something says nothing and is left out.
_PRESET = frozenset({"site", "quantity", "source", "remove"})
_FIGURE = ("min_mm", "source", "note")
_SHARED = ("kinds", "cementation", "occlusal_surface", "classes")
_LISTS = frozenset({"kinds", "classes", "positions"})
# Where a product begins: what its instructions for use state first.
_FIRST_SITES = ("functional_cusp", "nonfunctional_cusp", "central_fossa")
_MORE_LINES = 2


@dataclass
class LineRow(SheetRow):
    """One need: its cells, other sources' figures, and how its least is built."""

    figures: list[SheetRow] = field(default_factory=list)
    sum: str = ""

    @property
    def spoken(self) -> str:
        """Which line this is, for who hears the page instead of seeing it."""
        site = self.text("site")
        return place_words(site) if site else _("line {n}").format(n=self.number + 1)

    @property
    def said(self) -> list[str]:
        """Every message of the row and of its other figures."""
        more = [text for figure in self.figures for text in figure.errors]
        return list(dict.fromkeys([*self.errors, *more]))

    @property
    def opened(self) -> bool:
        """Whether what is folded away has something to correct."""
        return bool(
            self.cells["positions"].errors or any(f.errors for f in self.figures)
        )

    @property
    def blank(self) -> bool:
        """Whether the row was offered and nothing was said in it."""
        typed = {key for key in _LINE if self.text(key)} - _PRESET
        return not typed and not any(f.filled(_FIGURE) for f in self.figures)

    @property
    def removed(self) -> bool:
        """Whether the row is ticked to go."""
        return bool(self.text("remove"))

    def line(self) -> dict[str, Any]:
        """Return the row in the canonical form of a need, what is empty left out."""
        found: dict[str, Any] = dict(self.filled((*_TEXTS, "note")))
        if positions := self.cells["positions"].values:
            found["positions"] = list(positions)
        figures = [f.filled(_FIGURE) for f in self.figures]
        if any(figures):
            found["alternatives"] = [figure for figure in figures if figure]
        return found


@dataclass
class Section(SheetRow):
    """Lines that hold under the same conditions."""

    rows: list[LineRow] = field(default_factory=list)
    fresh: bool = False

    @property
    def title(self) -> str:
        """The conditions in words."""
        return condition_words(self.shared()) or _("New section")

    @property
    def opened(self) -> bool:
        """Whether its conditions are to be seen at once."""
        return self.fresh or bool(self.errors)

    def shared(self) -> dict[str, Any]:
        """Return what its lines have in common, in canonical form."""
        found: dict[str, Any] = {}
        for key in _SHARED:
            cell = self.cells[key]
            values = [value for value in cell.values if value]
            if values:
                found[key] = values if key in _LISTS else values[-1]
        return found


class LinesEditor:
    """All lines of one material, as stored or as typed."""

    def __init__(self, body: Body, *, decision: Mapping[str, Any]) -> None:
        self._decision = {
            key: length_of(str(decision[key])) or Decimal(0)
            for key in ("cement_space_mm", "adjustment_mm")
        }
        self._body: dict[str, Sequence[str]] = dict(body)
        self.problems: list[dict[str, str]] = []
        self._sent: list[tuple[Section, LineRow]] = []
        self.sections = self._read()

    @classmethod
    def stored(
        cls,
        needs: Sequence[Mapping[str, Any]],
        *,
        decision: Mapping[str, Any],
        kept: bool = True,
    ) -> "LinesEditor":
        """Return the editor of needs in canonical form.

        ``kept``: they are this material's own, so that one emptied is a fault rather
        than a row nobody filled in.
        """
        body: dict[str, list[str]] = {}
        groups = groupby(needs, key=lambda need: [need.get(key) for key in _SHARED])
        for number, (_key, lines) in enumerate(groups):
            group = list(lines)
            prefix = f"{PREFIX}-{number}"
            body |= flat(group[0], prefix, _SHARED)
            for place, need in enumerate(group):
                body |= _line_body(need, f"{prefix}-lines-{place}", kept=kept)
        return cls(body, decision=decision)

    @classmethod
    def begun(cls, *, decision: Mapping[str, Any]) -> "LinesEditor":
        """Return the editor of a material without lines: a section to fill in."""
        body = _new_section(0)
        for place, site in enumerate(_FIRST_SITES):
            body |= _offered(f"{PREFIX}-0-lines-{place}", site)
        return cls(body, decision=decision)

    def _read(self) -> list[Section]:
        tree = _tree(self._body)
        return [self._section(number, tree[number]) for number in sorted(tree)]

    def _section(self, number: int, lines: dict[int, set[int]]) -> Section:
        prefix = f"{PREFIX}-{number}"
        found = cells(self._body, prefix, (*_SHARED, "fresh"))
        rows = [self._row(prefix, line, lines[line]) for line in sorted(lines)]
        fresh = bool(found["fresh"].value)
        return Section(number, prefix, found, rows=rows, fresh=fresh)

    def _row(self, above: str, number: int, more: set[int]) -> LineRow:
        prefix = f"{above}-lines-{number}"
        places = [(n, f"{prefix}-alternatives-{n}") for n in sorted(more)]
        figures = [
            SheetRow(n, place, cells(self._body, place, _FIGURE)) for n, place in places
        ]
        row = LineRow(number, prefix, cells(self._body, prefix, _LINE), figures=figures)
        thickness = length_of(row.text("thickness_mm"))
        if thickness is not None:
            row.sum = built(thickness, self._decision)
        return row

    @property
    def full(self) -> bool:
        """Whether the server would read no more fields than the page sends."""
        rows = [row for section in self.sections for row in section.rows]
        figures = sum(len(row.figures) for row in rows)
        each = len(_LINE) * len(rows) + len(_FIGURE) * figures
        return each + 8 * len(self.sections) > MAX_FIELDS

    def lines(self) -> list[dict[str, Any]]:
        """Return every line that says something, in the order of the page."""
        self._sent = [
            (section, row)
            for section in self.sections
            for row in section.rows
            if not row.removed and not row.blank
        ]
        return [{**section.shared(), **row.line()} for section, row in self._sent]

    def add(self, wanted: str) -> bool:
        """Add what a button asked for: ``section``, ``line-0``, ``figure-0-3``.

        False: it asked for nothing that is here, or the form is full.
        """
        kind, *places = wanted.split("-")
        if self.full or not all(part.isascii() and part.isdecimal() for part in places):
            return False
        place = [int(part) for part in places]
        tree = _tree(self._body)
        if kind == "section" and not place:
            number = _next(tree)
            self._body |= _new_section(number)
            self._body |= _offered(f"{PREFIX}-{number}-lines-0", "")
        elif kind == "line" and len(place) == 1 and place[0] in tree:
            first = _next(tree[place[0]])
            for number in range(first, first + _MORE_LINES):
                self._body |= _offered(f"{PREFIX}-{place[0]}-lines-{number}", "")
        elif (
            kind == "figure" and len(place) == 2 and place[1] in tree.get(place[0], ())
        ):
            number = _next(tree[place[0]][place[1]])
            prefix = f"{PREFIX}-{place[0]}-lines-{place[1]}-alternatives-{number}"
            self._body |= {f"{prefix}-{key}": [""] for key in _FIGURE}
        else:
            return False
        self.sections = self._read()
        return True

    def is_valid(self) -> bool:
        """Leave every judgement to the core."""
        return True

    def place(self, error: Invalid, document: Mapping[str, Any]) -> None:
        """Put every fault into its cell, and list all with the way there."""
        for fault in error.fields:
            text = rule_fault(fault, self._named)
            parts = fault.pointer.strip("/").split("/")
            if (
                parts[0] == "lines"
                and len(parts) > 1
                and int(parts[1]) < len(self._sent)
            ):
                section, row = self._sent[int(parts[1])]
                key = parts[2] if len(parts) > 2 else ""
                self._refuse(section, row, key, parts[3:], text)
            else:
                where = need_at(document, fault.pointer)
                said = f"{where}: {text}" if where else text
                self.problems.append({"href": "", "text": said})
        self.problems = list({p["href"] + p["text"]: p for p in self.problems}.values())

    def _refuse(
        self, section: Section, row: LineRow, key: str, rest: list[str], text: str
    ) -> None:
        if key in _SHARED:
            href = section.refuse(key, text)
            self.problems.append({"href": f"#{href}", "text": self._at(section, text)})
            return
        if key == "alternatives" and len(rest) > 1:
            figures = [f for f in row.figures if f.filled(_FIGURE)]
            href = figures[int(rest[0])].refuse(rest[1], text)
        else:
            href = row.refuse(key or "min_mm", text)
        self.problems.append(
            {"href": f"#{href}", "text": self._at(section, text, row.spoken)}
        )

    def _at(self, section: Section, text: str, row: str = "") -> str:
        where = ", ".join(part for part in (section.title, row) if part)
        return f"{where}: {text}"

    def _named(self, pointer: str) -> str:
        parts = pointer.strip("/").split("/")
        if parts[0] == "lines" and int(parts[1]) < len(self._sent):
            section, row = self._sent[int(parts[1])]
            return f"{section.title}, {row.spoken}"
        return pointer


_AT = re.compile(
    rf"{PREFIX}-([0-9]{{1,4}})-(?:lines-([0-9]{{1,4}})-(?:alternatives-([0-9]{{1,4}})-)?)?",
    re.ASCII,
)


def _tree(body: Body) -> dict[int, dict[int, set[int]]]:
    """Return the numbers of sections, their lines and the lines' other figures."""
    tree: dict[int, dict[int, set[int]]] = {}
    for key in body:
        if found := _AT.match(key):
            section, line, figure = found.groups()
            lines = tree.setdefault(int(section), {})
            if line is not None:
                figures = lines.setdefault(int(line), set())
                if figure is not None:
                    figures.add(int(figure))
    return tree


def _next(taken: Iterable[int]) -> int:
    return max(taken, default=-1) + 1


def _new_section(number: int) -> dict[str, list[str]]:
    prefix = f"{PREFIX}-{number}"
    return {f"{prefix}-kinds": ["crown", "retainer"], f"{prefix}-fresh": ["1"]}


def _offered(prefix: str, site: str) -> dict[str, list[str]]:
    return {f"{prefix}-site": [site], f"{prefix}-quantity": ["clearance"]}


def _line_body(
    need: Mapping[str, Any], prefix: str, *, kept: bool
) -> dict[str, list[str]]:
    body = flat(need, prefix, (*_TEXTS, "note", "positions"))
    if kept:
        body[f"{prefix}-stored"] = ["1"]
    for place, figure in enumerate(need.get("alternatives") or ()):
        body |= flat(figure, f"{prefix}-alternatives-{place}", _FIGURE)
    return body

"""The shorter tables of a rule set as they are edited: span limits and charges."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from cases.errors import Invalid
from cases.forms.rule_set_cells import (
    MAX_FIELDS,
    Body,
    SheetRow,
    cells,
    flat,
    numbers,
)
from cases.forms.rule_set_words import rule_fault

__all__ = ["CHARGES", "SPAN_LIMITS", "RowsEditor", "Sheet"]

_MORE = 2
_MARKS = ("stored", "remove")


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a row of a table holds.

    ``name`` is the list's in a rule set; ``preset`` are cells that say nothing by
    themselves. ``refused`` is ticked on the page where the set says not allowed.
    """

    name: str
    texts: tuple[str, ...]
    lists: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    preset: frozenset[str] = frozenset()


SPAN_LIMITS = Sheet(
    "span_limits",
    (
        "region",
        "units_from",
        "units_to",
        "connector_mm2",
        "last_place",
        "source",
        "note",
    ),
    flags=("cantilever", "refused"),
    preset=frozenset({"region"}),
)
CHARGES = Sheet(
    "charges",
    ("material", "days", "charge"),
    lists=("kinds",),
    preset=frozenset({"material"}),
)


class RowsEditor:
    """The rows of one table, as stored or as typed."""

    def __init__(self, body: Body, sheet: Sheet) -> None:
        self.sheet = sheet
        self.problems: list[dict[str, str]] = []
        # Lines of others that stand in front of these in the rule set's list.
        self.before = 0
        self._keys = (*sheet.texts, *sheet.lists, *sheet.flags, *_MARKS)
        self._sent: list[SheetRow] = []
        self.rows = [self._row(body, n) for n in numbers(body, sheet.name)]

    @classmethod
    def stored(cls, lines: Sequence[Mapping[str, Any]], sheet: Sheet) -> "RowsEditor":
        """Return the editor of lines in canonical form, with rows to go on in."""
        body: dict[str, list[str]] = {}
        for number, line in enumerate(lines):
            prefix = f"{sheet.name}-{number}"
            row = {**line, "refused": line.get("allowed") is False}
            body |= flat(row, prefix, (*sheet.texts, *sheet.lists, *sheet.flags))
            body[f"{prefix}-stored"] = ["1"]
        editor = cls(body, sheet)
        if not editor.rows:
            editor.add()
        return editor

    def _row(self, body: Body, number: int) -> SheetRow:
        prefix = f"{self.sheet.name}-{number}"
        return SheetRow(number, prefix, cells(body, prefix, self._keys))

    @property
    def full(self) -> bool:
        """Whether the server would read no more fields than the page sends."""
        return len(self.rows) * len(self._keys) > MAX_FIELDS

    def add(self) -> None:
        """Add blank rows."""
        if self.full:
            return
        first = max((row.number for row in self.rows), default=-1) + 1
        self.rows += [self._row({}, number) for number in range(first, first + _MORE)]

    def lines(self) -> list[dict[str, Any]]:
        """Return every row that says something, in canonical form."""
        self._sent = [row for row in self.rows if self._counts(row)]
        return [self._line(row) for row in self._sent]

    def _counts(self, row: SheetRow) -> bool:
        said = {key for key in self._keys if row.text(key)}
        return "remove" not in said and bool(said - self.sheet.preset)

    def _line(self, row: SheetRow) -> dict[str, Any]:
        line: dict[str, Any] = dict(row.filled(self.sheet.texts))
        for key in self.sheet.lists:
            if values := row.cells[key].values:
                line[key] = list(values)
        for key in self.sheet.flags:
            if row.text(key):
                line |= {"allowed": False} if key == "refused" else {key: True}
        return line

    def is_valid(self) -> bool:
        """Leave every judgement to the core."""
        return True

    def place(self, error: Invalid, document: Mapping[str, Any]) -> None:
        """Put every fault into its cell, and list all with the way there."""
        for fault in error.fields:
            text = rule_fault(fault, self._named)
            name, *parts = fault.pointer.strip("/").split("/")
            place = (
                int(parts[0]) - self.before if parts and parts[0].isdecimal() else -1
            )
            if name != self.sheet.name or not 0 <= place < len(self._sent):
                self.problems.append({"href": "", "text": text})
                continue
            row = self._sent[place]
            href = row.refuse(parts[1] if len(parts) > 1 else "", text)
            said = _("Line {n}: {text}").format(n=place + 1, text=text)
            self.problems.append({"href": f"#{href}", "text": said})

    def _named(self, pointer: str) -> str:
        number = pointer.rsplit("/", 1)[-1]
        if not number.isdecimal():
            return pointer
        return _("line {n}").format(n=int(number) - self.before + 1)

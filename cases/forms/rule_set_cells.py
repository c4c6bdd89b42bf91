"""Cells and rows of a rule set's tables: texts as they were typed, with their faults.

Shape only: what a cell may hold is the rule core's to say. A body is a mapping from
field name to every value sent under it, whether a browser sent it or it was made from
what is stored, so that both are shown by the same code.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.http import QueryDict

from rules.errors import InvalidNumber
from rules.readings import parse_mm
from rules.wording import exact

__all__ = [
    "MAX_FIELDS",
    "Body",
    "Cell",
    "SheetRow",
    "body_of",
    "cells",
    "flat",
    "length_of",
    "numbers",
    "options",
]

Body = Mapping[str, Sequence[str]]
# The server reads no more than 2000 fields of a form; a table that long is edited as
# a file. Some room is left for the hidden ones.
MAX_FIELDS = 1900


@dataclass
class Cell:
    """One field of a row: its name in the form, every value, what is wrong with it."""

    name: str
    values: tuple[str, ...] = ()
    errors: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Id in the page."""
        return f"id_{self.name}"

    @property
    def value(self) -> str:
        """The text; of several values the last, as a browser's form means it."""
        return self.values[-1] if self.values else ""


@dataclass
class SheetRow:
    """One row: its number in the form, its cells, faults that belong to no cell."""

    number: int
    prefix: str
    cells: dict[str, Cell]
    stray: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Id of the row in the page."""
        return f"id_{self.prefix}"

    @property
    def errors(self) -> list[str]:
        """Every message of the row, in the order of its cells, once."""
        said = [text for cell in self.cells.values() for text in cell.errors]
        return list(dict.fromkeys([*self.stray, *said]))

    def text(self, key: str) -> str:
        """Return what stands in a cell, stripped."""
        return self.cells[key].value.strip()

    def filled(self, keys: Iterable[str]) -> dict[str, str]:
        """Return the texts of those cells that hold one."""
        return {key: text for key in keys if (text := self.text(key))}

    def refuse(self, key: str, message: str) -> str:
        """Put a fault into a cell, or beside the row; return the id to go to."""
        cell = self.cells.get(key)
        if cell is None:
            self.stray.append(message)
            return self.id
        if message not in cell.errors:
            cell.errors.append(message)
        return cell.id


def body_of(data: QueryDict) -> dict[str, list[str]]:
    """Return a form as it was sent."""
    return {key: [str(v) for v in data.getlist(key)] for key in data}


def cells(body: Body, prefix: str, keys: Iterable[str]) -> dict[str, Cell]:
    """Return the cells of a row with what was typed in them."""
    found = {}
    for key in keys:
        name = f"{prefix}-{key}"
        # NUL and its like cannot be stored; the core says so of what is left.
        found[key] = Cell(name, tuple(v.strip() for v in body.get(name, ())))
    return found


def numbers(body: Body, prefix: str) -> list[int]:
    """Return the numbers of the rows a body holds under a prefix, in order."""
    pattern = re.compile(rf"{re.escape(prefix)}-([0-9]{{1,4}})-", re.ASCII)
    return sorted({int(m[1]) for key in body if (m := pattern.match(key))})


def length_of(text: str) -> Decimal | None:
    """Return a length as the core reads it; None for nothing and for no number."""
    try:
        return parse_mm(text, minimum=Decimal(0), maximum=Decimal(20), places=4)
    except InvalidNumber:
        return None


def flat(row: Mapping[str, Any], prefix: str, keys: Iterable[str]) -> dict[str, Any]:
    """Return a stored line as the fields of a row."""
    body: dict[str, list[str]] = {}
    for key in keys:
        value = row.get(key)
        if value is None or value == "" or value is False:
            continue
        many = value if isinstance(value, list | tuple) else [value]
        body[f"{prefix}-{key}"] = [_shown(key, each) for each in many]
    return body


def _shown(key: str, value: Any) -> str:
    """Return a stored value as one would type it: 1.0 mm, not 1."""
    text = str(value)
    number = length_of(text) if key.endswith(("_mm", "_mm2")) else None
    return text if number is None else exact(number)


def options(cell: Cell, offered: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return a cell's choices, with what was sent if it is none of them."""
    known = {value for value, _label in offered}
    strange = [v[:40] for v in cell.values if v and v not in known]
    return [*offered, *((value, value) for value in strange)]

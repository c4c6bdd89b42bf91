"""Repeated rows of a page: ``readings-0-tooth``, ``units-2-readings-1-site``.

Rows may be numbered with gaps and blank ones are dropped, so what a service
calls ``/readings/1`` may be row 4 of the page; ``field_name`` finds it again.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cases.errors import Invalid
from cases.forms.faults import fault_text

__all__ = ["MAX_ROWS", "Row", "field_name", "placed_faults", "read_rows", "row_numbers"]

# More rows than any mouth has sites to read; the rest of a hostile body is dropped.
MAX_ROWS = 200


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it was typed: its number on the page and every field's text."""

    number: int
    values: Mapping[str, str]

    def filled(self, *, without: Iterable[str] = ()) -> dict[str, str]:
        """Return the fields that hold something, apart from some."""
        left_out = set(without)
        return {k: v for k, v in self.values.items() if v and k not in left_out}


def row_numbers(data: Mapping[str, Any], prefix: str) -> list[int]:
    """Return the numbers of the rows a form body holds, in order."""
    pattern = re.compile(rf"{re.escape(prefix)}-([0-9]{{1,4}})-", re.ASCII)
    found = {int(m[1]) for key in data if (m := pattern.match(key))}
    return sorted(found)[:MAX_ROWS]


def read_rows(
    data: Mapping[str, Any],
    prefix: str,
    fields: Sequence[str],
    *,
    preset: Iterable[str] = (),
) -> list[Row]:
    """Return the rows that say something, each field as stripped text.

    ``preset`` names fields the page fills in beforehand (tooth, method …): a row
    in which only those hold something counts as blank.
    """
    rows = []
    for number in row_numbers(data, prefix):
        values = {
            name: str(data.get(f"{prefix}-{number}-{name}") or "").strip()
            for name in fields
        }
        row = Row(number, values)
        if row.filled(without=preset):
            rows.append(row)
    return rows


def field_name(pointer: str, places: Mapping[str, Sequence[int]]) -> str:
    """Return the page's field for a pointer of a service.

    ``places`` maps a prefix to the numbers of its rows in the order sent:
    ``{"units": [0, 2], "units-2-readings": [5]}`` turns
    ``/units/1/readings/0/held_mm`` into ``units-2-readings-5-held_mm``.
    """
    name = ""
    for part in pointer.strip("/").split("/"):
        numbers = places.get(name)
        if numbers is not None and part.isdecimal() and int(part) < len(numbers):
            part = str(numbers[int(part)])
        name = f"{name}-{part}" if name else part
    return name


def placed_faults(
    error: Invalid, places: Mapping[str, Sequence[int]]
) -> list[tuple[str, str]]:
    """Return (field of the page, translated message) of every fault, in order."""
    return [(field_name(f.pointer, places), fault_text(f)) for f in error.fields]

"""Tables of the audit as CSV: RFC 4180, UTF-8, safe to open in a spreadsheet.

RFC 4180 knows no comments, so what a table speaks of (moment of the data, period,
filter) stands in its first columns, in every row: a row copied elsewhere keeps its
meaning, and every program reads the file as one rectangle. A table without rows says
it in its file name. What is hidden is the word ``hidden``; an empty cell says that
there is no such figure (no limit, no open end, nothing to divide by).
"""

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import Enum
from typing import Final, TextIO
from urllib.parse import urlencode

__all__ = [
    "BOM",
    "HIDDEN",
    "MEDIA_TYPE",
    "Cell",
    "Table",
    "about",
    "file_name",
    "text_cell",
    "written",
    "write_rows",
]

BOM: Final = b"\xef\xbb\xbf"
MEDIA_TYPE: Final = "text/csv; charset=utf-8; header=present"


class _Word(Enum):
    HIDDEN = "hidden"


HIDDEN: Final = _Word.HIDDEN

Cell = str | int | float | date | datetime | bool | _Word | None

# A spreadsheet takes a text that begins so for a formula, or strips what hides one:
# OWASP ASVS 5.0.0, 1.2.10 (= + - @ tab NUL); carriage return and line feed from
# OWASP's page on CSV injection, the full-width signs likewise (from memory).
_FORMULA: Final = tuple("=+-@\t\r\n\x00＝＋－＠")
# Where semicolons part cells, a spreadsheet goes by them and not by our quotes: what
# follows one begins a cell of its own (OWASP's page on CSV injection).
_PARTED: Final = re.compile(r"([;\t\r\n][\s\"]*)(?=[=+\-@＝＋－＠])")
_ABOUT: Final = ("data_as_of", "period_from", "period_to", "filter")
# Shares leave with six decimals, as probabilities do (design section 11).
_DECIMALS: Final = 6


@dataclass(frozen=True, slots=True)
class Table:
    """One rectangle. ``columns`` are fixed names, the same in every language."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def text_cell(text: str) -> str:
    """Return a text no spreadsheet computes: a quote before what begins a formula."""
    safe = _PARTED.sub(r"\1'", text)
    return f"'{safe}" if safe.startswith(_FORMULA) else safe


def _shown(cell: Cell) -> str | int | float:
    """Return a cell as the writer takes it; numbers stay numbers."""
    if cell is None:
        return ""
    if isinstance(cell, _Word):
        return str(cell.value)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        # Adding nothing turns the -0.0 of a rounded trifle into 0.0.
        return round(cell, _DECIMALS) + 0.0 if math.isfinite(cell) else ""
    if isinstance(cell, int):
        return cell
    if isinstance(cell, datetime):
        return cell.astimezone(UTC).isoformat(timespec="seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    return text_cell(cell)


def about(
    *, as_of: datetime, first: date, last: date, filters: Mapping[str, str]
) -> tuple[Cell, ...]:
    """Return the first cells of every row.

    ``first`` and ``last`` are the first days of the first and the last month.
    """
    said = urlencode({k: v for k, v in filters.items() if k not in {"from", "to"}})
    return (as_of, f"{first:%Y-%m}", f"{last:%Y-%m}", said or "none")


def write_rows(
    out: TextIO,
    columns: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    *,
    before: Sequence[Cell],
) -> int:
    """Write header and rows; return how many rows there were.

    ``before`` is what ``about`` said. The stream must not translate line ends.
    """
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
    writer.writerow([*_ABOUT, *columns])
    stated = [_shown(cell) for cell in before]
    count = 0
    for row in rows:
        writer.writerow([*stated, *(_shown(cell) for cell in row)])
        count += 1
    return count


def written(table: Table, *, before: Sequence[Cell]) -> bytes:
    """Return a table as the bytes of its file."""
    out = io.StringIO(newline="")
    write_rows(out, table.columns, table.rows, before=before)
    return out.getvalue().encode()


def file_name(
    table: str, *, as_of: datetime, first: date, last: date, ending: str = "csv"
) -> str:
    """Return a name that says table, period and moment, and nobody's name."""
    stamp = as_of.astimezone(UTC)
    return f"audit-{table}_{first:%Y-%m}_{last:%Y-%m}_{stamp:%Y%m%dT%H%MZ}.{ending}"

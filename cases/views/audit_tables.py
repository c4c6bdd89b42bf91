"""Rows of a report as tables for a page: words, links, and why a number is missing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from cases.audit.report_types import RateRow, Setup

__all__ = [
    "Cell",
    "Grid",
    "Head",
    "Line",
    "Link",
    "count_cell",
    "grid",
    "interval_words",
    "number_words",
    "p_words",
    "percent",
    "rate_cells",
    "rate_heads",
    "whole_cell",
]

# Filters on top of the page's own -> where the cases behind a number are listed.
Link = Callable[[Mapping[str, str]], str]


@dataclass(frozen=True, slots=True)
class Head:
    """The head of a column; ``num`` sets it flush right."""

    text: str
    num: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell; ``href`` leads to the cases, ``hidden`` says why there is no number."""

    text: str
    href: str = ""
    num: bool = False
    note: str = ""
    hidden: str = ""

    @property
    def missing(self) -> bool:
        """Whether a number stands here that is not shown."""
        return bool(self.hidden)


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its head (with ``href``: to another page), its cells."""

    head: Cell
    cells: tuple[Cell, ...]
    total: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table. ``hint`` explains what is missing from it; empty when nothing is."""

    caption: str
    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    hint: str = ""

    @property
    def rows(self) -> list[tuple[Line, list[tuple[str, Cell]]]]:
        """Each line with its cells beside their columns' heads, for phones."""
        heads = [head.text for head in self.heads[1:]]
        return [
            (line, list(zip(heads, line.cells, strict=True))) for line in self.lines
        ]


def number_words(value: float, places: int = 0) -> str:
    """Return a number in the reader's notation."""
    # Rounded first: what formats a number for a language only cuts it off.
    return str(number_format(f"{value:.{places}f}", places, force_grouping=True))


def percent(share: float) -> str:
    """Return a fraction of 1 as a percentage with one place."""
    return f"{number_words(share * 100, 1)}\N{NO-BREAK SPACE}%"


def p_words(p: float | None) -> str:
    """Return the p of a test, never more exactly than it is known."""
    if p is None:
        return "–"
    return "p < 0.001" if p < 0.001 else f"p = {number_words(p, 3)}"


def interval_words(low: float | None, high: float | None) -> str:
    """Return an interval of fractions as percentages; empty without one."""
    if low is None or high is None:
        return ""
    return (
        f"{number_words(low * 100, 1)}–{number_words(high * 100, 1)}\N{NO-BREAK SPACE}%"
    )


def grid(
    caption: str, heads: Sequence[Head], lines: Sequence[Line], setup: Setup
) -> Grid:
    """Return a table that explains what is missing from it."""
    cells = [cell for line in lines for cell in line.cells if cell.missing]
    said = []
    if any(cell.hidden in ("small", "secondary") for cell in cells):
        said.append(
            _(
                "Counts from 1 to {most} are not shown, nor what they could be worked "
                "out from."
            ).format(most=setup.small_number - 1)
        )
    if any(cell.hidden == "few" for cell in cells):
        said.append(
            _("No rate is shown of fewer than {least}.").format(least=setup.least_cases)
        )
    return Grid(caption, tuple(heads), tuple(lines), " ".join(said))


def _missing(hidden: str, setup: Setup) -> str:
    if hidden == "few":
        return _("too few")
    if hidden == "small":
        return f"<\N{NO-BREAK SPACE}{setup.small_number}"
    return _("not shown")


def whole_cell(row: RateRow, link: Link, whole: str = "") -> Cell:
    """Return of how many; it leads to all of them where the count may be seen.

    ``whole``: the outcome they all have, such as "reported"; "" for all dispatched.
    """
    href = ""
    if row.cases:
        href = link({**row.cases, "outcome": whole})
    return Cell(number_words(row.n), href if row.n else "", num=True)


def count_cell(
    count: int | None, hidden: str, cases: Mapping[str, str], setup: Setup, link: Link
) -> Cell:
    """Return a count, leading to its cases, or why it is not shown."""
    if count is None:
        return Cell(_missing(hidden, setup), num=True, hidden=hidden or "small")
    return Cell(number_words(count), link(cases) if count and cases else "", num=True)


def rate_heads(dimension: str, whole: str, counted: str) -> tuple[Head, ...]:
    """Return the heads of a table of rates."""
    return (
        Head(dimension),
        Head(whole, num=True),
        Head(counted, num=True),
        Head(_("Rate"), num=True),
        Head(_("95 % interval"), num=True),
    )


def rate_cells(
    row: RateRow, setup: Setup, link: Link, whole: str = ""
) -> tuple[Cell, ...]:
    """Return a rate's cells: of how many, how many, rate, interval."""
    count = count_cell(row.count, row.hidden, row.cases, setup, link)
    if row.rate is None:
        # Where the count is missing it has said why already.
        why = _missing("few", setup) if row.hidden == "few" else "–"
        shares: Sequence[Cell] = (
            Cell(why, num=True, hidden="few" if row.hidden == "few" else ""),
            Cell("–", num=True),
        )
    else:
        shares = (
            Cell(percent(row.rate), num=True),
            Cell(interval_words(row.low, row.high) or "–", num=True),
        )
    return (whole_cell(row, link, whole), count, *shares)

"""How the audit's report on paper writes figures, and says what is hidden."""

from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from cases.audit.report_types import Setup

__all__ = [
    "NONE",
    "Grid",
    "Line",
    "count_said",
    "decimals",
    "hours_said",
    "interval_said",
    "p_said",
    "percent",
    "said",
]

NONE = "–"


@dataclass(frozen=True, slots=True)
class Line:
    """One row: what it is about, then its cells; ``total`` stands apart."""

    head: str
    cells: tuple[str, ...]
    total: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: caption, heads (the first over the row heads), lines.

    ``words``: the columns after the first that hold words instead of figures: none,
    the "last", or the two in the "middle".
    """

    caption: str
    heads: tuple[str, ...]
    lines: tuple[Line, ...]
    words: str = ""


def decimals(value: float, places: int) -> str:
    """Return a number with so many decimals; rounded first, the formatter cuts off."""
    return str(number_format(round(value, places), decimal_pos=places))


def percent(share: float | None, places: int = 1) -> str:
    """Return a share in per cent; a dash for none."""
    if share is None:
        return NONE
    return f"{decimals(100 * share, places)}\N{NO-BREAK SPACE}%"


def p_said(p: float | None) -> str:
    """Return a probability as papers state it."""
    if p is None:
        return NONE
    if p < 0.001:
        return "p < 0.001"
    return f"p = {decimals(p, 3)}"


def interval_said(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return NONE
    return _("{low} to {high}").format(low=percent(low), high=percent(high))


def count_said(count: int | None, hidden: str, setup: Setup) -> str:
    """Return a count, or how it is hidden; "< 5" where it is one of the small."""
    if count is not None:
        return str(count)
    return f"< {setup.small_number}" if hidden == "small" else _("hidden")


def said(setup: Setup, words: str, key: str) -> str:
    """Return the word of a key of a list; without a word the key."""
    return setup.labels.get(words, {}).get(key, key)


def hours_said(hours: float | None) -> str:
    """Return a time in the unit one would say it in."""
    if hours is None:
        return NONE
    if hours < 48:
        return _("{n} h").format(n=decimals(hours, 1))
    return _("{n} days").format(n=decimals(hours / 24, 1))

"""The fixed words of the pictures, already translated, and how numbers are written."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from cases.audit.report_types import Labels

__all__ = ["Words", "count_text", "number_text", "percent_text", "share_text"]


@dataclass(frozen=True, slots=True)
class Words:
    """Captions; those with braces are format strings. ``point`` is the decimal sign.

    ``labels`` are the report's own (``Setup.labels``): words for verdicts, options,
    outcomes, shortage classes and sides. A key without words stands as it is.
    """

    point: str = "."
    percent: str = "{value}\N{NO-BREAK SPACE}%"
    fewer: str = "< {number}"
    hidden: str = "not shown"
    of_n: str = "n {n}"
    labels: Labels = field(default_factory=dict)

    pareto_title: str = "Causes of remakes"
    cause: str = "Cause"
    remakes: str = "Remakes"
    cumulative: str = "Cumulative"
    before_dispatch: str = "made again before dispatch"
    after_dispatch: str = "remade after dispatch"
    cumulative_line: str = "cumulative share of remakes (upper scale)"
    hidden_cause: str = "too few to show"
    pareto_row: str = "{cause}: {count}, cumulative {cumulative}"
    pareto_row_hidden: str = "{cause}: {count}"


def number_text(value: float, words: Words, *, decimals: int = 1) -> str:
    """Return a number with the decimal sign of the language."""
    shown = f"{value:.{decimals}f}"
    return shown.replace("-", "\N{MINUS SIGN}").replace(".", words.point)


def percent_text(fraction: float, words: Words, *, decimals: int = 1) -> str:
    """Return a fraction of 1 in per cent."""
    return words.percent.format(
        value=number_text(fraction * 100, words, decimals=decimals)
    )


def share_text(fraction: float | None, words: Words) -> str:
    """Return a fraction in per cent, or that it is not shown."""
    return words.hidden if fraction is None else percent_text(fraction, words)


def count_text(count: int | None, hidden: str, small_number: int, words: Words) -> str:
    """Return a count, or why there is none: "< 5" or "not shown"."""
    if count is not None:
        return str(count)
    return (
        words.fewer.format(number=small_number) if hidden == "small" else words.hidden
    )


def label_of(words: Words, kind: str, key: str) -> str:
    """Return the word for a key of a list, or the key."""
    found: Mapping[str, str] = words.labels.get(kind, {})
    return found.get(key, key)

"""Rows of a table: a count of how many, its rate and interval, or why it is hidden."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from cases.audit.intervals import wilson
from cases.audit.protection import Cell, protect, threshold_of
from cases.audit.report_types import RateRow, Setup

__all__ = ["OTHERS", "Part", "gathered", "label_of", "rate_row", "rate_rows"]

# Key of the row that holds everything too few were of.
OTHERS: Final = "others"


@dataclass(frozen=True, slots=True)
class Part:
    """``count`` of ``n`` restorations; ``most``: what the count can be at most."""

    key: str
    label: str
    n: int
    count: int
    most: int
    cases: Mapping[str, str] = field(default_factory=dict)


def label_of(setup: Setup, of: str, key: str) -> str:
    """Return the words of a key of a dimension or list; without words the key."""
    return setup.labels.get(of, {}).get(key, key)


def gathered(counts: Mapping[str, int], threshold: int) -> tuple[dict[str, int], int]:
    """Return the counts that may be shown, and what the others come to together.

    Should the others be too few even together, the smallest of those shown joins them:
    hidden one by one they would take a large one along, and which there are be told.
    """
    listed = {key: count for key, count in counts.items() if count >= threshold}
    rest = sum(counts.values()) - sum(listed.values())
    while 0 < rest < threshold and listed:
        rest += listed.pop(min(listed, key=lambda key: (listed[key], key)))
    return listed, rest


def rate_row(setup: Setup, part: Part, state: str) -> RateRow:
    """Return the row of a part whose count is hidden as ``state`` says, "" not at all.

    With fewer than ``least_cases`` restorations the count stands without a rate.
    """
    few = part.n < max(1, setup.least_cases)
    if state:
        return RateRow(
            part.key, part.label, part.n, None, None, None, None, hidden=state
        )
    if few:
        return RateRow(
            part.key,
            part.label,
            part.n,
            part.count,
            None,
            None,
            None,
            hidden="few",
            cases=part.cases,
        )
    low, high = wilson(part.count, part.n)
    return RateRow(
        key=part.key,
        label=part.label,
        n=part.n,
        count=part.count,
        rate=part.count / part.n,
        low=low,
        high=high,
        cases=part.cases,
    )


def rate_rows(
    setup: Setup,
    parts: Sequence[Part],
    *,
    total: str = "",
) -> tuple[RateRow, ...]:
    """Return the rows of a table in the order of its parts, what must be hidden hidden.

    ``total``: how the total is hidden, "" when it is shown.
    """
    states = protect(
        [Cell(part.count, part.most) for part in parts],
        threshold=threshold_of(setup.small_number),
        total=total,
    )
    return tuple(
        rate_row(setup, part, state) for part, state in zip(parts, states, strict=True)
    )

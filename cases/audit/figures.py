"""The figures of one month, as the database counts them, and their sum.

Counting is done once per month and filter in SQL and kept; what a page shows is made of
these few numbers, however many cases stand behind them. Keys of clinics, clinicians and
technicians are their row numbers as text; words are added by whoever shows them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from typing import Any, Final, Self

__all__ = [
    "CLASSES",
    "DIMENSIONS",
    "MEASURES",
    "OUTCOMES",
    "RUNS",
    "CauseTally",
    "DoseCell",
    "Figures",
    "MonthFigures",
    "OpposingCell",
    "Queries",
    "Tally",
]

# By what a rate is broken down; each is also a filter.
DIMENSIONS: Final = (
    "clinic",
    "clinician",
    "technician",
    "material",
    "kind",
    "tooth_class",
    "method",
)
# Worst required site at a check, in order of what was missing: need less the middle of
# what was measured, in mm. "unmeasured" and "" (no verdict) stand outside the order.
CLASSES: Final = ("sufficient", "undecided", "up_to_025", "up_to_050", "over_050")
# Neighbouring classes taken together, for tables in which one alone is too small: key ->
# classes. A filter knows them as well, so that their cases can be listed.
RUNS: Final = {
    ".".join(CLASSES[first:last]): CLASSES[first:last]
    for first in range(len(CLASSES))
    for last in range(first + 2, len(CLASSES) + 1)
}
# What became of a restoration; the first that holds, in this order.
OUTCOMES: Final = (
    "remade",
    "not_fitted",
    "opposing_adjusted",
    "restoration_adjusted",
    "as_delivered",
    "not_reported",
)
# What a rate may count, and of what: see ``Tally.of``.
MEASURES: Final = ("remade", "opposing_adjusted", "restoration_adjusted", "internal")


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts of restorations. ``internal``: made again before dispatch at least once."""

    dispatched: int = 0
    reported: int = 0
    fitted: int = 0
    as_delivered: int = 0
    restoration_adjusted: int = 0
    opposing_adjusted: int = 0
    remade: int = 0
    internal: int = 0
    flagged: int = 0
    accepted: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        """Return the counts of both."""
        return Tally(
            *(
                getattr(self, one.name) + getattr(other, one.name)
                for one in fields(Tally)
            )
        )

    def of(self, measure: str) -> tuple[int, int]:
        """Return (count, of how many) of one of ``MEASURES``.

        Remakes are counted of what was dispatched, what was done at seating of what has
        a fit report.
        """
        whole = self.dispatched if measure in {"remade", "internal"} else self.reported
        return getattr(self, measure), whole


@dataclass(frozen=True, slots=True)
class CauseTally:
    """Remakes of one cause: after dispatch and before, by attribution and detection."""

    remade: int = 0
    internal: int = 0
    attribution: Mapping[str, int] = field(default_factory=dict)
    detected: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DoseCell:
    """One clinician's restorations of one class of shortage; all have a known outcome.

    ``reported``: fit report or remake. ``adverse``: remade, not fitted, or the opposing
    tooth adjusted at seating.
    """

    clinician: str
    shortage: str
    reported: int
    remade: int
    opposing_adjusted: int
    adverse: int


@dataclass(frozen=True, slots=True)
class OpposingCell:
    """One clinician's reported restorations with or without a query before dispatch."""

    clinician: str
    flagged: bool
    reported: int
    adjusted: int


@dataclass(frozen=True, slots=True)
class Queries:
    """Queries about clearance raised in the month.

    ``asked`` and ``answered``: minutes (rounded up to quarters of an hour) -> how many;
    ``open``: when those that wait for the clinic were raised.
    """

    raised: int = 0
    closed: Mapping[str, int] = field(default_factory=dict)
    options: Mapping[str, int] = field(default_factory=dict)
    asked: Mapping[int, int] = field(default_factory=dict)
    answered: Mapping[int, int] = field(default_factory=dict)
    open: tuple[datetime, ...] = ()


@dataclass(frozen=True, slots=True)
class MonthFigures:
    """Everything counted of the restorations dispatched in one month.

    ``runs``: by clinic, how many restorations in order of dispatch, and which of them
    (1, 2, …) were remade. ``remade_after``: days from dispatch to remake -> how many;
    ``unremade``: day of dispatch -> how many were not remade so far. ``flow``: how many
    by (verdict at submission, option of the answer, outcome).
    """

    month: date
    total: Tally = field(default_factory=Tally)
    by: Mapping[str, Mapping[str, Tally]] = field(default_factory=dict)
    causes: Mapping[str, CauseTally] = field(default_factory=dict)
    dose_first: tuple[DoseCell, ...] = ()
    dose_built: tuple[DoseCell, ...] = ()
    opposing: tuple[OpposingCell, ...] = ()
    flow: Mapping[tuple[str, str, str], int] = field(default_factory=dict)
    runs: Mapping[str, tuple[int, tuple[int, ...]]] = field(default_factory=dict)
    remade_after: Mapping[int, int] = field(default_factory=dict)
    unremade: Mapping[date, int] = field(default_factory=dict)
    queries: Queries = field(default_factory=Queries)

    @classmethod
    def read(cls, month: date, kept: Mapping[str, Any]) -> Self:
        """Return the figures from their JSON form (the memo's ``figures``).

        Raises:
            KeyError, TypeError, ValueError: the memo is of another shape.
        """
        asked = kept["queries"]
        return cls(
            month=month,
            total=Tally(*kept["total"]),
            by={
                dimension: {key: Tally(*counts) for key, counts in found.items()}
                for dimension, found in kept["by"].items()
            },
            causes={
                cause: CauseTally(
                    one["remade"], one["internal"], one["attribution"], one["detected"]
                )
                for cause, one in kept["causes"].items()
            },
            dose_first=tuple(DoseCell(*cell) for cell in kept["dose_first"]),
            dose_built=tuple(DoseCell(*cell) for cell in kept["dose_built"]),
            opposing=tuple(OpposingCell(*cell) for cell in kept["opposing"]),
            flow={(a, b, c): count for a, b, c, count in kept["flow"]},
            runs={
                clinic: (count, tuple(places))
                for clinic, (count, places) in kept["runs"].items()
            },
            remade_after={int(d): n for d, n in kept["remade_after"].items()},
            unremade={date.fromisoformat(d): n for d, n in kept["unremade"].items()},
            queries=Queries(
                raised=asked["raised"],
                closed=asked["closed"],
                options=asked["options"],
                asked={int(m): n for m, n in asked["asked"].items()},
                answered={int(m): n for m, n in asked["answered"].items()},
                open=tuple(datetime.fromisoformat(one) for one in asked["open"]),
            ),
        )


@dataclass(frozen=True, slots=True)
class Figures:
    """Months in order, without gaps, and the moment they were true at."""

    months: tuple[MonthFigures, ...]
    as_of: datetime

    @property
    def total(self) -> Tally:
        """The counts of all months."""
        return sum((month.total for month in self.months), Tally())

    def by(self, dimension: str) -> dict[str, Tally]:
        """Return the counts of all months by one of ``DIMENSIONS``."""
        found: dict[str, Tally] = {}
        for month in self.months:
            for key, tally in month.by.get(dimension, {}).items():
                found[key] = found.get(key, Tally()) + tally
        return found

    def flow(self) -> dict[tuple[str, str, str], int]:
        """Return the flow of all months."""
        return _added(month.flow for month in self.months)

    def remade_after(self) -> dict[int, int]:
        """Return days from dispatch to remake -> how many, of all months."""
        return _added(month.remade_after for month in self.months)

    def unremade(self) -> dict[date, int]:
        """Return day of dispatch -> how many were not remade, of all months."""
        return _added(month.unremade for month in self.months)


def _added(parts: Iterable[Mapping[Any, int]]) -> dict[Any, int]:
    found: dict[Any, int] = {}
    for part in parts:
        for key, count in part.items():
            found[key] = found.get(key, 0) + count
    return found

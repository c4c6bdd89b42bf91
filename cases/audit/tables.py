"""Headline and tables of rates, as the viewer may see them.

Every table divides the same restorations, so all rest on one decision: when a total is
hidden, every count under it is.
"""

from collections.abc import Mapping
from typing import Final

from cases.audit.figures import Figures, Tally
from cases.audit.protection import Cell, state_of, threshold_of
from cases.audit.report_types import RateRow, RateTable, Setup
from cases.audit.rows import Part, label_of, rate_row, rate_rows

__all__ = [
    "dimensions_of",
    "headline_rows",
    "measures_of",
    "rate_table",
    "rate_tables",
    "seating_told",
    "total_state",
]

_COMMON: Final = ("material", "kind", "tooth_class", "method")
_SEATING: Final = ("opposing_adjusted", "restoration_adjusted")
# Filters take an organisation's code where figures have its row's number.
_CODES: Final = {"clinic": "clinic_code"}


def dimensions_of(setup: Setup) -> tuple[str, ...]:
    """Return by what this viewer may see rates.

    People only where the laboratory or clinic compares them; technicians and clinics
    never outside the laboratory.
    """
    people = setup.compare_people
    if setup.viewer == "laboratory":
        named = ("clinician", "technician") if people else ()
        return ("clinic", *named, *_COMMON)
    if setup.viewer == "clinic" and people:
        return ("clinician", *_COMMON)
    return _COMMON


def measures_of(setup: Setup, total: Tally) -> tuple[str, ...]:
    """Return what rates count: work made again before dispatch is the laboratory's."""
    seating = _SEATING if seating_told(total) else ()
    internal = ("internal",) if setup.viewer == "laboratory" else ()
    return ("remade", *seating, *internal)


def seating_told(total: Tally) -> bool:
    """Say whether anything but remakes was reported.

    If not, "reported" is the number of remakes: shown per row it would tell them.
    """
    return total.reported > total.remade


def total_state(setup: Setup, total: Tally, measure: str) -> str:
    """Return how the total of a measure is hidden, "" when it is shown."""
    cell = Cell(getattr(total, measure), _most(total, measure))
    return state_of(cell, threshold_of(setup.small_number))


def rate_tables(figures: Figures, setup: Setup) -> dict[str, RateTable]:
    """Return the tables by key: the dimension for remakes, else "dimension:measure"."""
    total = figures.total
    by = {dimension: figures.by(dimension) for dimension in dimensions_of(setup)}
    return {
        dimension if measure == "remade" else f"{dimension}:{measure}": rate_table(
            total, tallies, setup, dimension, measure
        )
        for measure in measures_of(setup, total)
        for dimension, tallies in by.items()
    }


def rate_table(
    total: Tally,
    tallies: Mapping[str, Tally],
    setup: Setup,
    dimension: str,
    measure: str,
) -> RateTable:
    """Return one measure by one dimension: most restorations first, then by label.

    ``tallies``: the counts of ``total`` by the keys of the dimension.
    """
    told = seating_told(total)
    parts = [
        _part(setup, dimension, key, tally, measure, told=told)
        for key, tally in tallies.items()
    ]
    parts = [part for part in parts if part.n]
    parts.sort(key=lambda part: (-part.n, part.label, part.key))
    state = total_state(setup, total, measure)
    count, n = total.of(measure)
    whole = Part("all", "all", n, count, _most(total, measure), {"outcome": measure})
    return RateTable(
        dimension=dimension,
        measure=measure,
        rows=rate_rows(setup, parts, total=state),
        total=rate_row(setup, whole, state),
    )


def headline_rows(figures: Figures, setup: Setup) -> tuple[RateRow, ...]:
    """Return what was reported, what was queried, and how often each thing happened.

    How many were reported or queried is a number of restorations, which is always
    shown; the rest is hidden when small.
    """
    total = figures.total
    measures = ["remade"]
    if seating_told(total):
        measures += ["opposing_adjusted", "restoration_adjusted", "as_delivered"]
    measures.append("accepted")
    if setup.viewer == "laboratory":
        measures.append("internal")
    rows = [
        rate_row(setup, _whole(setup, total, measure), "")
        for measure in ("reported", "flagged")
    ]
    rows += [
        rate_row(
            setup, _whole(setup, total, measure), total_state(setup, total, measure)
        )
        for measure in measures
    ]
    return tuple(rows)


def _part(
    setup: Setup, dimension: str, key: str, tally: Tally, measure: str, *, told: bool
) -> Part:
    count, n = tally.of(measure)
    code = label_of(setup, _CODES.get(dimension, ""), key)
    return Part(
        key=key,
        label=label_of(setup, dimension, key),
        n=n,
        count=count,
        most=_most(tally, measure) if told else n,
        # Nothing asks for "not stated": an empty filter is all.
        cases={dimension: code, "outcome": measure} if key else {},
    )


def _whole(setup: Setup, total: Tally, measure: str) -> Part:
    seating = measure in {*_SEATING, "as_delivered"}
    n = total.reported if seating else total.dispatched
    count = getattr(total, measure)
    label = label_of(setup, "measure", measure)
    # A list of cases shorter than may be shown is refused: no link to one.
    small = 0 < count < threshold_of(setup.small_number)
    cases = {} if small else {"outcome": measure}
    return Part(measure, label, n, count, _most(total, measure), cases)


def _most(tally: Tally, measure: str) -> int:
    # What was remade counts as reported, and how many were reported is shown.
    whole = measure in {"internal", "accepted", "flagged", "reported"}
    return tally.dispatched if whole else tally.reported

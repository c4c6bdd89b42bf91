"""What was missing at the check against what became of it: the dose-response."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from cases.audit.association import clustered_trend, trend
from cases.audit.figures import CLASSES, DoseCell, Figures
from cases.audit.protection import Cell, state_of, threshold_of
from cases.audit.report_types import DoseResponse, RateRow, Setup, Trend
from cases.audit.rows import Part, label_of, rate_rows
from cases.audit.tables import seating_told, total_state

__all__ = ["dose_responses", "rounded"]

# The opposing tooth has its own comparison; a third measure here, of which the first
# two are parts, would let hidden counts be worked out.
_MEASURES: Final = ("adverse", "remade")
# A restoration without readings, or without a verdict, stands outside the order.
_OUTSIDE: Final = ("unmeasured", "")


@dataclass(slots=True)
class _Sum:
    reported: int = 0
    count: int = 0


def dose_responses(figures: Figures, setup: Setup) -> tuple[DoseResponse, ...]:
    """Return both checks, and for each what was adverse and what was remade.

    Where nothing but remakes was reported there is nothing to compare: no rows.
    """
    return tuple(
        _dose(_cells(figures, basis), setup, basis, measure, figures)
        for basis in ("first", "built")
        for measure in _MEASURES
    )


def _cells(figures: Figures, basis: str) -> list[DoseCell]:
    return [
        cell
        for month in figures.months
        for cell in (month.dose_first if basis == "first" else month.dose_built)
    ]


def _dose(
    cells: Sequence[DoseCell],
    setup: Setup,
    basis: str,
    measure: str,
    figures: Figures,
) -> DoseResponse:
    if not seating_told(figures.total):
        return DoseResponse(basis, measure, (), None)
    sums = _sums(cells, measure)
    order = [*CLASSES, *(key for key in _OUTSIDE if key in sums)]
    parts = [
        Part(
            key=key,
            label=label_of(setup, "shortage", key),
            n=sums.get(key, _Sum()).reported,
            count=sums.get(key, _Sum()).count,
            most=sums.get(key, _Sum()).reported,
            cases={f"{basis}_class": key, "outcome": measure} if key else {},
        )
        for key in order
    ]
    whole = sum(one.count for one in sums.values())
    state = (
        total_state(setup, figures.total, "remade")
        if measure == "remade"
        else _state(setup, whole, sum(one.reported for one in sums.values()))
    )
    rows = rate_rows(setup, parts, total=state)
    return DoseResponse(
        basis, measure, rows, None if state else _trend(cells, rows, setup, measure)
    )


def _state(setup: Setup, count: int, n: int) -> str:
    return state_of(Cell(count, n), threshold_of(setup.small_number))


def _sums(cells: Iterable[DoseCell], measure: str) -> Mapping[str, _Sum]:
    found: dict[str, _Sum] = {}
    for cell in cells:
        one = found.setdefault(cell.shortage, _Sum())
        one.reported += cell.reported
        one.count += getattr(cell, measure)
    return found


def _trend(
    cells: Sequence[DoseCell],
    rows: Sequence[RateRow],
    setup: Setup,
    measure: str,
) -> Trend | None:
    """Return the trend over the classes in order, "sufficient" first.

    Hidden classes count as one, at their mean place: their sum is what the shown ones
    leave, so the trend tells no more. Where a row outside the order is hidden as well
    even that would tell something, and there is none.
    """
    places = _places(rows)
    if places is None:
        return None
    by_clinician: dict[tuple[str, float], list[int]] = {}
    for cell in cells:
        if cell.shortage in places:
            key = (cell.clinician, places[cell.shortage])
            one = by_clinician.setdefault(key, [0, 0])
            one[0] += getattr(cell, measure)
            one[1] += cell.reported
    sums: dict[float, list[int]] = {}
    for (_, score), (count, n) in by_clinician.items():
        one = sums.setdefault(score, [0, 0])
        one[0] += count
        one[1] += n
    naive = trend([(score, count, n) for score, (count, n) in sorted(sums.items())])
    if naive is None:
        return None
    clustered = clustered_trend(
        [(who, score, count, n) for (who, score), (count, n) in by_clinician.items()]
    )
    return Trend(
        z=naive.z,
        p=naive.p,
        clusters=len({who for who, _ in by_clinician}),
        clustered_z=round(clustered.z, 2) if clustered else None,
        clustered_p=rounded(clustered.p) if clustered else None,
        odds_ratio_per_step=rounded(clustered.odds_ratio, 3) if clustered else None,
    )


def _places(rows: Sequence[RateRow]) -> dict[str, float] | None:
    found = {key: float(place) for place, key in enumerate(CLASSES)}
    hidden = [row for row in rows if row.count is None]
    ordered = [row for row in hidden if row.key in found]
    if not ordered:
        return found
    if len(ordered) < len(hidden):
        return None
    n = sum(row.n for row in ordered)
    mean = sum(found[row.key] * row.n for row in ordered) / n
    return found | {row.key: mean for row in ordered}


def rounded(number: float, digits: int = 2) -> float:
    """Return a number to so many significant digits.

    What is computed from single clinicians' counts is not given more exactly, so that
    it cannot be turned back into them.
    """
    return float(f"{number:.{digits}g}")

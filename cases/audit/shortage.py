"""What was missing at the check against what became of it: the dose-response."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from cases.audit.association import clustered_trend, trend, within_clusters
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

Run = tuple[str, ...]


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
    whole = sum(one.count for one in sums.values())
    state = (
        total_state(setup, figures.total, "remade")
        if measure == "remade"
        else _state(setup, whole, sum(one.reported for one in sums.values()))
    )
    runs = [(key,) for key in CLASSES] if state else _runs(sums, setup)
    runs += [(key,) for key in _OUTSIDE if key in sums]
    parts = [_part(sums, run, setup, basis, measure) for run in runs]
    rows = rate_rows(setup, parts, total=state)
    return DoseResponse(
        basis, measure, rows, None if state else _trend(cells, rows, measure)
    )


def _part(
    sums: Mapping[str, "_Sum"], run: Run, setup: Setup, basis: str, measure: str
) -> Part:
    key = ".".join(run)
    found = [sums.get(one, _Sum()) for one in run]
    reported = sum(one.reported for one in found)
    return Part(
        key=key,
        label=label_of(setup, "shortage", key),
        n=reported,
        count=sum(one.count for one in found),
        most=reported,
        cases={f"{basis}_class": key, "outcome": measure} if key else {},
    )


def _runs(sums: Mapping[str, "_Sum"], setup: Setup) -> list[Run]:
    """Return the classes in order, those with too few taken together with a neighbour.

    Which one depends on their places alone (``_joined``). What has a place in
    an order is better told less finely than not at all; a trend over classes some of
    which are hidden would be another trend. What such a row holds leaves open how it is
    made up: the small part can be anything from one to the largest hidden number.
    """
    threshold = threshold_of(setup.small_number)
    runs: list[Run] = [(key,) for key in CLASSES]

    def small(run: Run) -> bool:
        found = [sums.get(key, _Sum()) for key in run]
        cell = Cell(sum(x.count for x in found), sum(x.reported for x in found))
        return bool(state_of(cell, threshold))

    while len(runs) > 1:
        place = next((i for i, run in enumerate(runs) if small(run)), None)
        if place is None:
            break
        first = _joined(place, len(runs) - 1)
        runs[first : first + 2] = [runs[first] + runs[first + 1]]
    return runs


def _joined(place: int, last: int) -> int:
    """Return the first of the two runs to take together for the one at a place.

    With the one of more shortage, but not with the last while there is another: the
    classes at the ends, sufficient and shortest, are those compared.
    """
    if place == last or (place == last - 1 and place > 1):
        return place - 1
    return place


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
    cells: Sequence[DoseCell], rows: Sequence[RateRow], measure: str
) -> Trend | None:
    """Return the trend over the rows in order, "sufficient" first.

    Classes taken together stand at the middle of their places. Where a row in the order is hidden
    there is none: without it, it would be another trend, and with it, it would tell.
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
    split = [
        (who, score, count, n) for (who, score), (count, n) in by_clinician.items()
    ]
    clustered = clustered_trend(split)
    within = within_clusters(split)
    return Trend(
        z=naive.z,
        p=naive.p,
        clusters=len({who for who, _ in by_clinician}),
        clustered_z=round(clustered.z, 2) if clustered else None,
        clustered_p=rounded(clustered.p) if clustered else None,
        odds_ratio_per_step=rounded(clustered.odds_ratio, 3) if clustered else None,
        within_p=rounded(within.p) if within else None,
    )


def _places(rows: Sequence[RateRow]) -> dict[str, float] | None:
    found: dict[str, float] = {}
    for row in rows:
        if row.key in _OUTSIDE:
            continue
        if row.count is None:
            return None
        run = row.key.split(".")
        mean = sum(CLASSES.index(key) for key in run) / len(run)
        found |= dict.fromkeys(run, mean)
    return found


def rounded(number: float, digits: int = 2) -> float:
    """Return a number to so many significant digits.

    What is computed from single clinicians' counts is not given more exactly, so that
    it cannot be turned back into them.
    """
    return float(f"{number:.{digits}g}")

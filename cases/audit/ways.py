"""The ways restorations took: verdict at submission, option of the answer, outcome."""

from collections.abc import Sequence
from typing import Final

from cases.audit.figures import OUTCOMES, Figures
from cases.audit.protection import threshold_of
from cases.audit.report_types import DoseResponse, FlowRow, Opposing, RateRow, Setup

__all__ = ["OTHER", "flow_rows"]

# Verdict, option and outcome of the row that holds every way too few took.
OTHER: Final = "other"
_VERDICTS: Final = ("sufficient", "undecided", "insufficient")
_VERDICT_OF: Final = {
    "up_to_025": "insufficient",
    "up_to_050": "insufficient",
    "over_050": "insufficient",
    # Nothing measured leaves the verdict open.
    "unmeasured": "undecided",
}
_ADVERSE: Final = ("remade", "not_fitted", "opposing_adjusted")


def flow_rows(
    figures: Figures,
    setup: Setup,
    dose: Sequence[DoseResponse],
    opposing: Opposing,
) -> tuple[FlowRow, ...]:
    """Return the ways in order of verdict, option and outcome, the rest as one row.

    A way fewer took than may be shown is not listed, not even as hidden: that it
    exists would tell. The rest holds at least as many as may be shown, if need be with
    the least taken of the listed ways. Nor are ways listed that are parts of a count
    hidden beside them: of what was adverse at a verdict, and of opposing teeth adjusted.
    """
    threshold = threshold_of(setup.small_number)
    closed = _closed(dose, opposing)
    ways = {way: count for way, count in figures.flow().items() if count}
    listed = {
        way: count
        for way, count in ways.items()
        if count >= threshold and (way[0], way[2]) not in closed
    }
    rest = sum(ways.values()) - sum(listed.values())
    while 0 < rest < threshold and listed:
        least = min(listed, key=lambda way: (listed[way], way))
        rest += listed.pop(least)
    rows = [
        FlowRow(*way, count=listed[way], cases=_cases(way))
        for way in sorted(listed, key=_order)
    ]
    if rest:
        told = rest >= threshold
        rows.append(
            FlowRow(
                OTHER,
                OTHER,
                OTHER,
                count=rest if told else None,
                hidden="" if told else "small",
            )
        )
    return tuple(rows)


def _closed(dose: Sequence[DoseResponse], opposing: Opposing) -> set[tuple[str, str]]:
    """Return the verdicts and outcomes whose ways would tell a hidden count."""
    rows = [row for one in dose if one.basis == "first" for row in one.rows]
    found = {
        (verdict, outcome)
        for row in rows
        # Classes of two verdicts told together must not be told apart by their ways.
        if row.count is None or len(_verdicts(row)) > 1
        for verdict in _verdicts(row)
        for outcome in _ADVERSE
    }
    if opposing.without.count is None or opposing.with_query.count is None:
        verdicts = set().union(*(_verdicts(row) for row in rows))
        found |= {(verdict, "opposing_adjusted") for verdict in verdicts}
    return found


def _verdicts(row: RateRow) -> set[str]:
    """Return the verdicts of a class, or of several told together."""
    return {_VERDICT_OF.get(key, key) for key in row.key.split(".")}


def _cases(way: tuple[str, str, str]) -> dict[str, str]:
    verdict, option, outcome = way
    # An empty filter is all: without a verdict there is nothing to ask by.
    if not verdict:
        return {}
    answer = {"option": option} if option else {"flagged": "no"}
    return {"first_verdict": verdict, **answer, "outcome": outcome}


def _order(way: tuple[str, str, str]) -> tuple[int, str, str, int]:
    verdict, option, outcome = way
    known = _VERDICTS.index(verdict) if verdict in _VERDICTS else len(_VERDICTS)
    last = OUTCOMES.index(outcome) if outcome in OUTCOMES else len(OUTCOMES)
    return known, verdict, option, last

"""The ways restorations took: verdict at submission, option of the answer, outcome."""

from typing import Final

from cases.audit.figures import OUTCOMES, Figures
from cases.audit.protection import threshold_of
from cases.audit.report_types import FlowRow, Setup

__all__ = ["OTHER", "flow_rows"]

# Verdict, option and outcome of the row that holds every way too few took.
OTHER: Final = "other"
_VERDICTS: Final = ("sufficient", "undecided", "insufficient")


def flow_rows(figures: Figures, setup: Setup) -> tuple[FlowRow, ...]:
    """Return the ways in order of verdict, option and outcome, the rest as one row.

    A way fewer took than may be shown is not listed, not even as hidden: that it
    exists would tell. The rest holds at least as many as may be shown, if need be with
    the least taken of the listed ways.
    """
    threshold = threshold_of(setup.small_number)
    ways = {way: count for way, count in figures.flow().items() if count}
    listed = {way: count for way, count in ways.items() if count >= threshold}
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

"""Counts of the audit in plain Python, over facts as dicts: what the SQL must equal."""

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from cases.audit.figures import (
    CauseTally,
    DoseCell,
    MonthFigures,
    OpposingCell,
    Queries,
    Tally,
)

__all__ = ["counted"]

Fact = dict[str, Any]
KEYS = {
    "clinic": "clinic_id",
    "clinician": "prescriber_id",
    "technician": "technician_id",
}


def counted(
    month: date,
    facts: Sequence[Fact],
    queries: Sequence[Fact],
    *,
    laboratory: bool,
    cause: str = "",
) -> MonthFigures:
    """Return the figures of one month from its own facts and queries."""
    rows = [
        _as_counted(f, laboratory=laboratory, cause=cause)
        for f in facts
        if f["month"] == month
    ]
    dimensions = ["clinic", "clinician", "material", "kind", "tooth_class", "method"]
    if laboratory:
        dimensions.append("technician")
    reported = [f for f in rows if f["reported"]]
    remade = [f for f in rows if f["remade"]]
    return MonthFigures(
        month=month,
        total=_tally(rows),
        by={one: _by(rows, one) for one in dimensions} if rows else {},
        causes=_causes(rows),
        dose_first=_dose(reported, "first_class"),
        dose_built=_dose(reported, "built_class"),
        opposing=tuple(
            sorted(
                (
                    OpposingCell(
                        who,
                        asked,
                        len(some),
                        sum(f["opposing_adjusted"] for f in some),
                    )
                    for (who, asked), some in _groups(
                        reported, lambda f: (str(f["prescriber_id"]), f["flagged"])
                    ).items()
                ),
                key=str,
            )
        ),
        flow=Counter((f["first_verdict"], f["option"], f["outcome"]) for f in rows),
        runs=_runs(rows),
        remade_after=Counter(f["remake_days"] for f in remade),
        unremade=Counter(f["dispatched_on"] for f in rows if not f["remade"]),
        queries=_queries([q for q in queries if q["month"] == month]),
    )


def _as_counted(fact: Fact, *, laboratory: bool, cause: str) -> Fact:
    remade = fact["remade"] and cause in ("", fact["remake_cause"])
    internal = laboratory and fact["internal_remakes"] > 0
    internal = internal and cause in ("", fact["internal_cause"])
    if remade:
        outcome = "remade"
    elif not fact["reported"]:
        outcome = "not_reported"
    elif not fact["fitted"]:
        outcome = "not_fitted"
    elif fact["opposing_adjusted"]:
        outcome = "opposing_adjusted"
    elif fact["restoration_adjusted"]:
        outcome = "restoration_adjusted"
    else:
        outcome = "as_delivered"
    adverse = remade or fact["opposing_adjusted"]
    adverse = adverse or (fact["reported"] and not fact["fitted"])
    changed = {"remade": remade, "internal": internal, "outcome": outcome}
    return {**fact, **changed, "adverse": adverse}


def _groups(rows: Sequence[Fact], key: Callable[[Fact], Any]) -> dict[Any, list[Fact]]:
    found: dict[Any, list[Fact]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


def _tally(rows: Sequence[Fact]) -> Tally:
    names = (
        "reported",
        "fitted",
        "as_delivered",
        "restoration_adjusted",
        "opposing_adjusted",
        "remade",
        "internal",
        "flagged",
        "accepted",
    )
    return Tally(len(rows), *(sum(row[name] for row in rows) for name in names))


def _by(rows: Sequence[Fact], dimension: str) -> dict[str, Tally]:
    column = KEYS.get(dimension, dimension)
    groups = _groups(rows, lambda f: "" if f[column] is None else str(f[column]))
    return {key: _tally(some) for key, some in groups.items()}


def _causes(rows: Sequence[Fact]) -> dict[str, CauseTally]:
    remade = _groups([f for f in rows if f["remade"]], lambda f: f["remake_cause"])
    inside = _groups([f for f in rows if f["internal"]], lambda f: f["internal_cause"])
    return {
        cause: CauseTally(
            remade=len(remade.get(cause, ())),
            internal=len(inside.get(cause, ())),
            attribution=Counter(f["attribution"] for f in remade.get(cause, ())),
            detected=Counter(f["remake_detected"] for f in remade.get(cause, ())),
        )
        for cause in {*remade, *inside}
    }


def _dose(reported: Sequence[Fact], column: str) -> tuple[DoseCell, ...]:
    groups = _groups(
        [f for f in reported if f[column]],
        lambda f: (str(f["prescriber_id"]), f[column]),
    )
    return tuple(
        sorted(
            (
                DoseCell(
                    who,
                    name,
                    len(some),
                    sum(f["remade"] for f in some),
                    sum(f["opposing_adjusted"] for f in some),
                    sum(f["adverse"] for f in some),
                )
                for (who, name), some in groups.items()
            ),
            key=str,
        )
    )


def _runs(rows: Sequence[Fact]) -> dict[str, tuple[int, tuple[int, ...]]]:
    found = {}
    for clinic, some in _groups(rows, lambda f: str(f["clinic_id"])).items():
        ordered = sorted(some, key=lambda f: (f["dispatched_at"], f["id"]))
        places = [place for place, f in enumerate(ordered, 1) if f["remade"]]
        found[clinic] = (len(ordered), tuple(places))
    return found


def _quarters(minutes: int) -> int:
    return -(-minutes // 15) * 15


def _queries(rows: Sequence[Fact]) -> Queries:
    return Queries(
        raised=len(rows),
        closed=Counter(q["closed"] for q in rows if q["closed"]),
        options=Counter(q["option"] for q in rows if q["option"]),
        asked=Counter(_quarters(q["asked_minutes"]) for q in rows),
        answered=Counter(
            _quarters(q["answered_minutes"])
            for q in rows
            if q["answered_minutes"] is not None
        ),
        open=tuple(
            sorted(q["raised_at"] for q in rows if q["answered_minutes"] is None)
        ),
    )

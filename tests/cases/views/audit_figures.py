"""Invented figures of a laboratory's months, as the database would count them.

Deterministic: every clinic dispatches the same each month, and remakes fall where the
arguments put them.
"""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta

from cases.audit.figures import (
    CLASSES,
    CauseTally,
    DoseCell,
    Figures,
    MonthFigures,
    OpposingCell,
    Queries,
    Tally,
)
from cases.audit.filters import AuditFilters

__all__ = ["AT", "invented", "invented_month", "no_figures"]

AT = datetime(2026, 5, 20, 9, 30, tzinfo=UTC)


def _tally(n: int, remade: int, opposing: int) -> Tally:
    reported = n - n // 10
    return Tally(
        dispatched=n,
        reported=reported,
        fitted=reported - remade,
        as_delivered=max(0, reported - remade - 2 * opposing),
        restoration_adjusted=opposing,
        opposing_adjusted=opposing,
        remade=remade,
        internal=remade // 2,
        flagged=n // 5,
        accepted=n // 20,
    )


def invented_month(
    month: date,
    *,
    by: Mapping[str, Mapping[str, tuple[int, int, int]]],
    causes: Mapping[str, int] | None = None,
    harm: bool = True,
) -> MonthFigures:
    """Return a month: dimension -> key -> (dispatched, remade, opposing adjusted).

    Every dimension divides the same restorations; the first one says how many.
    ``harm``: what was short does worse, and queries spare the opposing tooth.
    """
    tallies = {
        dimension: {key: _tally(*counts) for key, counts in keys.items()}
        for dimension, keys in by.items()
    }
    total = sum(next(iter(tallies.values())).values(), Tally())
    people = [str(number) for number in range(1, 8)]
    known = causes if causes is not None else {"occlusion_thin": total.remade}
    each = max(1, total.reported // 14)
    return MonthFigures(
        month=month,
        total=total,
        by=tallies,
        causes={
            key: CauseTally(
                count, count // 2, {"clinic": count}, {"final_check": count}
            )
            for key, count in known.items()
            if count
        },
        dose_first=tuple(
            DoseCell(who, shortage, each, step % 2, step // 2, min(each, step))
            for who in people
            for step, shortage in (
                (place if harm else 1, key) for place, key in enumerate(CLASSES)
            )
        ),
        dose_built=tuple(DoseCell(who, "sufficient", each, 0, 0, 0) for who in people),
        opposing=tuple(
            OpposingCell(who, flagged, each, 0 if flagged and harm else 1)
            for who in people
            for flagged in (False, True)
        ),
        flow={
            ("sufficient", "", "as_delivered"): total.as_delivered,
            ("insufficient", "re_preparation", "as_delivered"): total.flagged,
            ("insufficient", "", "remade"): total.remade,
        },
        runs={
            key: (one.dispatched, tuple(range(1, one.remade + 1)))
            for key, one in tallies.get("clinic", {}).items()
        },
        remade_after={20: total.remade} if total.remade else {},
        unremade={month + timedelta(days=9): total.dispatched - total.remade},
        queries=Queries(
            raised=total.flagged,
            closed={"answered": total.flagged},
            options={"re_preparation": total.flagged},
            asked={180: total.flagged},
            answered={1500: total.flagged},
        ),
    )


def invented(
    filters: AuditFilters,
    by: Mapping[str, Mapping[str, tuple[int, int, int]]],
    *,
    causes: Mapping[str, int] | None = None,
    harm: bool = True,
) -> Figures:
    """Return the same month as often as the filters have months."""
    return Figures(
        tuple(
            invented_month(month, by=by, causes=causes, harm=harm)
            for month in filters.months
        ),
        AT,
    )


def no_figures(filters: AuditFilters) -> Figures:
    """Return months in which nothing was dispatched."""
    return Figures(tuple(MonthFigures(month) for month in filters.months), AT)

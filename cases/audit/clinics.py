"""Clinics against their laboratory's own rate: funnel and accumulating alarms."""

from typing import Final

from cases.audit import funnel
from cases.audit.report_types import (
    Funnel,
    FunnelLine,
    FunnelPoint,
    RateRow,
    RateTable,
)

__all__ = ["clinic_funnel"]

_QUANTILES: Final = (0.001, 0.025, 0.975, 0.999)
_LINES: Final = 40


def clinic_funnel(table: RateTable) -> Funnel | None:
    """Return the clinics of their table of remakes; None with fewer than two.

    The target is the laboratory's own rate of the period. Overdispersion is estimated
    from the clinics whose count is shown, so that it tells nothing of the others, and
    from ``LEAST_CLINICS`` on; with fewer it cannot be told from one that stands out.
    """
    if len(table.rows) < 2:
        return None
    whole = table.total
    if whole.count is None or not whole.count or not whole.n:
        points = tuple(_point(row, None) for row in table.rows)
        return Funnel(None, points, (), None)
    target = whole.count / whole.n
    shown = [(row.count, row.n) for row in table.rows if row.count is not None]
    return Funnel(
        target=target,
        points=tuple(_point(row, target) for row in table.rows),
        lines=_lines(max(row.n for row in table.rows), target),
        overdispersion=funnel.overdispersion(shown, target)
        if len(shown) >= funnel.LEAST_CLINICS
        else None,
    )


def _point(row: RateRow, target: float | None) -> FunnelPoint:
    told = row.count is not None
    place = ""
    if target is not None and row.count is not None and 0 < target < 1:
        place = funnel.place(row.count, row.n, target)
    return FunnelPoint(
        key=row.key,
        label=row.label,
        n=row.n,
        count=row.count,
        rate=row.count / row.n if row.count is not None else None,
        place=place,
        hidden="" if told else row.hidden,
        cases=row.cases,
    )


def _lines(most: int, target: float) -> tuple[FunnelLine, ...]:
    if not 0 < target < 1:
        return ()
    first = min(5, most)
    sizes = sorted(
        {
            round(first + (most * 1.1 - first) * (step / (_LINES - 1)) ** 2)
            for step in range(_LINES)
        }
    )
    return tuple(
        FunnelLine(n, *(funnel.limits(n, target, q) for q in _QUANTILES))
        for n in sizes
        if n > 0
    )

"""Two periods side by side: what differs, by how much, and how surely."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from cases.audit.association import fisher
from cases.audit.figures import Figures
from cases.audit.intervals import difference
from cases.audit.over_time import is_complete
from cases.audit.report_types import RateRow, RateTable, Setup
from cases.audit.tables import headline_rows, rate_tables

__all__ = ["Comparison", "ComparisonRow", "compare"]


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One rate in both periods; a period without such restorations has None.

    ``difference`` is the later rate less the earlier, ``low`` and ``high`` its 95 %
    interval (Newcombe), ``p`` Fisher's exact test, two-sided. All are None where a count
    is hidden or there are too few restorations for a rate.
    """

    key: str
    label: str
    now: RateRow | None
    before: RateRow | None
    difference: float | None
    low: float | None
    high: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two periods under the same filters.

    ``tables`` has the keys of a report's ``rates``. ``incomplete``: months, of either,
    whose restorations may still be remade: a difference may come from that alone.
    ``overlapping``: the periods share months, and nothing is compared; the tests take
    them for independent, and the months not shared could be worked out. Each p is that
    of one question: among twenty without any difference one is below 0.05 by chance, and
    one clinician's restorations are alike, which makes small ones more frequent still.
    """

    now: tuple[date, date]
    before: tuple[date, date]
    rows: tuple[ComparisonRow, ...]
    tables: Mapping[str, tuple[ComparisonRow, ...]]
    incomplete: tuple[date, ...]
    overlapping: bool


def compare(now: Figures, before: Figures, setup: Setup) -> Comparison:
    """Return the comparison; counts are hidden in each period as in its own report."""
    months = [one.month for one in now.months]
    earlier = [one.month for one in before.months]
    overlapping = not set(months).isdisjoint(earlier)
    tables = {} if overlapping else rate_tables(now, setup)
    others = {} if overlapping else rate_tables(before, setup)
    return Comparison(
        now=(months[0], months[-1]),
        before=(earlier[0], earlier[-1]),
        rows=()
        if overlapping
        else _rows(headline_rows(now, setup), headline_rows(before, setup)),
        tables={
            key: _table(tables.get(key), others.get(key))
            for key in _keys(tables, others)
        },
        incomplete=tuple(
            month
            for month in sorted({*months, *earlier})
            if not is_complete(setup, month)
        ),
        overlapping=overlapping,
    )


def _keys(
    tables: Mapping[str, RateTable], others: Mapping[str, RateTable]
) -> list[str]:
    return [*tables, *(key for key in others if key not in tables)]


def _table(
    table: RateTable | None, other: RateTable | None
) -> tuple[ComparisonRow, ...]:
    return _rows(table.rows if table else (), other.rows if other else ())


def _rows(
    rows: Sequence[RateRow], others: Sequence[RateRow]
) -> tuple[ComparisonRow, ...]:
    """Return the rows in the later period's order, what only the earlier had last."""
    now = {row.key: row for row in rows}
    before = {row.key: row for row in others}
    keys = [*now, *(key for key in before if key not in now)]
    return tuple(_row(key, now.get(key), before.get(key)) for key in keys)


def _row(key: str, now: RateRow | None, before: RateRow | None) -> ComparisonRow:
    some = now or before
    label = some.label if some else key
    if now is None or before is None or now.rate is None or before.rate is None:
        return ComparisonRow(key, label, now, before, None, None, None, None)
    a, b = now.count or 0, before.count or 0
    low, high = difference(a, now.n, b, before.n) or (None, None)
    exact = fisher(a, now.n - a, b, before.n - b)
    return ComparisonRow(
        key=key,
        label=label,
        now=now,
        before=before,
        difference=now.rate - before.rate,
        low=low,
        high=high,
        # Neither period had one, or all were: no difference to test.
        p=exact.p if exact else 1.0,
    )

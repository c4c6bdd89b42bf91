"""A reader who wants the hidden counts of a report, with a solver.

Every number a report shows, every sum that must hold between its tables and the rule by
which counts are hidden become one system of whole numbers. What it leaves one value is
told. The reader knows the trade, too: what was remade is reported, what is adverse was
remade, not fitted or ground, and a class of shortage belongs to a verdict.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from cases.audit.figures import OUTCOMES
from cases.audit.protection import threshold_of
from cases.audit.report_types import AuditReport, RateRow, RateTable
from cases.lifecycle import AnswerKind

__all__ = ["told"]

_ADVERSE = ("remade", "not_fitted", "opposing_adjusted")
_VERDICT = {
    "up_to_025": "insufficient", "up_to_050": "insufficient",
    "over_050": "insufficient", "unmeasured": "undecided",
}  # fmt: skip
Terms = Iterable[tuple[str, int]]


@dataclass
class System:
    """Whole numbers by name, between bounds, and sums of them between bounds."""

    low: dict[str, float] = field(default_factory=dict)
    high: dict[str, float] = field(default_factory=dict)
    hidden: list[str] = field(default_factory=list)
    sums: list[tuple[list[tuple[str, int]], float, float]] = field(default_factory=list)

    def number(self, name: str, low: float, high: float, *, hidden: bool = False):
        """Add a number; what is known of it twice holds twice."""
        self.low[name] = max(low, self.low.get(name, low))
        self.high[name] = min(high, self.high.get(name, high))
        if hidden and name not in self.hidden:
            self.hidden.append(name)

    def sum(self, terms: Terms, low: float, high: float) -> None:
        """Hold a sum of numbers between bounds."""
        self.sums.append((list(terms), low, high))

    def equal(self, name: str, parts: Iterable[str]) -> None:
        """Hold a number to the sum of its parts."""
        self.sum([(name, -1), *((part, 1) for part in parts)], 0, 0)

    def told(self) -> list[str]:
        """Return the hidden numbers that can have one value only, which is not 0."""
        names = list(self.low)
        at = {name: place for place, name in enumerate(names)}
        rows, columns, factors = [], [], []
        for row, (terms, _, _) in enumerate(self.sums):
            for name, factor in terms:
                rows.append(row)
                columns.append(at[name])
                factors.append(factor)
        matrix = csr_array((factors, (rows, columns)), (len(self.sums), len(names)))
        holds = LinearConstraint(
            matrix, [low for _, low, _ in self.sums], [high for *_, high in self.sums]
        )
        bounds = Bounds(
            [self.low[name] for name in names], [self.high[name] for name in names]
        )

        def solve(cost: np.ndarray) -> np.ndarray:
            found = milp(
                cost, integrality=np.ones(len(names)), bounds=bounds, constraints=holds
            )
            assert found.success, found.message
            return np.round(found.x)

        left = {at[name] for name in self.hidden}
        first = solve(np.zeros(len(names)))
        # All at once as far as they move together, then one by one.
        for together in (True, False):
            for sign in (1, -1):
                for targets in [sorted(left)] if together else [[one] for one in left]:
                    cost = np.zeros(len(names))
                    cost[targets] = sign
                    other = solve(cost)
                    left = {one for one in left if other[one] == first[one]}
        # A zero tells of nobody; it is hidden for the sake of others.
        return [names[one] for one in sorted(left) if first[one]]


def told(report: AuditReport, ways: Iterable[tuple[str, str, str]] = ()) -> list[str]:
    """Return the hidden counts of a report that follow from what it shows.

    ``ways``: those at least one restoration took; of the ones not listed that must not
    be told either.
    """
    system = System()
    threshold = threshold_of(report.setup.small_number)
    totals = {row.key: row for row in report.headline}
    for measure in ("remade", "opposing_adjusted", "restoration_adjusted", "internal"):
        if measure in totals:
            _count(system, measure, totals[measure], report.reported, threshold)
    for table in report.rates.values():
        _table(system, table, report, threshold)
    _causes(system, report, threshold)
    _control(system, report, threshold)
    _dose(system, report, threshold)
    if report.dose[0].rows:
        _opposing(system, report, threshold)
        _flow(system, report, set(ways), threshold)
    _rows(system, "option", report.options, threshold, whole=None)
    return system.told()


def _count(
    system: System,
    name: str,
    row: RateRow,
    most: int,
    threshold: int,
    *,
    all_: bool = False,
) -> None:
    if row.count is not None:
        system.number(name, row.count, row.count)
    elif all_ or most <= 1:
        system.number(name, 0, most, hidden=most > 0)
    elif row.hidden == "small":
        system.number(name, 1, min(threshold - 1, most), hidden=True)
    else:
        system.number(name, threshold, most, hidden=True)


def _rows(
    system: System,
    name: str,
    rows: Sequence[RateRow],
    threshold: int,
    whole: str | None,
    most: Mapping[str, int] | None = None,
) -> None:
    """Add a table; hidden as a whole, a row can be anything."""
    all_ = all(row.count is None for row in rows)
    for row in rows:
        ceiling = row.n if most is None else most.get(row.key, 0)
        _count(system, f"{name}/{row.key}", row, ceiling, threshold, all_=all_)
    parts = [f"{name}/{row.key}" for row in rows]
    if whole is not None:
        system.equal(whole, parts)
    elif rows:
        system.sum([(part, 1) for part in parts], rows[0].n, rows[0].n)


def _table(
    system: System, table: RateTable, report: AuditReport, threshold: int
) -> None:
    seating = report.rates.get(f"{table.dimension}:opposing_adjusted")
    most = None
    if table.measure == "remade" and seating:
        # How many were reported is shown there, and what was remade is reported.
        most = {row.key: row.n for row in seating.rows}
    name = f"{table.dimension}:{table.measure}"
    _rows(system, name, table.rows, threshold, table.measure, most)


def _causes(system: System, report: AuditReport, threshold: int) -> None:
    all_ = all(row.count is None for row in report.causes)
    names = [f"cause/{row.key}" for row in report.causes]
    for row, name in zip(report.causes, names, strict=True):
        if row.count is not None:
            system.number(name, row.count, row.count)
        elif row.hidden == "small" and not all_:
            system.number(name, 1, threshold - 1, hidden=True)
        else:
            system.number(name, 0 if all_ else threshold, report.n, hidden=True)
    if "remade" in system.low and (system.high["remade"] == system.low["remade"]):
        system.equal("remade", names)
    if report.setup.viewer == "laboratory":
        for row, name in zip(report.causes, names, strict=True):
            shown = row.internal
            low = shown if shown is not None else int(row.count == 0)
            high = shown if shown is not None else report.n
            system.number(f"{name}/internal", low, high, hidden=shown is None)
        if system.high["internal"] == system.low["internal"]:
            system.equal("internal", [f"{name}/internal" for name in names])


def _control(system: System, report: AuditReport, threshold: int) -> None:
    points = report.control.points
    all_ = all(point.count is None for point in points)
    for point in points:
        name = f"control/{point.label}"
        row = RateRow(
            "", "", point.n, point.count, None, None, None, hidden=point.hidden
        )
        _count(system, name, row, point.n, threshold, all_=all_)
    system.equal("remade", [f"control/{point.label}" for point in points])


def _dose(system: System, report: AuditReport, threshold: int) -> None:
    for dose in report.dose:
        if not dose.rows:
            continue
        name = f"{dose.basis}:{dose.measure}"
        if dose.measure == "adverse":
            system.number("adverse", 0, report.reported)
        whole = "remade" if dose.measure == "remade" else "adverse"
        _rows(system, name, dose.rows, threshold, whole)
        sizes = _sizes(report, dose.basis)
        for row in dose.rows:
            keys = row.key.split(".")
            if len(keys) > 1:
                # Each of the classes told together is a number to be worked out.
                for key in keys:
                    most = min(row.n, sizes.get(key, row.n))
                    system.number(f"{name}/{key}", 0, most, hidden=True)
                system.equal(f"{name}/{row.key}", [f"{name}/{key}" for key in keys])
        if dose.measure == "remade":
            for key in _classes(dose.rows):
                pair = [
                    (f"{dose.basis}:adverse/{key}", 1),
                    (f"{dose.basis}:remade/{key}", -1),
                ]
                system.sum(pair, 0, np.inf)


def _classes(rows: Iterable[RateRow]) -> list[str]:
    """Return the classes of a table's rows, those told together one by one."""
    return [key for row in rows for key in row.key.split(".")]


def _sizes(report: AuditReport, basis: str) -> dict[str, int]:
    """Return how many of a class were reported, where one of the tables says so."""
    rows = [row for dose in report.dose if dose.basis == basis for row in dose.rows]
    return {row.key: row.n for row in rows if "." not in row.key}


def _opposing(system: System, report: AuditReport, threshold: int) -> None:
    found = report.opposing
    _rows(
        system, "opposing", (found.without, found.with_query), threshold,
        "opposing_adjusted",
    )  # fmt: skip


def _flow(
    system: System,
    report: AuditReport,
    ways: set[tuple[str, str, str]],
    threshold: int,
) -> None:
    listed = {
        (way.verdict, way.option, way.outcome): way.count or 0
        for way in report.flow
        if way.outcome != "other"
    }
    options = ["", "withdrawn", *AnswerKind]
    first = next(d for d in report.dose if (d.basis, d.measure) == ("first", "adverse"))
    verdicts: dict[str, list[str]] = {}
    for key in _classes(first.rows):
        verdicts.setdefault(_VERDICT.get(key, key), []).append(key)
    sizes = _sizes(report, "first")
    rest = report.n - sum(listed.values())
    cells = [(v, o, out) for v in verdicts for o in options for out in OUTCOMES]

    def name(cell: tuple[str, str, str]) -> str:
        return "flow/" + "/".join(cell)

    # A listed way joins the rest only when that is too small without it.
    joined = listed and rest - min(listed.values()) < threshold
    for cell in cells:
        low = listed.get(cell, 0)
        free = joined or cell[2] in _ADVERSE
        high = low if cell in listed else rest if free else min(rest, threshold - 1)
        system.number(name(cell), low, high, hidden=cell not in listed and cell in ways)

    def total(low: float, high: float, which, *others: tuple[str, int]) -> None:
        terms = [(name(cell), 1) for cell in cells if which(*cell)]
        system.sum([*terms, *others], low, high)

    total(report.n, report.n, lambda v, o, out: True)
    total(0, 0, lambda v, o, out: out == "remade", ("remade", -1))
    total(0, 0, lambda v, o, out: out in _ADVERSE, ("adverse", -1))
    told_of = report.reported
    total(told_of, told_of, lambda v, o, out: out != "not_reported")
    for verdict, keys in verdicts.items():
        inside = [row for row in first.rows if {*row.key.split(".")} <= {*keys}]
        alone = {key for row in inside for key in row.key.split(".")}
        if all(key in alone or key in sizes for key in keys):
            n = sum(row.n for row in inside)
            n += sum(sizes[key] for key in keys if key not in alone)
            total(n, n, lambda v, o, out, w=verdict: v == w and out != "not_reported")
        for measure, outs in (("adverse", _ADVERSE), ("remade", ("remade",))):
            total(
                0, 0,
                lambda v, o, out, w=verdict, outs=outs: v == w and out in outs,
                *((f"first:{measure}/{key}", -1) for key in keys),
            )  # fmt: skip
    for key, asked in (("without", False), ("with", True)):
        row = report.opposing.with_query if asked else report.opposing.without
        whose = (f"opposing/{key}", -1)
        total(
            row.n, row.n,
            lambda v, o, out, a=asked: bool(o) is a and out != "not_reported",
        )  # fmt: skip
        # A remade one, or one that did not fit, may have been ground or not.
        total(
            -np.inf, 0,
            lambda v, o, out, a=asked: bool(o) is a and out == "opposing_adjusted",
            whose,
        )  # fmt: skip
        total(
            0, np.inf,
            lambda v, o, out, a=asked: bool(o) is a and out in _ADVERSE,
            whose,
        )  # fmt: skip

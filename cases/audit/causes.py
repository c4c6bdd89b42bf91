"""Why work was made again: causes, most remakes first."""

from collections.abc import Mapping
from dataclasses import replace

from cases.audit.figures import CauseTally, Figures
from cases.audit.protection import Cell, protect, state_of, threshold_of
from cases.audit.report_types import CauseRow, RateRow, Setup
from cases.audit.rows import OTHERS, Part, gathered, label_of, rate_row
from cases.audit.tables import total_state

__all__ = ["cause_rows", "remake_rows"]


def cause_rows(figures: Figures, setup: Setup) -> tuple[CauseRow, ...]:
    """Return the causes: those shown by count, then the hidden ones by their words.

    A cause stands here because there was one, so where the number of all remakes is
    hidden only causes remain that the laboratory met before dispatch, without counts.
    """
    found = _sums(figures)
    threshold = threshold_of(setup.small_number)
    internal = sum(one.internal for one in found.values())
    state = total_state(setup, figures.total, "remade")
    before = state_of(Cell(internal, max(internal, 2)), threshold)
    own = setup.viewer == "laboratory" and not before
    kept = {
        key: one
        for key, one in found.items()
        if (one.remade and not state) or (one.internal and own)
    }
    keys = sorted(kept, key=lambda key: (label_of(setup, "cause", key), key))
    remade = sum(one.remade for one in kept.values())
    hidden = _states([kept[key].remade for key in keys], threshold, state)
    hidden_before = _states([kept[key].internal for key in keys], threshold, before)
    rows = [
        _row(setup, key, kept[key], states, remade)
        for key, states in zip(
            keys, zip(hidden, hidden_before, strict=True), strict=True
        )
    ]
    rows.sort(key=lambda row: (row.count is None, -(row.count or 0)))
    return _cumulated(rows, remade)


def _states(counts: list[int], threshold: int, total: str) -> list[str]:
    most = max(sum(counts), 2)
    return protect(
        [Cell(count, most) for count in counts], threshold=threshold, total=total
    )


def _row(
    setup: Setup, key: str, one: CauseTally, states: tuple[str, str], remade: int
) -> CauseRow:
    hidden, before = states
    shown = not hidden
    return CauseRow(
        key=key,
        label=label_of(setup, "cause", key),
        count=one.remade if shown else None,
        internal=one.internal if setup.viewer == "laboratory" and not before else None,
        share=one.remade / remade if shown and remade else None,
        cumulative=None,
        hidden=hidden,
        cases={"cause": key, "outcome": "remade"} if shown and one.remade else {},
    )


def remake_rows(figures: Figures, setup: Setup, of: str) -> tuple[RateRow, ...]:
    """Return remakes by "attribution" or by where they were "detected", most first.

    Of all remakes, not cause by cause: these would give away each other's small counts.
    Where too few are of a kind they are one row at the end. Nothing where the number of
    remakes is hidden.
    """
    if total_state(setup, figures.total, "remade"):
        return ()
    counts: dict[str, int] = {}
    for one in _sums(figures).values():
        counts = _added(counts, getattr(one, of))
    n = sum(counts.values())
    listed, rest = gathered(counts, threshold_of(setup.small_number))
    parts = [
        Part(key, label_of(setup, of, key), n, count, n)
        for key, count in sorted(listed.items(), key=lambda pair: (-pair[1], pair[0]))
    ]
    if rest:
        parts.append(Part(OTHERS, label_of(setup, of, OTHERS), n, rest, n))
    return tuple(rate_row(setup, part, "") for part in parts)


def _cumulated(rows: list[CauseRow], remade: int) -> tuple[CauseRow, ...]:
    done = 0
    made = []
    for row in rows:
        if row.count is None or not remade:
            made.append(row)
            continue
        done += row.count
        made.append(replace(row, cumulative=done / remade))
    return tuple(made)


def _sums(figures: Figures) -> dict[str, CauseTally]:
    found: dict[str, CauseTally] = {}
    for month in figures.months:
        for key, one in month.causes.items():
            old = found.get(key, CauseTally())
            found[key] = CauseTally(
                old.remade + one.remade,
                old.internal + one.internal,
                _added(old.attribution, one.attribution),
                _added(old.detected, one.detected),
            )
    return found


def _added(one: Mapping[str, int], other: Mapping[str, int]) -> dict[str, int]:
    return {key: one.get(key, 0) + other.get(key, 0) for key in {*one, *other}}

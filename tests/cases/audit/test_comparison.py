"""Two periods side by side."""

from datetime import date

import pytest

from cases.audit.comparison import compare
from cases.audit.figures import Figures, MonthFigures, Tally
from tests.cases.audit.worlds import AS_OF, null_world, planted_world, setup

EARLIER, LATER = date(2026, 1, 1), date(2026, 2, 1)


def one_month(month: date, **by: tuple[int, int]) -> Figures:
    tallies = {
        key: Tally(dispatched=n, reported=n, remade=count)
        for key, (count, n) in by.items()
    }
    total = sum(tallies.values(), Tally())
    return Figures((MonthFigures(month, total=total, by={"material": tallies}),), AS_OF)


def test_a_difference_has_newcombes_interval_and_fishers_p():
    # 56/70 and 48/80: Newcombe, Stat Med 1998;17:873-890, worked example (a) of
    # method 10: 0.0524 to 0.3339 (from memory).
    found = compare(
        one_month(LATER, a=(56, 70)), one_month(EARLIER, a=(48, 80)), setup()
    )
    row = next(one for one in found.rows if one.key == "remade")
    assert row.difference == pytest.approx(0.2)
    assert (round(row.low or 0, 4), round(row.high or 0, 4)) == (0.0524, 0.3339)
    assert row.p is not None
    assert 0 < row.p < 0.05
    assert [one.key for one in found.tables["material"]] == ["a"]


def test_what_is_hidden_in_either_period_is_not_compared():
    now = one_month(LATER, a=(3, 60), b=(20, 200), c=(9, 90))
    before = one_month(EARLIER, a=(9, 60), b=(20, 200), c=(8, 90))
    rows = {one.key: one for one in compare(now, before, setup()).tables["material"]}
    assert [one and one.count for one in (rows["a"].now, rows["a"].before)] == [None, 9]
    assert (rows["a"].difference, rows["a"].p) == (None, None)
    assert rows["b"].difference == 0


def test_what_only_one_period_had_stands_without_a_difference():
    now, before = one_month(LATER, a=(9, 60)), one_month(EARLIER, b=(9, 60))
    rows = {one.key: one for one in compare(now, before, setup()).tables["material"]}
    assert (rows["a"].before, rows["b"].now) == (None, None)
    assert rows["a"].difference is rows["b"].difference is None


def test_months_shared_are_not_compared():
    now = null_world(1, n=200).now
    found = compare(now, Figures(now.months[:-1], AS_OF), setup())
    assert found.overlapping
    assert (found.rows, found.tables) == ((), {})


def test_incomplete_months_are_said():
    world = planted_world(1, n=400)
    found = compare(world.now, world.before, setup())
    assert found.incomplete == (date(2026, 11, 1),)
    assert found.now == (date(2025, 12, 1), date(2026, 11, 1))
    assert found.before == (date(2024, 12, 1), date(2025, 11, 1))

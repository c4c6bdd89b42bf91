"""The whole report: who sees what, and that nothing hidden can be worked out."""

from dataclasses import replace

import pytest

from cases.audit.figures import Figures
from cases.audit.report import build
from cases.audit.report_types import Setup
from tests.cases.audit.attack import told
from tests.cases.audit.worlds import null_world, setup


def attacked(figures: Figures, made: Setup) -> list[str]:
    return told(
        build(figures, made), [way for way, count in figures.flow().items() if count]
    )


@pytest.mark.parametrize(
    ("seed", "n"), [(1, 40), (2, 90), (1, 90), (2, 200), (1, 450), (2, 1000)]
)
def test_no_hidden_count_follows_from_one_report(seed, n):
    figures = null_world(seed, n=n).now
    assert attacked(figures, setup(compare_people=True)) == []


@pytest.mark.parametrize("seed", [3, 5, 8])
def test_nor_from_a_report_of_few_remakes(seed):
    figures = null_world(seed, n=150, rate=0.02 * (seed - 2), opposing=0.03).now
    assert attacked(figures, setup()) == []


@pytest.mark.parametrize("small", [2, 3, 10])
def test_nor_at_another_threshold(small):
    figures = null_world(11, n=400).now
    assert attacked(figures, setup(small_number=small)) == []


def test_nor_where_few_report_anything():
    figures = null_world(12, n=300, reported=0.1).now
    assert attacked(figures, setup()) == []


def test_the_reader_does_find_what_one_guard_too_few_would_tell():
    report = build(null_world(1, n=450).now, setup())
    table = report.rates["clinic"]
    truth = {
        key: tally.remade
        for key, tally in null_world(1, n=450).now.by("clinic").items()
    }
    hidden = [row for row in table.rows if row.count is None]
    assert len(hidden) >= 2
    shown = {row.key for row in hidden[1:]}
    rows = tuple(
        replace(row, count=truth[row.key], hidden="") if row.key in shown else row
        for row in table.rows
    )
    careless = replace(
        report, rates={**report.rates, "clinic": replace(table, rows=rows)}
    )
    assert f"clinic:remade/{hidden[0].key}" in told(careless)

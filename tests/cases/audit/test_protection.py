"""No hidden count of a table may follow from its total: held against every table."""

from collections.abc import Iterator, Sequence
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.audit.protection import Cell, protect, state_of, threshold_of

CELLS = st.lists(
    st.integers(0, 14).flatmap(
        lambda most: st.tuples(st.integers(0, most), st.just(most))
    ),
    min_size=1,
    max_size=5,
).map(lambda pairs: [Cell(*pair) for pair in pairs])


def choices(cell: Cell, state: str, threshold: int, whole: bool) -> Sequence[int]:
    """Return what a cell can be for all its row shows."""
    if not state:
        return [cell.count]
    if whole or cell.most == 1:
        return range(cell.most + 1)
    if state == "small":
        return range(1, min(threshold - 1, cell.most) + 1)
    return range(threshold, cell.most + 1)


def fillings(
    cells: Sequence[Cell], states: Sequence[str], threshold: int
) -> Iterator[tuple[int, ...]]:
    total = sum(cell.count for cell in cells)
    whole = all(states)
    spaces = [
        choices(cell, state, threshold, whole)
        for cell, state in zip(cells, states, strict=True)
    ]
    return (filled for filled in product(*spaces) if sum(filled) == total)


@pytest.mark.property
@given(cells=CELLS, threshold=st.integers(3, 6))
def test_every_hidden_count_has_two_values(cells, threshold):
    states = protect(cells, threshold=threshold)
    possible = list(fillings(cells, states, threshold))
    assert tuple(cell.count for cell in cells) in possible
    total, most = sum(cell.count for cell in cells), sum(cell.most for cell in cells)
    if total in {0, most} or state_of(Cell(total, most), threshold):
        # All or nothing leaves no choice, and a hidden total hides everything.
        return
    for place, state in enumerate(states):
        if state and cells[place].most:
            assert len({filled[place] for filled in possible}) > 1


@given(cells=CELLS, threshold=st.integers(3, 6))
def test_small_counts_are_hidden_and_without_need_zero_is_shown(cells, threshold):
    states = protect(cells, threshold=threshold)
    for cell, state in zip(cells, states, strict=True):
        if 0 < cell.count < threshold:
            assert state == "small"
        if cell.count == 0 and cell.most > 1:
            assert not state or all(states)


def test_where_there_was_none_at_all_every_zero_is_shown():
    assert protect([Cell(0, 1), Cell(0, 40)], threshold=5) == ["", ""]


def test_a_lone_small_count_takes_the_row_of_fewest_restorations_along():
    cells = [Cell(3, 40), Cell(30, 500), Cell(9, 60), Cell(0, 50)]
    assert protect(cells, threshold=5) == ["small", "", "secondary", ""]


def test_two_small_counts_guard_each_other_unless_they_are_at_an_end():
    shown = Cell(30, 500)
    assert protect([Cell(2, 40), Cell(3, 40), shown], threshold=5)[2] == ""
    # Two fours are the only way to make eight of one to four.
    assert protect([Cell(4, 40), Cell(4, 40), shown], threshold=5)[2] == "secondary"


def test_of_one_restoration_both_answers_are_hidden():
    for count in (0, 1):
        cells = [Cell(count, 1), Cell(20, 200), Cell(20, 300)]
        assert protect(cells, threshold=5) == ["small", "secondary", ""]


def test_a_hidden_total_hides_zeros_too():
    # Four rows hidden for being 1 to 4 would say that the total is at least four.
    cells = [Cell(1, 9), Cell(1, 9), Cell(0, 9)]
    assert protect(cells, threshold=5, total="small") == ["small"] * 3


def test_nothing_is_hidden_from_oneself():
    assert protect([Cell(1, 1), Cell(2, 5)], threshold=1) == ["", ""]


@pytest.mark.parametrize(("set_to", "used"), [(1, 1), (2, 3), (3, 3), (5, 5)])
def test_a_threshold_of_two_would_tell_ones(set_to, used):
    assert threshold_of(set_to) == used

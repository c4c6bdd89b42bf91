"""Nobody works out a hidden count: held against every small table there is."""

from collections import defaultdict
from collections.abc import Sequence
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.audit.suppression import hide

TABLES = st.lists(
    st.integers(0, 14).flatmap(
        lambda most: st.tuples(st.integers(0, most), st.just(most))
    ),
    min_size=1,
    max_size=5,
)


def possible(state: str, count: int, most: int, threshold: int, whole: bool) -> range:
    """Return what a count can be for whoever sees its row alone."""
    if not state:
        return range(count, count + 1)
    if whole or most <= 1:
        return range(most + 1)
    if state == "small":
        return range(1, min(threshold - 1, most) + 1)
    return range(threshold, most + 1)


def values_left(
    counts: Sequence[int], most: Sequence[int], states: Sequence[str], threshold: int
) -> list[set[int]]:
    """Return the values each count can have, given the sum and all rows.

    Of a small sum no more is known than that it is small.
    """
    total = sum(counts)
    sums = set(range(1, threshold)) if 0 < total < threshold else {total}
    whole = all(states)
    spaces = [
        possible(*row, threshold, whole)
        for row in zip(states, counts, most, strict=True)
    ]
    left: list[set[int]] = [set() for _ in counts]
    for filled in product(*spaces):
        if sum(filled) in sums:
            for seen, value in zip(left, filled, strict=True):
                seen.add(value)
    return left


@pytest.mark.property
@given(TABLES, st.integers(3, 6))
def test_each_hidden_count_keeps_two_values(rows, threshold):
    counts, most = [count for count, _ in rows], [ceiling for _, ceiling in rows]
    states = hide(counts, threshold, most=most)
    if sum(counts) == sum(most):
        return  # All that could be counted was: the sum alone says so of every row.
    left = values_left(counts, most, states, threshold)
    for state, count, ceiling, values in zip(states, counts, most, left, strict=True):
        assert count in values
        if state and ceiling:
            assert len(values) > 1


@given(TABLES, st.integers(3, 6))
def test_small_is_hidden_zero_is_shown_and_nothing_needlessly(rows, threshold):
    counts, most = [count for count, _ in rows], [ceiling for _, ceiling in rows]
    states = hide(counts, threshold, most=most)
    for state, count, ceiling in zip(states, counts, most, strict=True):
        if 0 < count < threshold:
            assert state == "small"
        if count == 0 and ceiling != 1:
            assert not state or all(states)
    small = [0 < c < threshold or (m == 1) for c, m in rows]
    if not any(small) and sum(counts) >= threshold:
        assert not any(states)
    if not any(counts):
        assert not any(states)


def sorted_out(threshold: int, rows: int, total: int) -> dict:
    """Return the tables of a total by how they would be shown."""
    shown = defaultdict(list)
    for counts in product(range(total + 1), repeat=rows):
        if sum(counts) == total:
            states = hide(counts, threshold)
            seen = tuple(
                state or count for state, count in zip(states, counts, strict=True)
            )
            shown[seen].append(counts)
    return shown


@pytest.mark.parametrize(
    ("threshold", "rows", "totals"),
    [
        (3, 2, 20),
        (5, 2, 20),
        (3, 3, 14),
        (4, 3, 16),
        (5, 3, 20),
        (3, 4, 10),
        (5, 4, 14),
    ],
)
def test_knowing_the_procedure_does_not_help(threshold, rows, totals):
    """Every table, sorted by what is shown: each hidden count differs somewhere.

    Totals below the threshold are hidden themselves and told apart from no other.
    """
    for total in range(threshold, totals + 1):
        for seen, tables in sorted_out(threshold, rows, total).items():
            for place, value in enumerate(seen):
                if isinstance(value, str):
                    assert len({table[place] for table in tables}) > 1, (seen, tables)


@pytest.mark.parametrize(
    "small", [[1, 1], [1, 1, 1], [4, 4], [4, 4, 4], [1, 2], [3, 4]]
)
def test_a_sum_at_its_end_does_not_tell(small):
    # Two hidden counts of 1 to 4 that sum to 2 are two ones, to 8 two fours.
    states = hide([*small, 30, 60], 5, most=[*[40] * len(small), 500, 900])
    assert states == ["small"] * len(small) + ["secondary", ""]


def test_a_lone_small_count_takes_along_the_row_of_fewest_cases():
    assert hide([3, 30, 9, 0], 5, most=[40, 500, 60, 50]) == [
        "small",
        "",
        "secondary",
        "",
    ]


def test_small_counts_with_room_guard_each_other():
    assert hide([2, 3, 30], 5, most=[40, 40, 500]) == ["small", "small", ""]


def test_the_choice_of_a_guard_does_not_depend_on_counts():
    for counts in ([3, 30, 90], [3, 90, 30], [2, 8, 70]):
        assert hide(counts, 5, most=[40, 300, 900]) == ["small", "secondary", ""]


def test_a_table_that_cannot_be_guarded_is_hidden_as_a_whole():
    # One small count beside one at the threshold: 6 could be nothing else.
    assert hide([1, 0, 5], 5) == ["small"] * 3
    # Six ones, shown as six counts of at least 1 that sum to 6.
    assert hide([1, 1, 1, 1, 1, 1, 0], 5) == ["small"] * 7


def test_a_hidden_total_hides_all():
    # Four small counts would say that the total is four at least.
    assert hide([1, 1, 1, 1, 0], 5) == ["small"] * 5
    assert hide([7, 30, 0], 5, total_shown=False) == ["small"] * 3


def test_of_one_case_both_answers_are_hidden():
    for count in (0, 1):
        states = hide([count, 20, 30], 5, most=[1, 200, 300])
        assert states == ["small", "secondary", ""]


def test_nothing_to_hide():
    assert hide([], 5) == []
    assert hide([0, 0], 5) == ["", ""]
    assert hide([0, 0], 5, most=[1, 1]) == ["", ""]
    assert hide([5, 12, 0], 5) == ["", "", ""]
    assert hide([1, 2, 3], 1) == ["", "", ""]


def test_a_threshold_of_two_would_tell_every_one():
    assert hide([2, 30, 60], 2, most=[9, 99, 199]) == hide(
        [2, 30, 60], 3, most=[9, 99, 199]
    )

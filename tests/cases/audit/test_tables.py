"""Tables of rates: who sees which, in what order, linked to which cases."""

import itertools
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.audit.causes import cause_rows, remake_rows
from cases.audit.figures import CauseTally, Figures, MonthFigures, Queries, Tally
from cases.audit.over_time import control_chart, is_complete, kept_unmade
from cases.audit.queries import option_rows, waiting_times
from cases.audit.seating import opposing
from cases.audit.shortage import dose_responses
from cases.audit.tables import (
    dimensions_of,
    headline_rows,
    measures_of,
    rate_tables,
)
from cases.audit.ways import OTHER, flow_rows
from tests.cases.audit.worlds import AS_OF, FIRST, null_world, setup


def tally(n: int, remade: int, reported: int | None = None, **more: int) -> Tally:
    known = n if reported is None else reported
    return Tally(dispatched=n, reported=known, remade=remade, **more)


def of_materials(**tallies: Tally) -> Figures:
    total = sum(tallies.values(), Tally())
    month = MonthFigures(FIRST, total=total, by={"material": tallies})
    return Figures((month,), AS_OF)


@pytest.mark.parametrize(
    ("viewer", "people", "seen"),
    [
        ("laboratory", False, {"clinic"}),
        ("laboratory", True, {"clinic", "clinician", "technician"}),
        ("clinic", False, set()),
        ("clinic", True, {"clinician"}),
        ("clinician", True, set()),
    ],
)
def test_whom_a_viewer_sees_named(viewer, people, seen):
    shown = set(dimensions_of(setup(viewer, compare_people=people)))
    assert shown - {"material", "kind", "tooth_class", "method"} == seen
    assert {"material", "kind", "tooth_class", "method"} <= shown


def test_work_made_again_before_dispatch_is_the_laboratorys_own():
    figures = null_world(1, n=400).now
    for viewer in ("clinic", "clinician"):
        made = setup(viewer, compare_people=True)
        assert "internal" not in measures_of(made, figures.total)
        assert not any(key.endswith("internal") for key in rate_tables(figures, made))
        assert "internal" not in {row.key for row in headline_rows(figures, made)}
        rows = cause_rows(figures, made)
        assert rows
        assert {row.internal for row in rows} == {None}
    assert "material:internal" in rate_tables(figures, setup())


def test_a_cause_met_only_before_dispatch_does_not_reach_a_clinic():
    causes = {"shade": CauseTally(9, 0), "fracture": CauseTally(0, 12)}
    month = MonthFigures(FIRST, total=tally(90, 9, internal=12), causes=causes)
    figures = Figures((month,), AS_OF)
    assert [row.key for row in cause_rows(figures, setup("clinic"))] == ["shade"]
    seen = cause_rows(figures, setup())
    assert [(row.key, row.count, row.internal) for row in seen] == [
        ("shade", 9, 0),
        ("fracture", 0, 12),
    ]


def test_rows_stand_by_restorations_then_words_never_by_what_is_hidden():
    figures = of_materials(
        b=tally(50, 1), a=tally(50, 4), c=tally(200, 9), d=tally(60, 12)
    )
    labels = {"material": {"a": "Zinc", "b": "Alloy"}}
    table = rate_tables(figures, setup(labels=labels))["material"]
    assert [row.label for row in table.rows] == ["c", "d", "Alloy", "Zinc"]
    assert [row.hidden for row in table.rows] == ["", "", "small", "small"]
    assert [row.cases for row in table.rows[2:]] == [{}, {}]


def test_a_rate_carries_its_interval_and_its_cases():
    figures = of_materials(a=tally(263, 81), b=tally(100, 0))
    row, other = rate_tables(figures, setup())["material"].rows
    # 81 of 263: Newcombe, Stat Med 1998;17:857-872, worked example of method 3.
    assert (round(row.low or 0, 4), round(row.high or 0, 4)) == (0.2553, 0.3662)
    assert row.cases == {"material": "a", "outcome": "remade"}
    assert (other.count, other.rate, other.low) == (0, 0.0, 0.0)


def test_with_few_restorations_the_count_stands_without_a_rate():
    figures = of_materials(a=tally(9, 6), b=tally(100, 20))
    row = rate_tables(figures, setup())["material"].rows[1]
    assert (row.n, row.count, row.rate, row.low, row.hidden) == (
        9,
        6,
        None,
        None,
        "few",
    )
    assert row.cases


def test_clinics_are_asked_for_by_code_and_what_is_not_stated_not_at_all():
    month = MonthFigures(
        FIRST,
        total=tally(80, 20),
        by={"clinic": {"7": tally(80, 20)}, "method": {"": tally(80, 20)}},
    )
    figures = Figures((month,), AS_OF)
    made = setup(labels={"clinic": {"7": "North"}, "clinic_code": {"7": "K7Q4"}})
    (row,) = rate_tables(figures, made)["clinic"].rows
    assert (row.label, row.cases) == ("North", {"clinic": "K7Q4", "outcome": "remade"})
    (row,) = rate_tables(figures, made)["method"].rows
    assert (row.count, row.cases) == (20, {})


def test_a_small_total_hides_every_row_and_every_table():
    figures = of_materials(a=tally(50, 3), b=tally(60, 0))
    table = rate_tables(figures, setup())["material"]
    assert [row.count for row in (*table.rows, table.total)] == [None] * 3
    assert {row.hidden for row in table.rows} == {"small"}
    assert cause_rows(figures, setup()) == ()
    assert kept_unmade(figures, setup()).hidden == "small"
    assert {point.count for point in control_chart(figures, setup()).points} == {None}


def test_a_clinician_sees_own_cases_whole():
    figures = of_materials(a=tally(12, 1), b=tally(1, 1))
    made = setup("clinician", small_number=1)
    table = rate_tables(figures, made)["material"]
    assert [row.count for row in table.rows] == [1, 1]
    assert [row.hidden for row in table.rows] == ["", "few"]


def test_where_only_remakes_are_reported_nothing_is_said_of_seating():
    # Shown per row, "reported" would be the number of remakes.
    figures = of_materials(a=tally(50, 3, 3), b=tally(60, 9, 9))
    assert measures_of(setup(), figures.total) == ("remade", "internal")
    assert all(not one.rows for one in dose_responses(figures, setup()))
    found = opposing(figures, setup())
    assert (found.without.n, found.with_query.n, found.p) == (0, 0, None)


def attributed(small_number: int = 5, **given: int) -> list[tuple[str, int | None]]:
    causes = {
        "shade": CauseTally(sum(given.values()), 0, given),
        "contour": CauseTally(6, 0, {"clinic": 6}),
    }
    remade = sum(given.values()) + 6
    month = MonthFigures(FIRST, total=tally(90, remade), causes=causes)
    rows = remake_rows(
        Figures((month,), AS_OF), setup(small_number=small_number), "attribution"
    )
    return [(row.key, row.count) for row in rows]


def test_attributions_are_of_all_remakes_the_few_together():
    assert attributed(clinic=9, laboratory=5) == [("clinic", 15), ("laboratory", 5)]
    assert attributed(clinic=9, laboratory=8, shared=3, disputed=4) == [
        ("clinic", 15),
        ("laboratory", 8),
        ("others", 7),
    ]
    # Three alone would be told by the total: the next one joins them.
    assert attributed(clinic=9, laboratory=8, shared=3) == [
        ("clinic", 15),
        ("others", 11),
    ]
    assert attributed(1, clinic=9, shared=3) == [("clinic", 15), ("shared", 3)]


def test_few_remakes_are_attributed_to_nobody():
    causes = {"shade": CauseTally(4, 0, {"clinic": 4}, {"seating": 4})}
    month = MonthFigures(FIRST, total=tally(90, 4), causes=causes)
    figures = Figures((month,), AS_OF)
    assert remake_rows(figures, setup(), "attribution") == ()
    assert remake_rows(figures, setup(), "detected") == ()
    rows = remake_rows(figures, setup(small_number=1), "detected")
    assert [(row.key, row.n, row.count) for row in rows] == [("seating", 4, 4)]


def test_causes_add_up_in_order():
    causes = {"shade": CauseTally(6), "contour": CauseTally(14)}
    month = MonthFigures(FIRST, total=tally(90, 20), causes=causes)
    rows = cause_rows(Figures((month,), AS_OF), setup())
    assert [(row.key, row.share, row.cumulative) for row in rows] == [
        ("contour", 0.7, 0.7),
        ("shade", 0.3, 1.0),
    ]


def test_a_month_is_complete_thirty_days_after_its_last():
    made = replace(setup(), as_of=AS_OF.replace(month=11, day=30))
    assert is_complete(made, date(2026, 10, 1))
    assert not is_complete(
        replace(made, as_of=AS_OF.replace(month=11, day=29)), date(2026, 10, 1)
    )


def test_an_incomplete_month_makes_no_limits_and_no_signal():
    figures = null_world(5, n=4000, rate=0.06).now
    chart = control_chart(figures, setup())
    assert chart.grouping == "month"
    *whole, last = chart.points
    assert (last.complete, last.signal) == (False, "")
    shown = [point for point in whole if point.count is not None]
    assert chart.centre == pytest.approx(
        sum(point.count or 0 for point in shown) / sum(point.n for point in shown)
    )
    assert shown[0].cases == {"from": "2025-12", "to": "2025-12", "outcome": "remade"}


def test_hidden_points_leave_no_trace_in_the_limits():
    figures = null_world(4, n=1500).now
    chart = control_chart(figures, setup())
    hidden = {point.label for point in chart.points if point.count is None}
    assert hidden
    assert chart.centre is None or chart.centre == pytest.approx(
        sum(p.count or 0 for p in chart.points if p.complete)
        / sum(p.n for p in chart.points if p.complete and p.count is not None)
    )


def test_no_step_after_dispatch_is_one_of_few_remakes():
    figures = null_world(3, n=1000).now
    events = figures.remade_after()
    steps = kept_unmade(figures, setup()).steps
    assert len(steps) > 1
    told = [0, *(sum(n for d, n in events.items() if d <= s.days) for s in steps)]
    assert all(b - a >= 5 for a, b in itertools.pairwise(told))
    assert told[-1] == figures.total.remade
    whole = kept_unmade(figures, setup("clinician", small_number=1)).steps
    assert {step.days for step in steps} <= {step.days for step in whole}


def test_a_share_told_is_that_of_its_day():
    # One more remade on day 29 than may be shown, one on day 31: the curve at 30 days is
    # not moved by how they are told. 100 dispatched long ago.
    month = MonthFigures(
        date(2026, 1, 1),
        Tally(dispatched=100, reported=100, fitted=88, remade=12),
        remade_after={12: 5, 29: 1, 31: 6},
        unremade={date(2026, 1, 5): 88},
    )
    made = kept_unmade(Figures((month,), AS_OF), setup()).steps
    assert [(s.days, s.share, s.at_risk) for s in made] == [
        (14, 0.05, 95),
        (60, 0.12, 88),
    ]
    own = kept_unmade(Figures((month,), AS_OF), setup("clinician", small_number=1))
    assert [(s.days, s.share) for s in own.steps] == [
        (14, 0.05),
        (30, 0.06),
        (60, 0.12),
    ]


def test_a_time_nobody_was_followed_for_is_not_claimed():
    month = MonthFigures(
        FIRST, Tally(dispatched=50, reported=50, fitted=44, remade=6),
        remade_after={16: 6}, unremade={AS_OF.date() - timedelta(days=20): 44},
    )  # fmt: skip
    (step,) = kept_unmade(Figures((month,), AS_OF), setup()).steps
    assert (step.days, step.at_risk) == (20, 44)


def test_ways_few_took_are_one_row():
    figures = null_world(2, n=300).now
    made = setup()
    rows = flow_rows(
        figures, made, dose_responses(figures, made), opposing(figures, made)
    )
    assert all((row.count or 0) >= 5 for row in rows)
    assert sum(row.count or 0 for row in rows) == figures.total.dispatched
    assert rows[-1].verdict == OTHER
    assert all(row.cases for row in rows[:-1])


def test_options_and_bars_hide_what_few_chose_or_waited():
    queries = Queries(
        raised=30,
        options={"re_preparation": 20, "reduction_coping": 3, "accept_risk": 7},
        answered={60: 20, 15: 7, 60 * 24 * 9: 3},
        open=(AS_OF.replace(day=9),),
    )
    figures = Figures((MonthFigures(FIRST, queries=queries),), AS_OF)
    rows = {row.key: row.hidden for row in option_rows(figures, setup())}
    # Three and seven: without the seven the three would be what is left of thirty.
    assert rows == {"re_preparation": "", "others": ""}
    laboratory, clinic = waiting_times(figures, setup())
    assert (laboratory.n, laboratory.hidden, laboratory.median_hours) == (
        0,
        "few",
        None,
    )
    assert (clinic.n, clinic.waiting, clinic.median_hours) == (31, 1, 1.0)
    # Three took nine days; beside 27 they could be told apart by no step.
    assert [(bar.from_hours, bar.to_hours, bar.count) for bar in clinic.bars] == [
        (0, None, 30)
    ]


@given(
    minutes=st.dictionaries(
        st.integers(0, 12 * 24 * 60), st.integers(1, 9), max_size=6
    ),
    least=st.sampled_from([1, 3, 5]),
)
def test_steps_of_waiting_time_hold_none_or_as_many_as_may_be_shown(minutes, least):
    month = MonthFigures(FIRST, queries=Queries(answered=minutes))
    _, clinic = waiting_times(Figures((month,), AS_OF), setup(small_number=least))
    counts = [bar.count for bar in clinic.bars]
    whole = sum(minutes.values())
    if 0 < whole < least:
        assert counts == [None]
        return
    assert sum(count or 0 for count in counts) == whole
    assert all(not count or count >= least for count in counts)
    ends = [bar.to_hours for bar in clinic.bars]
    assert [bar.from_hours for bar in clinic.bars] == [0, *ends[:-1]]
    assert ends[-1] is None


def test_a_chart_takes_months_together_before_it_hides_many():
    months = tuple(
        MonthFigures(date(2025, m, 1), Tally(dispatched=60, reported=60, remade=remade))
        for m, remade in zip(
            range(2, 13), (8, 3, 7, 2, 9, 4, 8, 3, 9, 4, 8), strict=True
        )
    )
    chart = control_chart(Figures(months, AS_OF), setup())
    assert chart.grouping == "quarter"
    assert [(p.label, p.count) for p in chart.points] == [
        ("2025-02/03", 11),
        ("2025-Q2", 18),
        ("2025-Q3", 15),
        ("2025-Q4", 21),
    ]
    own = control_chart(Figures(months, AS_OF), setup("clinician", small_number=1))
    assert own.grouping == "month"
    assert (
        control_chart(Figures(months, AS_OF), setup(), by="month").grouping == "month"
    )

"""What each picture says and shows: its numbers, and nothing that is hidden."""

import re
from dataclasses import replace

import pytest

from cases.audit.report_types import CauseRow, FlowRow
from cases.charts.control import control, describe_control
from cases.charts.dose import describe_dose, dose
from cases.charts.flow import describe_flow, flow
from cases.charts.funnel import describe_funnel, funnel
from cases.charts.marks import letter
from cases.charts.pareto import describe_pareto, pareto
from cases.charts.waiting import describe_waiting, waiting
from cases.charts.words import Words, hours_text, percent_text
from tests.cases.charts.samples import (
    CAUSES,
    CONTROL,
    DOSE,
    FLOW,
    FUNNEL,
    WAITING,
    WORDS,
    bars,
    period,
)
from tests.cases.drawings.reading import SVG, joined, parsed, texts

SPACE = "\N{NO-BREAK SPACE}"
BOTH = pytest.mark.parametrize("narrow", [False, True])


def marked(root, mark):
    """The paths of a part of the picture."""
    return [
        path
        for group in root.iter(f"{SVG}g")
        if group.get("data-mark") == mark
        for path in group.iter(f"{SVG}path")
    ]


def span(path, axis):
    values = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", path.attrib["d"])]
    return max(values[axis::2]) - min(values[axis::2])


def starts(path):
    """How many separate lines or outlines a path has."""
    return path.attrib["d"].count("M")


@BOTH
def test_pareto_writes_every_number_and_draws_to_scale(narrow):
    root = parsed(pareto(CAUSES, words=WORDS, uid="p", narrow=narrow))
    said = texts(root)
    assert {"31", "22", "0", "< 5", f"31.0{SPACE}%", f"53.0{SPACE}%"} <= {*said}
    widths = [span(path, 0) for path in marked(root, "bar")]
    assert widths[0] / widths[1] == pytest.approx(31 / 22, abs=0.01)
    # One before dispatch beside a shown cause, and one beside a hidden count.
    before = [span(path, 0) for path in marked(root, "internal")]
    assert before[0] / widths[0] == pytest.approx(4 / 31, abs=0.01)
    assert before[1] / before[0] == pytest.approx(6 / 4, abs=0.01)


@BOTH
@pytest.mark.parametrize("small", [3, 5])
def test_a_hidden_cause_is_an_empty_broken_bar_of_the_threshold(narrow, small):
    root = parsed(
        pareto(CAUSES, words=WORDS, uid="p", narrow=narrow, small_number=small)
    )
    hidden = marked(root, "hidden")
    # Of the one hidden to guard others nothing is drawn: it may be the longest.
    assert {row.hidden for row in CAUSES} == {"", "small", "secondary"}
    assert "not shown" in " ".join(texts(root))
    assert len(hidden) == 1
    assert f"< {small}" in texts(root)
    for path in hidden:
        assert path.get("fill") == "none"
        assert path.get("stroke-dasharray")
        assert span(path, 0) / span(marked(root, "bar")[0], 0) == pytest.approx(
            small / 31, abs=0.01
        )


def test_the_cumulative_line_breaks_at_hidden_causes():
    root = parsed(pareto(CAUSES, words=WORDS, uid="p"))
    paths = marked(root, "cumulative")
    line, points = paths[0], paths[1:]
    assert starts(line) == 2  # two causes, a gap, and the last one alone
    assert len(points) == 3


def test_no_cause_with_a_number_is_no_picture():
    rows = (CauseRow("a", "Shade", None, None, None, None, hidden="small"),)
    assert pareto(rows, words=WORDS, uid="p") == ""


def test_causes_met_before_dispatch_only_need_no_remake():
    rows = (CauseRow("a", "Cast", 0, 7, None, None),)
    root = parsed(pareto(rows, words=WORDS, uid="p"))
    assert not marked(root, "bar")
    assert marked(root, "internal")


def test_pareto_is_described():
    said = describe_pareto(CAUSES, words=WORDS)
    assert said.startswith(f"Insufficient clearance: 31, cumulative 31.0{SPACE}%; ")
    assert "Shade: < 5; Other: not shown" in said


@BOTH
def test_control_marks_signals_incomplete_and_hidden_periods(narrow):
    root = parsed(control(CONTROL, words=WORDS, uid="c", narrow=narrow))
    assert len(marked(root, "point")) == 9
    assert len(marked(root, "incomplete")) == 1
    assert marked(root, "incomplete")[0].get("fill") == "#ffffff"
    assert len(marked(root, "hidden")) == 1
    assert len(marked(root, "centre")) == 1
    for name in ("lower", "upper"):
        # Stepped, broken at the hidden period, ending before the incomplete one.
        assert starts(marked(root, name)[0]) == 2
    assert {"A", "B"} <= {*texts(root)}
    said = joined(root)
    assert f"Jul 2024: above its limits, 15.0{SPACE}% (18 of 120)" in said
    assert f"Sep 2024: below its limits, 0.0{SPACE}% (0 of 110)" in said
    assert f"centre 5.1{SPACE}%" in said


@BOTH
def test_what_happened_is_flagged_and_explained_in_order(narrow):
    root = parsed(control(CONTROL, words=WORDS, uid="c", narrow=narrow))
    assert len(marked(root, "flag")) == 2
    said = texts(root)
    assert {"1–2", "1", "2", "3"} <= {*said}
    assert "2024-03-10: Rule set 3 published" in said
    assert "2024-12-31: Scanner replaced" in said
    assert "Long after" not in joined(root)
    assert "Long after" not in describe_control(CONTROL, words=WORDS)


def test_without_limits_the_picture_says_so():
    few = replace(CONTROL, points=CONTROL.points[:2], centre=None)
    bare = replace(
        few, points=tuple(replace(p, lower=None, upper=None) for p in few.points)
    )
    root = parsed(control(bare, words=WORDS, uid="c"))
    assert "too few periods for limits" in joined(root)
    assert not marked(root, "centre")
    assert not marked(root, "upper")
    assert "too few periods" in describe_control(bare, words=WORDS)


def test_a_period_without_restorations_is_not_marked_as_hidden():
    nothing = replace(period(0, 1, 0), n=0, rate=None)
    chart = replace(CONTROL, points=(nothing, period(1, 60, 5)))
    assert not marked(parsed(control(chart, words=WORDS, uid="c")), "hidden")


def test_the_number_behind_each_named_period_is_written():
    points = tuple(period(i, 1000 + i, 50) for i in range(36))
    said = texts(parsed(control(replace(CONTROL, points=points), words=WORDS, uid="c")))
    assert "Dec 2026" in said
    assert "n 1035" in said
    assert sum(one.startswith("n 10") for one in said) > 8


@BOTH
def test_funnel_names_those_outside_only(narrow):
    root = parsed(funnel(FUNNEL, words=WORDS, uid="f", narrow=narrow))
    said = joined(root)
    for place in ("hill", "mill", "pond", "wood"):
        assert f"Clinic of the {place}" in said
    assert "Clinic inside" not in said
    assert "Clinic unshown" not in said
    assert f"above the 99.8{SPACE}% limit, 14.5{SPACE}% (32 of 220)" in said
    assert f"below the 99.8{SPACE}% limit, 0.0{SPACE}% (0 of 300)" in said
    assert "factor 2.6); not widened" in said
    assert len(marked(root, "point")) == 1
    assert len(marked(root, "hidden")) == 1


def test_funnel_says_nothing_of_spread_that_chance_gives():
    said = joined(
        parsed(funnel(replace(FUNNEL, overdispersion=1.4), words=WORDS, uid="f"))
    )
    assert "not widened" not in said


def test_funnel_limits_are_told_apart_by_their_dashes():
    root = parsed(funnel(FUNNEL, words=WORDS, uid="f"))
    for name in ("low_95", "high_95"):
        assert marked(root, name)[0].get("stroke-dasharray")
    for name in ("low_998", "high_998"):
        assert not marked(root, name)[0].get("stroke-dasharray")
    assert marked(root, "target")[0].get("stroke-dasharray") != marked(root, "low_95")[
        0
    ].get("stroke-dasharray")


def test_funnel_is_described():
    said = describe_funnel(FUNNEL, words=WORDS)
    assert said.startswith("6 clinics, 1 of them inside the limits; ")
    assert "Clinic of the hill: above" in said
    assert "unshown" not in said


@BOTH
def test_dose_has_whiskers_numbers_and_shapes_of_verdicts(narrow):
    root = parsed(dose(DOSE, words=WORDS, uid="d", narrow=narrow))
    assert len(marked(root, "point")) == 4
    assert len(marked(root, "whiskers")) == 4
    assert len(marked(root, "hidden")) == 2
    said = texts(root)
    assert {f"4.1{SPACE}%", f"28.3{SPACE}%", "n 812", "n 60", "n 0", "< 5"} <= {*said}
    shapes = [p.get("data-verdict") for p in root.iter(f"{SVG}path")]
    assert [one for one in shapes if one] == [
        "sufficient", "undecided", *["insufficient"] * 3, "unmeasured",
        "not_applicable",
    ]  # fmt: skip


def test_dose_is_described_with_its_trend_and_the_caution():
    said = describe_dose(DOSE, words=WORDS)
    assert "Short by more than 0.5 mm: < 5, n 9" in said
    assert "trend z 5.13, p < 0.001" in said
    assert "with 14 clinicians as clusters p 0.006" in said
    assert "trend" not in describe_dose(replace(DOSE, trend=None), words=WORDS)


@BOTH
def test_waiting_has_a_row_for_each_side(narrow):
    root = parsed(waiting(WAITING, words=WORDS, uid="w", narrow=narrow))
    said = joined(root)
    assert "Laboratory, to ask" in said
    assert f"n 190, median 5.2{SPACE}h (4.1{SPACE}h to 7.8{SPACE}h)" in said
    assert f"median 30.5{SPACE}h (26{SPACE}h or more), 9 still waiting" in said
    assert {"80", "52", "61", "0", f"24{SPACE}h", f"7{SPACE}d"} <= {*texts(root)}
    tall = [span(path, 1) for path in marked(root, "bar")]
    assert len(tall) == 10
    assert tall[0] / tall[1] == pytest.approx(80 / 52, abs=0.01)
    assert len(marked(root, "hidden")) == 3
    assert len(marked(root, "median")) == 2


def test_a_side_without_median_says_so():
    few = replace(WAITING[1], n=6, median_hours=None, low_hours=None, hidden="few")
    open_ = replace(few, n=40, hidden="")
    root = parsed(waiting((few, open_), words=WORDS, uid="w"))
    assert not marked(root, "median")
    assert "n 6, not shown, 9 still waiting" in joined(root)
    assert "n 40, no median yet, 9 still waiting" in joined(root)


def test_waiting_is_described_without_empty_bars():
    said = describe_waiting(WAITING, words=WORDS)
    assert f"4{SPACE}h to 8{SPACE}h: 52" in said
    assert f"2{SPACE}d to 3{SPACE}d: not shown" in said
    assert f"7{SPACE}d or longer: 8" in said
    assert ": 0" not in said


@BOTH
def test_flow_bands_are_as_wide_as_their_numbers(narrow):
    root = parsed(flow(FLOW, words=WORDS, uid="x", narrow=narrow))
    said = texts(root)
    assert {"534", "90", "596", "61", "26", "643", "17"} <= {*said}
    assert "All other ways: 27" in said
    assert {"accept_risk", "opposing_adjusted"} <= {
        *joined(root).split()
    }  # a key without a word stands as it is
    nodes = [span(path, 1) for path in marked(root, "node")]
    assert nodes[0] / nodes[1] == pytest.approx(534 / 40, rel=0.01)
    assert len(marked(root, "second-band")) == len(FLOW) - 1
    assert len(marked(root, "hidden")) == 1


@BOTH
def test_flow_does_not_tell_the_size_of_what_is_hidden(narrow):
    shown = FLOW[:4]
    svg = flow(
        (*shown, FlowRow("other", "other", "other", None, "small")),
        words=WORDS, uid="x", narrow=narrow,
    )  # fmt: skip
    assert "All other ways: not shown" in texts(parsed(svg))
    # Hidden ways of any number give one band of one width.
    more = [FlowRow("undecided", "a", "remade", None, "small")] * 3
    assert flow((*shown, *more), words=WORDS, uid="x", narrow=narrow) == svg


def test_flow_is_described():
    said = describe_flow(FLOW, words=WORDS)
    assert "Sufficient, No query, Fitted as delivered: 520" in said
    assert said.endswith("All other ways: 27.")
    assert "too few to show: 27" in describe_flow(FLOW, words=Words())


def test_nothing_to_show_is_no_picture():
    nothing = tuple(replace(p, rate=None, count=None) for p in CONTROL.points)
    unknown = tuple(replace(p, rate=None, count=None) for p in FUNNEL.points)
    unrated = tuple(replace(r, rate=None, count=None) for r in DOSE.rows)
    for made in (
        pareto((), words=WORDS, uid="n"),
        control(replace(CONTROL, points=()), words=WORDS, uid="n"),
        control(replace(CONTROL, points=nothing), words=WORDS, uid="n"),
        funnel(replace(FUNNEL, points=()), words=WORDS, uid="n"),
        funnel(replace(FUNNEL, points=unknown), words=WORDS, uid="n"),
        dose(replace(DOSE, rows=()), words=WORDS, uid="n"),
        dose(replace(DOSE, rows=unrated), words=WORDS, uid="n"),
        waiting((), words=WORDS, uid="n"),
        waiting((replace(WAITING[0], n=0, bars=bars(*[0] * 7)),), words=WORDS, uid="n"),
        flow((), words=WORDS, uid="n"),
        flow((FlowRow("other", "other", "other", 8),), words=WORDS, uid="n"),
    ):
        assert made == ""


def test_words_of_another_language_are_used():
    german = replace(
        WORDS, point=",", cause="Ursache", percent="{value}" + SPACE + "v. H."
    )
    root = parsed(pareto(CAUSES, words=german, uid="p"))
    assert f"31,0{SPACE}v. H." in texts(root)
    assert "Ursache" in texts(root)


@pytest.mark.parametrize(
    ("hours", "said"), [(0.25, "0.2 h"), (4, "4 h"), (47.5, "47.5 h"), (72, "3 d")]
)
def test_times_are_hours_and_from_two_days_on_days(hours, said):
    assert hours_text(hours, WORDS) == said.replace(" ", SPACE)


def test_numbers_are_rounded_and_have_a_real_minus():
    assert percent_text(0.04999, WORDS) == f"5.0{SPACE}%"
    assert percent_text(-0.5, WORDS) == f"\N{MINUS SIGN}50.0{SPACE}%"


@pytest.mark.parametrize(
    ("index", "said"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA")]
)
def test_letters_go_on_after_z(index, said):
    assert letter(index) == said

"""The drawing of a plan: every site with its word, shape and number, in one ink."""

import re
from dataclasses import replace

import pytest

from cases.drawings.palette import HAIR, INK, INK_2, ROOM, SURFACE, TOOTH, VERDICT
from cases.drawings.plan_chart import PlanChart, PlanMark, PlanWords, plan_chart
from cases.drawings.regions import SITES
from tests.cases.drawings.reading import SVG, groups, joined, number, parsed, texts

HOSTILE = "</text><script>x</script>&\"'"
MARKS = (
    PlanMark(("buccal_cusps",), "Buccal cusps", "clearance", "2.0"),
    PlanMark(("lingual_cusps",), "Lingual cusps", "clearance", "1.5"),
    PlanMark(("functional_cusp_bevel",), "Functional cusp bevel", "clearance", "2.0"),
    PlanMark(("central_fossa",), "Central fossa", "clearance", "1.5"),
    PlanMark(("marginal_ridge",), "Marginal ridge", "clearance", "1.5"),
    PlanMark(
        ("facial_wall", "lingual_wall", "mesial_wall", "distal_wall"),
        "Axial walls",
        "reduction",
        "1.0",
        "aim at 1.2 mm",
    ),
    PlanMark(("finish_line",), "Finish line", "width", "1.0"),
)
MOLAR = PlanChart(
    "36", "mandible", "left", "molar", MARKS, "Plan, 36", "Described.", "p36"
)
INCISOR = PlanChart(
    "21",
    "maxilla",
    "left",
    "incisor",
    (
        PlanMark(("lingual_surface",), "Palatal surface", "clearance", "1.0"),
        PlanMark(("incisal_edge",), "Incisal edge", "clearance", "1.5"),
        PlanMark(("incisal_edge",), "Incisal edge", "reduction", "1.5"),
        PlanMark(("facial_surface",), "Facial surface", "reduction", "1.0"),
    ),
    "Plan, 21",
    "Described.",
    "p21",
)


def callout(root, sites):
    return next(g for g in groups(root, site=sites) if not g.get("data-part"))


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("chart", [MOLAR, INCISOR], ids=lambda c: c.tooth)
def test_every_site_has_word_number_and_shape(chart, narrow):
    root = parsed(plan_chart(chart, narrow=narrow))
    written = joined(root)
    shapes = [p.get("data-quantity") for p in root.iter(f"{SVG}path")]
    for mark in chart.marks:
        assert mark.label in written
        assert mark.least in texts(root)
        assert mark.quantity in shapes
        for site in mark.sites:
            assert len(list(groups(root, site=site, part="surface"))) == 1
    said = " ".join(chart.words.quantity(m.quantity) for m in chart.marks)
    assert all(word in written for word in said.split())


@pytest.mark.parametrize("narrow", [False, True])
def test_nothing_is_coloured_by_its_length(narrow):
    found = set(re.findall(r"#[0-9a-f]{6}", plan_chart(MOLAR, narrow=narrow)))
    assert found <= {INK, INK_2, HAIR, SURFACE, TOOTH, ROOM}
    assert not found & (set(VERDICT.values()) - {INK_2})
    thinner = replace(MOLAR, marks=tuple(replace(m, least="0.3") for m in MARKS))
    other = set(re.findall(r"#[0-9a-f]{6}", plan_chart(thinner, narrow=narrow)))
    assert other == found


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("chart", [MOLAR, INCISOR], ids=lambda c: c.tooth)
def test_callouts_lie_inside_and_on_nothing_else(chart, narrow):
    root = parsed(plan_chart(chart, narrow=narrow))
    width, height = number(root, "width"), number(root, "height")
    boxes = []
    for mark in chart.marks:
        group = next(
            g
            for g in groups(root, site=" ".join(mark.sites))
            if not g.get("data-part")
            and mark.least in [t.text for t in g.iter(f"{SVG}text")]
            and any(
                p.get("data-quantity") == mark.quantity for p in g.iter(f"{SVG}path")
            )
        )
        lines = list(group.iter(f"{SVG}text"))
        left = lines[0].get("text-anchor") == "end"
        boxes.append(
            (
                left,
                number(lines[0], "y") - number(lines[0], "font-size"),
                number(lines[-1], "y"),
            )
        )
        for one in lines:
            assert 0 <= number(one, "x") <= width
            assert 0 < number(one, "y") <= height
    for side in (True, False):
        column = sorted(box[1:] for box in boxes if box[0] is side)
        for (_top, bottom), (top, _bottom) in zip(column, column[1:], strict=False):
            assert bottom < top + 6


def test_a_left_tooth_has_its_mesial_side_on_the_left():
    root = parsed(plan_chart(MOLAR))
    x = {t.text: number(t, "x") for t in root.iter(f"{SVG}text") if t.text}
    assert x["mesial"] < x["distal"]
    right = parsed(plan_chart(replace(MOLAR, tooth="46", side="right")))
    x = {t.text: number(t, "x") for t in right.iter(f"{SVG}text") if t.text}
    assert x["mesial"] > x["distal"]


def test_words_are_escaped_and_named():
    hostile = replace(
        MOLAR,
        title=HOSTILE,
        describe=HOSTILE,
        marks=(replace(MARKS[0], label=HOSTILE, least=HOSTILE, more=HOSTILE),),
        words=PlanWords(buccal=HOSTILE, clearance=HOSTILE),
    )
    svg = plan_chart(hostile)
    root = parsed(svg)
    assert "<script" not in svg
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title") is not None


@pytest.mark.parametrize("site", SITES)
@pytest.mark.parametrize("chart", [MOLAR, INCISOR], ids=lambda c: c.tooth)
def test_every_site_of_the_design_can_be_drawn(chart, site):
    one = replace(chart, marks=(PlanMark((site,), site, "clearance", "1.0"),))
    root = parsed(plan_chart(one))
    assert len(list(groups(root, site=site, part="surface"))) == 1
    assert callout(root, site) is not None


@pytest.mark.parametrize(
    "mark",
    [
        PlanMark(("nose",), "Nose", "clearance", "1.0"),
        PlanMark(("central_fossa",), "Fossa", "depth", "1.0"),
    ],
)
def test_unknown_sites_and_quantities_are_refused(mark):
    with pytest.raises(KeyError):
        plan_chart(replace(MOLAR, marks=(mark,)))


def test_a_plan_without_figures_is_the_tooth_alone():
    root = parsed(plan_chart(replace(MOLAR, marks=())))
    assert "buccal" in texts(root)

import re

import pytest

from cases.drawings.samples import TOOTH_MARKS
from cases.drawings.tooth_chart import ToothMark, ToothWords, tooth_chart
from tests.cases.drawings.reading import (
    SVG,
    groups,
    number,
    parsed,
    texts,
    verdicts,
)

# ISO 3950, the 32 permanent teeth.
ALL = [f"{quadrant}{place}" for quadrant in range(1, 5) for place in range(1, 9)]


def drawn(marks=(), **changes):
    given = {"numbering": {}, "title": "Teeth", "describe": "All of them", "uid": "t"}
    return tooth_chart(dict(marks), **(given | changes))


def _number_places(root):
    return {
        t.text: (number(t, "x"), number(t, "y"))
        for t in root.iter(f"{SVG}text")
        if re.fullmatch(r"\d\d", t.text or "")
    }


def test_all_teeth_stand_where_the_one_facing_the_patient_sees_them():
    places = _number_places(parsed(drawn()))
    assert sorted(places) == ALL
    upper = [*range(18, 10, -1), *range(21, 29)]
    lower = [*range(48, 40, -1), *range(31, 39)]
    for row in (upper, lower):
        xs = [places[str(code)][0] for code in row]
        assert xs == sorted(xs)
        assert len({places[str(code)][1] for code in row}) == 1
    assert places["11"][1] < places["41"][1]


@pytest.mark.parametrize("quadrant", [1, 2, 3, 4])
def test_a_quadrant_shows_its_eight_teeth_only(quadrant):
    places = _number_places(parsed(drawn(TOOTH_MARKS, quadrant=quadrant)))
    assert sorted(places) == [code for code in ALL if code[0] == str(quadrant)]


def test_numbering_is_what_is_shown():
    root = parsed(drawn(numbering={"36": "19"}))
    assert texts(root).count("19") == 1
    assert texts(root).count("36") == 0


def test_marked_teeth_differ_by_weight_shape_and_word():
    root = parsed(drawn(TOOTH_MARKS))
    for code in ALL:
        (group,) = groups(root, tooth=code)
        (contour,) = [
            p for p in group.iter(f"{SVG}path") if p.get("data-contour") is not None
        ]
        mark = TOOTH_MARKS.get(code)
        assert number(contour, "stroke-width") == (3 if mark else 1.1)
        assert verdicts(group) == ([mark.verdict] if mark and mark.verdict else [])
    for mark in TOOTH_MARKS.values():
        assert not mark.verdict_word or mark.verdict_word in texts(root)
        assert mark.label in texts(root)


def _bars(svg):
    """Horizontal strokes as wide as the bars of a bridge."""
    found = []
    for path in parsed(svg).iter(f"{SVG}path"):
        if path.get("stroke-width") == "2.5":
            x1, y1, x2, y2 = map(
                float, re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))
            )
            assert y1 == y2
            assert x1 < x2
            found.append((x1, x2))
    return found


def test_a_span_is_joined_by_bars_between_its_neighbours():
    joints = _bars(drawn(TOOTH_MARKS))
    assert len(joints) == 4  # two bars at each of the two joints of 47-46-45


def test_a_span_may_cross_the_midline():
    marks = {
        "11": ToothMark("retainer", "", "", frozenset({"21"})),
        "21": ToothMark("retainer", "", "", frozenset({"11"})),
    }
    assert len(_bars(drawn(marks))) == 2


def test_teeth_that_are_not_neighbours_are_not_joined():
    marks = {
        "14": ToothMark("crown", "", "", frozenset({"16"})),
        "16": ToothMark("crown", "", "", frozenset({"14"})),
    }
    assert _bars(drawn(marks)) == []


def test_words_of_neighbours_do_not_run_into_each_other():
    marks = {c: ToothMark("retainer", "insufficient", "insufficient") for c in ALL}
    for quadrant in (None, 1, 2, 3, 4):
        svg = drawn(marks, quadrant=quadrant)
        root = parsed(svg)
        width = number(root, "width")
        boxes = []
        for t in root.iter(f"{SVG}text"):
            if t.text in {"retainer", "insufficient"}:
                half = len(t.text) * number(t, "font-size") * 0.46 / 2
                x, y = number(t, "x"), number(t, "y")
                boxes.append((x - half, x + half, y))
                assert x - half >= 0
                assert x + half <= width
                assert 0 < y <= number(root, "height")
        for i, (left, right, y) in enumerate(boxes):
            for left2, right2, y2 in boxes[i + 1 :]:
                assert y != y2 or right < left2 or right2 < left


def test_sides_are_written():
    root = parsed(drawn(words=ToothWords(right="rechts", left="links")))
    places = {t.text: number(t, "x") for t in root.iter(f"{SVG}text")}
    assert places["rechts"] < places["links"]


def test_hostile_words_stay_words():
    hostile = '"><script>&'
    mark = ToothMark(hostile, "undecided", hostile)
    root = parsed(drawn({"11": mark}, title=hostile, numbering={"11": hostile}))
    assert {e.tag.removeprefix(SVG) for e in root.iter()} == {
        "svg", "title", "desc", "g", "path", "circle", "text",
    }  # fmt: skip


@pytest.mark.parametrize("quadrant", [None, 1, 3])
def test_nothing_that_paper_or_policy_refuses(quadrant):
    svg = drawn(TOOTH_MARKS, quadrant=quadrant)
    assert not re.search(
        r"\sstyle=|<style|Gradient|<pattern|<clipPath|<filter|<image|href", svg
    )


@pytest.mark.parametrize("tooth", ["19", "55", "00", "1", "", "111", "4x"])
def test_a_tooth_that_is_not_permanent_is_refused(tooth):
    with pytest.raises(ValueError, match="not permanent teeth"):
        drawn({tooth: ToothMark("crown", "", "")})


@pytest.mark.parametrize("quadrant", [0, 5, -1])
def test_an_unknown_quadrant_is_refused(quadrant):
    with pytest.raises(ValueError, match="no such quadrant"):
        drawn(quadrant=quadrant)


def test_unknown_verdict_is_refused():
    with pytest.raises(KeyError):
        drawn({"11": ToothMark("crown", "fine", "fine")})

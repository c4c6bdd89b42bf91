import re
from dataclasses import replace
from decimal import Decimal

import pytest

from cases.drawings.clearance_chart import (
    Captions,
    ClearanceChart,
    SiteMark,
    chart_headers,
    chart_rows,
    clearance_chart,
)
from cases.drawings.regions import SITES
from cases.drawings.samples import LOWER_MOLAR, UPPER_INCISOR, UPPER_PREMOLAR
from cases.drawings.scales import shared_maximum
from tests.cases.drawings.reading import (
    SVG,
    groups,
    joined,
    matched,
    number,
    parsed,
    texts,
    verdicts,
)

CHARTS = [LOWER_MOLAR, UPPER_PREMOLAR, UPPER_INCISOR]
HOSTILE = "</text><script>x</script>&\"'"


def site(key="central_fossa", verdict="insufficient", **changes):
    figures = {"need_mm": "1.5", "target_mm": "1.5", "low_mm": "1", "high_mm": "1.5"}
    words = {"label": "Central fossa", "verdict_word": verdict, "u_mm": None}
    values = {"is_point": False, "shortage_text": "", "position_label": ""}
    given = figures | words | values | changes
    for name in ("need_mm", "target_mm", "low_mm", "high_mm", "u_mm"):
        given[name] = None if given[name] is None else Decimal(given[name])
    return SiteMark(site=key, verdict=verdict, **given)


def chart(*sites, **changes):
    base = ClearanceChart(
        tooth="36", tooth_label="36", arch="mandible", side="left",
        tooth_class="molar", sites=sites or (site(),), title="Title",
        describe="Description", uid="c1",
    )  # fmt: skip
    return replace(base, **changes)


@pytest.mark.parametrize("stacked", [False, True])
@pytest.mark.parametrize("sample", CHARTS, ids=lambda c: c.tooth)
def test_every_site_has_its_mark_on_the_tooth_and_its_scale(sample, stacked):
    root = parsed(clearance_chart(sample, stacked=stacked))
    for mark in sample.sites:
        for part in ("surface", "scale"):
            (group,) = groups(root, site=mark.site, part=part)
            assert verdicts(group) == [mark.verdict]


@pytest.mark.parametrize("stacked", [False, True])
@pytest.mark.parametrize("sample", CHARTS, ids=lambda c: c.tooth)
def test_the_scales_say_what_the_table_says(sample, stacked):
    root = parsed(clearance_chart(sample, stacked=stacked))
    rows = chart_rows(sample)
    assert len(rows) == len(sample.sites)
    for mark, row in zip(sample.sites, rows, strict=True):
        (group,) = groups(root, site=mark.site, part="scale")
        written = joined(group)
        name, position, need, target, measured, verdict, short = row
        for words in (name, position, measured, verdict, short):
            assert words in written
        if need:
            assert f"need {need}" in written
        assert (f"target {target}" in written) == (bool(target) and target != need)


def test_rows_and_headers_have_the_same_columns():
    assert {len(row) for row in chart_rows(LOWER_MOLAR)} == {
        len(chart_headers(LOWER_MOLAR))
    }
    assert chart_rows(LOWER_MOLAR)[1] == (
        "Lingual cusps", "maximal intercuspation", "1.5", "1.5", "1.0 to 1.5",
        "insufficient", "short by up to 0.5",
    )  # fmt: skip


@pytest.mark.parametrize("stacked", [False, True])
@pytest.mark.parametrize("sample", CHARTS, ids=lambda c: c.tooth)
def test_nothing_that_paper_or_policy_refuses(sample, stacked):
    svg = clearance_chart(sample, stacked=stacked)
    assert not re.search(
        r"\sstyle=|<style|Gradient|<pattern|<clipPath|<filter|<image|href", svg
    )
    assert "opacity" not in svg


def test_hostile_words_stay_words():
    hostile = site(
        label=HOSTILE,
        verdict_word=HOSTILE,
        shortage_text=HOSTILE,
        position_label=HOSTILE,
    )
    words = dict.fromkeys(("buccal", "lingual", "mesial", "distal", "need"), HOSTILE)
    root = parsed(
        clearance_chart(
            chart(hostile, title=HOSTILE, describe=HOSTILE, tooth_label=HOSTILE,
                  captions=Captions(**words))
        )
    )  # fmt: skip
    kinds = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert kinds == {"svg", "title", "desc", "g", "path", "rect", "circle", "text"}


def _first_point(path):
    x, y = matched(r"M(-?[\d.]+) (-?[\d.]+)", path.get("d", "")).groups()
    return float(x), float(y)


def _contour(**changes):
    root = parsed(clearance_chart(chart(**changes)))
    (path,) = [p for p in root.iter(f"{SVG}path") if p.get("data-contour") is not None]
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_left_and_right_teeth_are_mirror_images():
    left, right = _contour(side="left"), _contour(side="right", tooth="46")
    middle = 123
    assert [(pytest.approx(2 * middle - x, abs=0.03), y) for x, y in left] == right


def _place_of(root, word):
    (found,) = [t for t in root.iter(f"{SVG}text") if t.text == word]
    return float(found.get("x")), float(found.get("y"))


@pytest.mark.parametrize(
    ("tooth", "arch", "side", "mesial_first", "buccal_first"),
    [
        # The viewer faces the patient: a tooth of the patient's right lies on the
        # left, its mesial side towards the midline on the right (trade usage).
        ("16", "maxilla", "right", False, True),
        ("26", "maxilla", "left", True, True),
        ("36", "mandible", "left", True, False),
        ("46", "mandible", "right", False, False),
    ],
)
def test_orientation_words_stand_where_the_mouth_has_them(
    tooth, arch, side, mesial_first, buccal_first
):
    root = parsed(clearance_chart(chart(tooth=tooth, arch=arch, side=side)))
    assert (_place_of(root, "mesial")[0] < _place_of(root, "distal")[0]) is mesial_first
    assert (
        _place_of(root, "buccal")[1] < _place_of(root, "lingual")[1]
    ) is buccal_first


def _mark_y(root, key):
    (group,) = groups(root, site=key, part="surface")
    (path,) = [p for p in group.iter(f"{SVG}path") if p.get("data-verdict")]
    return float(matched(r"translate\(\S+ (\S+)\)", path.get("transform", "")).group(1))


@pytest.mark.parametrize(("arch", "tooth"), [("maxilla", "26"), ("mandible", "36")])
@pytest.mark.parametrize("tooth_class", ["molar", "premolar"])
def test_buccal_sites_lie_on_the_buccal_side(arch, tooth, tooth_class):
    root = parsed(
        clearance_chart(
            chart(site("buccal_cusps"), site("lingual_cusps"), arch=arch, tooth=tooth,
                  tooth_class=tooth_class)
        )
    )  # fmt: skip
    above = _mark_y(root, "buccal_cusps") < _mark_y(root, "lingual_cusps")
    assert above is (arch == "maxilla")


@pytest.mark.parametrize(
    ("arch", "functional", "on_buccal"),
    [
        # trade.md 2.1: functional cusps are mandibular buccal and maxillary
        # palatal in the normal relation; a crossbite of the pair turns it round.
        ("mandible", None, True),
        ("maxilla", None, False),
        ("mandible", False, False),
        ("maxilla", True, True),
    ],
)
def test_bevel_lies_beyond_the_functional_cusps(arch, functional, on_buccal):
    root = parsed(
        clearance_chart(
            chart(site("functional_cusp_bevel"), site("central_fossa"), arch=arch,
                  functional_buccal=functional)
        )
    )  # fmt: skip
    above = _mark_y(root, "functional_cusp_bevel") < _mark_y(root, "central_fossa")
    assert above is (on_buccal == (arch == "maxilla"))


@pytest.mark.parametrize(
    ("verdict", "count"),
    [("insufficient", 1), ("undecided", 1), ("sufficient", 0), ("unmeasured", 0)],
)
def test_a_short_row_says_somewhere_in_it_and_is_one_mark(verdict, count):
    root = parsed(clearance_chart(chart(site("lingual_cusps", verdict))))
    assert texts(root).count("somewhere in this row") == count
    (group,) = groups(root, site="lingual_cusps", part="surface")
    assert len(verdicts(group)) == 1


def test_a_short_cusp_says_nothing_about_its_row():
    root = parsed(clearance_chart(chart(site("distal_cusp"))))
    assert "somewhere in this row" not in texts(root)


@pytest.mark.parametrize("kind", ["incisor", "canine", "premolar", "molar"])
@pytest.mark.parametrize("arch", ["maxilla", "mandible"])
def test_every_site_of_the_design_can_be_drawn_on_every_class(kind, arch):
    tooth = {"incisor": "1", "canine": "3", "premolar": "5", "molar": "6"}[kind]
    marks = tuple(site(key, "undecided") for key in SITES)
    svg = clearance_chart(chart(*marks, arch=arch, tooth_class=kind, tooth=f"1{tooth}"))
    assert len(verdicts(parsed(svg))) == 2 * len(SITES)


def _scale(**changes):
    root = parsed(clearance_chart(chart(site(**changes))))
    (group,) = groups(root, site="central_fossa", part="scale")
    return group


def _open_ends(group):
    return [p for p in group.iter(f"{SVG}path") if p.get("data-end") == "open"]


@pytest.mark.parametrize(
    ("low", "high", "arrows", "said"),
    [
        ("1", "1.5", 0, "1.0 to 1.5"),
        ("2", None, 1, "2.0 or more"),
        (None, "1.5", 1, "under 1.5"),
        ("1.25", "1.75", 0, "1.25 to 1.75"),
    ],
)
def test_open_ends_carry_an_arrow_and_words(low, high, arrows, said):
    group = _scale(low_mm=low, high_mm=high)
    assert len(_open_ends(group)) == arrows
    assert said in texts(group)


def test_no_reading_draws_no_bar():
    group = _scale(verdict="unmeasured", low_mm=None, high_mm=None)
    assert not [e for e in group.iter() if e.get("data-reading")]
    assert "no reading" in texts(group)


@pytest.mark.parametrize(
    ("u", "said", "lines"),
    [(None, "1.7", 0), ("0.1", "1.7 \N{PLUS-MINUS SIGN} 0.2", 3)],
)
def test_a_point_is_a_dot_with_whiskers_of_two_u(u, said, lines):
    group = _scale(low_mm="1.7", high_mm="1.7", is_point=True, u_mm=u)
    (dot,) = [e for e in group.iter() if e.get("data-reading")]
    assert (dot.tag, dot.get("data-reading")) == (f"{SVG}circle", "point")
    assert said in texts(group)
    strokes = [p for p in group.iter(f"{SVG}path") if p.get("stroke-width") == "2"]
    assert len(strokes) == lines
    ticks = {t.text: number(t, "x") for t in group.iter(f"{SVG}text")}
    for whisker in strokes[:1]:
        x1, _, x2, _ = map(float, re.findall(r"[\d.]+", whisker.get("d")))
        assert x2 - x1 == pytest.approx(0.4 * (ticks["1"] - ticks["0"]), abs=0.05)


def test_bar_lies_in_proportion_on_the_scale():
    group = _scale(low_mm="1", high_mm="1.5", need_mm="1.5")
    (bar,) = [e for e in group.iter() if e.get("data-reading") == "interval"]
    ticks = {t.text: number(t, "x") for t in group.iter(f"{SVG}text")}
    one = ticks["1"] - ticks["0"]
    assert float(bar.get("x")) == pytest.approx(ticks["1"], abs=0.02)
    assert float(bar.get("width")) == pytest.approx(one / 2, abs=0.02)


def test_interpenetration_and_far_readings_stay_on_the_paper():
    """A scan may report a negative gap; a caliper may read up to 20 mm."""
    for value, said in (("-0.3", "\N{MINUS SIGN}0.3"), ("20", "20.0")):
        group = _scale(low_mm=value, high_mm=value, is_point=True)
        (dot,) = [e for e in group.iter() if e.get("data-reading")]
        assert 266 <= float(dot.get("cx")) <= 556
        assert said in texts(group)
        assert len(_open_ends(group)) == 1


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        ((site(need_mm="1", target_mm="1", low_mm="0.5", high_mm="1"),), 2.0),
        ((site(need_mm="2", target_mm="2", low_mm="2", high_mm=None),), 2.5),
        ((site(need_mm="3.5", target_mm="3.5", low_mm=None, high_mm=None),), 4.0),
        ((site(low_mm="20", high_mm="20"),), 6.0),
        ((site(need_mm=None, target_mm=None, low_mm=None, high_mm=None),), 2.5),
    ],
)
def test_shared_maximum_leaves_room_beyond_the_largest_figure(marks, expected):
    assert shared_maximum(marks) == expected


def test_decimal_sign_follows_the_captions():
    drawn = chart(captions=Captions(point=","))
    assert chart_rows(drawn)[0][2:5] == ("1,5", "1,5", "1,0 to 1,5")
    assert "need 1,5" in texts(parsed(clearance_chart(drawn)))


@pytest.mark.parametrize(
    "broken",
    [
        chart(site("occlusal")), chart(site(verdict="fine")), chart(arch="upper"),
        chart(tooth_class="tusk"),
    ],
)  # fmt: skip
def test_unknown_keys_are_refused(broken):
    with pytest.raises(KeyError):
        clearance_chart(broken)


def test_a_site_twice_is_refused():
    with pytest.raises(ValueError, match="each site once"):
        clearance_chart(chart(site(), site()))


def test_same_data_same_drawing():
    assert clearance_chart(LOWER_MOLAR) == clearance_chart(LOWER_MOLAR)

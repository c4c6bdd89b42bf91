"""What holds of all six pictures: allowed markup, names, places, colours, sameness."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from cases.drawings.contrast import contrast_ratio, tokens_of
from cases.drawings.svg import FONT
from tests.cases.charts.geometry import path_boxes, text_boxes, view_of
from tests.cases.charts.samples import DRAWN, HOSTILE, PLAIN, WORDS, wild
from tests.cases.drawings.reading import SVG, parsed

NAMES = sorted(DRAWN)
SEEDS = range(8)
SHEET = (
    Path(__file__).parents[3] / "cases" / "static" / "cases" / "app.css"
).read_text()
ALLOWED = {
    "svg": {"viewBox", "role", "aria-labelledby", "font-family", "class"},
    "title": {"id"},
    "desc": {"id"},
    "defs": set(),
    "pattern": {"id", "patternUnits", "width", "height"},
    "g": {"data-mark"},
    "path": {
        "d", "fill", "fill-opacity", "fill-rule", "stroke", "stroke-width",
        "stroke-dasharray", "stroke-linejoin", "class", "transform", "data-verdict",
    },
    "text": {"x", "y", "font-size", "font-weight", "text-anchor", "fill", "class"},
}  # fmt: skip


def drawn(name, subject, *, narrow=False, words=WORDS, uid="u1"):
    return DRAWN[name][0](subject, words=words, uid=uid, narrow=narrow)


def both(name):
    """The plain picture and the wild ones, wide and narrow."""
    for narrow in (False, True):
        yield drawn(name, PLAIN[name], narrow=narrow)
        for seed in SEEDS:
            yield from filter(None, [drawn(name, wild(name, seed), narrow=narrow)])


@pytest.fixture(scope="module")
def pictures():
    return {name: [parsed(svg) for svg in both(name)] for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_only_allowed_elements_and_attributes(pictures, name):
    assert len(pictures[name]) > len(SEEDS)
    for root in pictures[name]:
        for element in root.iter():
            kind = element.tag.removeprefix(SVG)
            assert set(element.attrib) <= ALLOWED[kind], kind
            if not kind.startswith(("title", "desc", "text")):
                assert not (element.text or "").strip()


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_it_is_named_and_ids_are_its_own(name, narrow):
    root = parsed(drawn(name, PLAIN[name], narrow=narrow, uid='u 1"<'))
    title, described = (root.find(f"{SVG}{part}") for part in ("title", "desc"))
    assert title is not None
    assert described is not None
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {described.get('id')}"
    assert title.text
    assert described.text == DRAWN[name][1](PLAIN[name], words=WORDS)
    ids = [one.attrib["id"] for one in root.iter() if "id" in one.attrib]
    assert len(ids) == len(set(ids))
    assert all(one.startswith("u1-") for one in ids)
    assert set(re.findall(r"url\(#([^)]+)\)", ET.tostring(root, "unicode"))) <= {*ids}


@pytest.mark.parametrize("name", NAMES)
def test_it_scales_and_the_narrow_one_is_for_a_phone(name):
    wide, narrow = (
        parsed(drawn(name, PLAIN[name], narrow=one)) for one in (False, True)
    )
    assert view_of(wide).right == 740
    assert view_of(narrow).right == 340
    assert wide.get("class") == "chart chart-wide"
    assert narrow.get("class") == "chart chart-stacked"
    assert wide.get("font-family") == FONT


@pytest.mark.parametrize("name", NAMES)
def test_nothing_lies_outside(pictures, name):
    for root in pictures[name]:
        view = view_of(root)
        for box in [*text_boxes(root), *path_boxes(root)]:
            assert box.left >= view.left - 0.05, box
            assert box.top >= view.top - 0.05, box
            assert box.right <= view.right + 0.05, box
            assert box.bottom <= view.bottom + 0.05, box


@pytest.mark.parametrize("name", NAMES)
def test_no_words_lie_on_each_other(pictures, name):
    for root in pictures[name]:
        boxes = list(text_boxes(root))
        # Letters in marks stand where the data put them.
        said = [one for one in boxes if not re.fullmatch("[A-Z]{1,2}", one.said)]
        for index, one in enumerate(said):
            for other in said[index + 1 :]:
                assert not one.meets(other), (one, other)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_it_is_the_same_every_time(name, narrow):
    first = drawn(name, PLAIN[name], narrow=narrow)
    assert drawn(name, PLAIN[name], narrow=narrow) == first
    again = partial(drawn, name, PLAIN[name], narrow=narrow)
    with ThreadPoolExecutor(4) as pool:
        found = [pool.submit(again) for _ in range(8)]
        assert {one.result() for one in found} == {first}


@pytest.mark.parametrize("name", NAMES)
def test_hostile_words_stay_words(name):
    plain = ("cause", "rate", "hidden", "queries", "limits", f"{name}_title")
    captions: dict[str, Any] = dict.fromkeys(plain, HOSTILE)
    words = replace(WORDS, **captions)
    for seed in SEEDS:
        svg = drawn(name, wild(name, seed), words=words)
        assert "<script" not in svg
        assert "\x00" not in svg
        if svg:
            parsed(svg)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_every_colour_has_the_class_that_the_sheet_replaces(name, narrow):
    light = tokens_of(SHEET)["light"]
    rules = dict(
        re.findall(
            r"\.chart \.([\w-]+)(?=[^{}]*\{ ((?:fill|stroke): var\(--[\w-]+\)))", SHEET
        )
    )
    for element in parsed(drawn(name, PLAIN[name], narrow=narrow)).iter():
        for kind in ("fill", "stroke"):
            colour = element.get(kind, "none")
            if colour == "none" or colour.startswith("url("):
                continue
            found = [
                rules[one].removeprefix(f"{kind}: var(--").removesuffix(")")
                for one in element.get("class", "").split()
                if rules[one].startswith(kind)
            ]
            assert [light[token] for token in found] == [colour]


# WCAG 2.2, 1.4.3: 4.5 for words; 1.4.11: 3 for shapes that carry meaning.
@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_words_and_shapes_stand_out(name, mode):
    tokens = tokens_of(SHEET)[mode]
    grounds = [tokens["surface"], tokens["paper"], tokens["chart-room"]]
    roles = {
        "c-ink": ("ink", 4.5), "c-ink2": ("ink-2", 4.5), "c-line": ("ink", 3),
        "s-unmeasured": ("unmeasured", 3), "c-hair": ("edge", 3),
    }  # fmt: skip
    root = parsed(drawn(name, PLAIN[name]))
    used = {one for el in root.iter() for one in el.get("class", "").split()}
    assert {"c-ink", "c-ink2"} <= used
    for role, (token, least) in roles.items():
        if role in used:
            against = grounds if role != "c-hair" else grounds[:2]
            worst = min(contrast_ratio(tokens[token], one) for one in against)
            assert worst >= least, role
    assert contrast_ratio(tokens["surface"], tokens["ink"]) >= 4.5


@pytest.mark.parametrize("name", NAMES)
def test_it_needs_no_colour(name):
    """Two marks of different meaning differ in more than their colour."""
    looks: dict[str, set[tuple]] = {}
    for group in parsed(drawn(name, PLAIN[name])).iter(f"{SVG}g"):
        shape = next(group.iter(f"{SVG}path"))
        looks.setdefault(group.attrib["data-mark"], set()).add(
            (
                re.sub(r"[0-9 .\-]+", "", shape.attrib["d"]),
                shape.get("fill", "").startswith("url("),
                shape.get("fill") == "none",
                shape.get("fill") == "#ffffff",
                shape.get("stroke-dasharray"),
                shape.get("stroke-width"),
            )
        )
    apart = {
        "pareto": ("bar", "internal", "hidden"),
        "control": ("point", "incomplete"),
        "funnel": ("point", "hidden"),
        "dose": ("point", "hidden"),
        "waiting": ("bar", "hidden"),
        "flow": ("first-band", "hidden"),
    }[name]
    found = [looks[mark] for mark in apart]
    for index, one in enumerate(found):
        assert all(not one & other for other in found[index + 1 :])

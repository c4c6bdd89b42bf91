"""Trying a material by thresholds says what judging its unit anew would say."""

from dataclasses import replace

import pytest
from hypothesis import given, settings

from rules.check import run_check
from rules.explain import mm
from rules.payload import parse_check
from rules.requirements import Charge
from rules.terms import Doubt, Position, Verdict
from tests.rules.builders import SHIPPED, options_of, run, strip, unit
from tests.rules.strategies import bodies

CHANGES = ("change_material", "change_design")


def texts(messages):
    return [message.text() for message in messages]


def judged_anew(request, index, option):
    """Return the sites of a unit made as an option says, read as it is."""
    planned = replace(
        request.units[index],
        material=option.material,
        occlusal_surface=option.occlusal_surface,
        cementation=option.cementation,
    )
    units = tuple(
        planned if place == index else other
        for place, other in enumerate(request.units)
    )
    again = replace(request, units=units)
    return run_check(SHIPPED, again, options=False).units[index].sites


@pytest.mark.property
@settings(max_examples=120, deadline=None)
@given(bodies())
def test_thresholds_and_judging_agree(body):
    request = parse_check(body, rule_set=SHIPPED)
    result = run_check(SHIPPED, request)
    for index, judged in enumerate(result.units):
        for option in judged.options:
            if option.kind in CHANGES and option.material:
                agrees(request, index, option)


def agrees(request, index, option):
    reasons, said = texts(option.reasons), texts(option.consequences)
    if any("states no need for this material as" in text for text in reasons):
        return
    read: dict[str, list] = {}
    for site in judged_anew(request, index, option):
        if site.measured:
            # one surface read as clearance and as reduction has one name
            read.setdefault(site.label, []).append(site)
    for label, sites in read.items():
        short = [site for site in sites if site.verdict is Verdict.INSUFFICIENT]
        wanted = {f"At the {label}: it needs {mm(s.need_mm)} mm" for s in short}
        stated = [t for t in reasons if t.startswith(f"At the {label}: it needs")]
        assert {text.partition(", so")[0] for text in stated} == wanted
        unknown = any(Doubt.NO_NEED in site.doubts for site in sites)
        nothing = f"At the {label}: the rule set states no need for it."
        assert (nothing in reasons) is unknown
        if option.feasible:
            undecided = any(site.verdict is Verdict.UNDECIDED for site in sites)
            open_ = f"At the {label}: undecided in this material too."
            assert (open_ in said) is undecided


SHORT = [
    strip("buccal_cusps", passes=2.0),
    strip("lingual_cusps", passes=1.0, held=1.5),
    strip("central_fossa", passes=1.5),
]


def priced(*charges):
    return replace(SHIPPED, charges=charges)


def test_price_and_days_come_from_the_laboratorys_table():
    rule_set = priced(
        Charge("zirconia_4y", 5, "80 more"), Charge("zirconia_3y", 3, "60 more.")
    )
    found = [
        o
        for o in options_of(run(unit(*SHORT), rule_set=rule_set), "change_material")
        if o.feasible
    ]
    # the quickest first, what is not stated last
    assert [o.material for o in found[:2]] == ["zirconia_3y", "zirconia_4y"]
    assert "By the laboratory's table: 3 days, 60 more." in texts(found[0].consequences)
    assert "Price and days: ask the laboratory." in texts(found[2].consequences)


# Class 1 of ISO 6872 serves no posterior crown (ISO 6872:2015, table 1, from memory).
def test_a_class_too_weak_for_the_tooth_is_a_reason():
    roomy = [strip("buccal_cusps", passes=2.0), strip("lingual_cusps", passes=2.0)]
    result = run(unit(*roomy, strip("central_fossa", passes=1.0, held=1.2)))
    weak = SHIPPED.iso_6872_class("feldspathic")
    assert weak == 1
    (refused,) = [
        o for o in options_of(result, "change_material") if o.material == "feldspathic"
    ]
    assert (
        "From the class (ISO 6872): a crown on this tooth, cemented so, asks for class "
        "2, Feldspathic ceramic is class 1; the instructions for use decide."
    ) in texts(refused.reasons)
    veneer = run(
        unit(
            strip("incisal_edge", "protrusion", passes=0.5, held=0.7),
            tooth="11",
            kind="veneer",
            material="lithium_disilicate",
        )
    )
    thin = [o for o in options_of(veneer, "change_material") if "feld" in o.material]
    assert not any("From the class" in text for text in texts(thin[0].reasons))


def test_a_metal_is_judged_by_its_type():
    weak = replace(
        SHIPPED,
        materials=tuple(
            replace(m, iso_22674_type=1) if m.key == "full_metal" else m
            for m in SHIPPED.materials
        ),
    )
    (metal,) = [
        o
        for o in options_of(run(unit(*SHORT), rule_set=weak), "change_material")
        if o.material == "full_metal"
    ]
    assert texts(metal.reasons) == [
        "From the type (ISO 22674): a crown here asks for type 2, Full metal is type "
        "1; the instructions for use decide."
    ]


def test_what_strength_is_unknown_is_said():
    (metal,) = [
        o
        for o in options_of(run(unit(*SHORT)), "change_material")
        if o.material == "full_metal"
    ]
    assert SHIPPED.iso_22674_type("full_metal") is None
    said = texts(metal.consequences)
    assert "The alloy must be of type 2 or higher (ISO 22674)." in said
    (resin,) = [
        o
        for o in options_of(
            run(unit(strip("buccal_cusps", passes=1.5, held=2.0))), "change_material"
        )
        if o.material == "resin_ceramic"
    ]
    assert SHIPPED.iso_6872_class("resin_ceramic") is None
    assert any("neither class nor type" in t for t in texts(resin.consequences))


def test_a_shared_gap_is_tried_with_the_facing_part():
    shared = {
        "antagonist": "prepared",
        "antagonists": [{"tooth": "26", "kind": "crown", "material": "metal_ceramic"}],
        "planned_plane": True,
    }
    # 1.5 of the facing fossa and 2.0 of the own functional cusp, of 3.0 to 3.2
    result = run(unit(strip("buccal_cusps", passes=3.0, held=3.2), **shared))
    found = {
        (o.material, o.occlusal_surface): o
        for kind in CHANGES
        for o in options_of(result, kind)
    }
    refused = found["feldspathic", None]
    assert "At the buccal cusps: it needs 3.5 mm, so 0.5 mm may be missing." in texts(
        refused.reasons
    )
    assert found["metal_ceramic", "metal"].feasible
    loose = run(
        unit(strip("buccal_cusps", passes=3.0, held=3.2), antagonist="prepared")
    )
    (unknown,) = [
        o for o in options_of(loose, "change_material") if o.material == "full_metal"
    ]
    # Nothing is known of the facing tooth: no material settles that.
    assert not unknown.feasible
    assert texts(unknown.reasons) == [
        "It settles nothing: what is in doubt now stays in doubt in it."
    ]


def test_a_need_without_a_line_now_is_summed_up_for_a_material_with_one():
    trimmed = replace(
        SHIPPED,
        needs=tuple(n for n in SHIPPED.needs if n.material != "metal_ceramic"),
    )
    result = run(
        unit(
            strip("buccal_cusps", held=1.0),
            antagonist="prepared",
            antagonists=[{"tooth": "26", "kind": "crown", "material": "full_metal"}],
        ),
        rule_set=trimmed,
    )
    (gold,) = [
        o for o in options_of(result, "change_material") if o.material == "full_metal"
    ]
    # 1.5 and the facing fossa's 1.0
    assert texts(gold.reasons) == [
        "At the buccal cusps: it needs 2.5 mm, so 2.5 mm may be missing."
    ]


def test_a_line_that_asks_for_more_positions_leaves_its_material_open():
    """A line may require positions of its own; a material without it is not held."""
    strict = replace(
        SHIPPED,
        needs=tuple(
            replace(n, positions=(Position.PROTRUSION,))
            if n.material == "full_metal"
            else n
            for n in SHIPPED.needs
        ),
    )
    found = {
        o.material: texts(o.consequences)
        for o in options_of(run(unit(*SHORT), rule_set=strict), "change_material")
        if o.feasible
    }
    wanted = "At the central fossa: undecided in this material too."
    assert wanted in found["full_metal"]
    assert wanted not in found["zirconia_3y"]

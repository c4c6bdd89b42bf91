"""Ways out: re-preparation, material, measuring again, new record, accepted risk."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from rules.payload import parse_check
from rules.reprep import re_preparation
from rules.terms import Kind, Site
from tests.rules.builders import (
    PROTRUSION,
    SHIPPED,
    answer,
    options_of,
    point,
    run,
    site_of,
    strip,
    unit,
)

SHORT = [
    strip("buccal_cusps", passes=2.0),
    strip("lingual_cusps", passes=1.0, held=1.5),
    strip("central_fossa", passes=1.5),
]


def texts(messages):
    return [message.text() for message in messages]


def depth_of(result):
    (option,) = options_of(result, "re_preparation")
    return {site.value: (low, high) for site, low, high in option.depth_mm}


def test_a_sufficient_unit_needs_no_way_out():
    enough = [SHORT[0], strip("lingual_cusps", passes=1.5), SHORT[2]]
    assert run(unit(*enough)).units[0].options == ()


def test_an_unread_unit_is_measured_first():
    (only,) = run(unit()).units[0].options
    assert (only.kind, only.feasible) == ("re_measure", True)
    assert "At the buccal cusps: take the missing reading." in texts(only.consequences)


def test_re_preparation_says_where_how_deep_and_when_to_stop():
    result = run(unit(*SHORT))
    assert depth_of(result) == {"lingual_cusps": (D(0), D("0.5"))}
    (option,) = options_of(result, "re_preparation")
    assert texts(option.consequences) == [
        "At the lingual cusps, only where it is short: remove up to 0.5 mm and stop "
        "when the 1.5 mm strip "
        "slides.",
        "The lingual wall loses height: state it to check it.",
        "Judge the remaining dentine over the pulp first, and state it: caution below "
        "2.0 mm, stop at 0.5 mm.",
        "Afterwards: new readings, an impression and a jaw record.",
    ]


def test_depth_of_a_point_runs_from_the_need_to_the_target():
    result = run(unit(point("lingual_cusps", 0.8, 0.05), material="lithium_disilicate"))
    # need 1.0, target 1.5
    assert depth_of(result) == {"lingual_cusps": (D("0.2"), D("0.7"))}


def test_the_guard_band_never_asks_for_more_removal():
    result = run(unit(point("central_fossa", 1.52, 0.1)))
    (option,) = options_of(result, "re_preparation")
    assert not option.feasible
    assert texts(option.reasons) == [
        "No reading shows that more has to be removed anywhere."
    ]
    # need 0.7, target 1.0: the target alone takes nothing either
    above = run(unit(point("buccal_cusps", 0.75, 0.05), material="zirconia_3y"))
    assert site_of(above, "buccal_cusps").verdict == "undecided"
    assert depth_of(above) == {}
    unmeasured = run(
        unit(strip("lingual_surface", passes=0.5), tooth="21", material="zirconia_3y")
    )
    assert site_of(unmeasured, "lingual_surface").verdict == "undecided"
    assert depth_of(unmeasured) == {}
    below = run(unit(point("central_fossa", 1.45, 0.1)))
    assert depth_of(below) == {"central_fossa": (D("0.05"), D("0.05"))}


def test_a_missing_position_alone_cuts_nothing():
    result = run(unit(strip("lingual_surface", passes=1.5), tooth="11"))
    (option,) = options_of(result, "re_preparation")
    assert not option.feasible


@pytest.mark.parametrize("low", ["0.6", "0.8", "1.0", "1.2"])
@pytest.mark.parametrize("gap", ["0.1", "0.5"])
def test_after_removing_the_most_the_site_is_sufficient(low, gap):
    before = {"passes": float(D(low)), "held": float(D(low) + D(gap))}
    result = run(unit(strip("lingual_cusps", **before)))
    _least, most = depth_of(result)["lingual_cusps"]
    after = {key: float(D(str(value)) + most) for key, value in before.items()}
    again = run(unit(strip("lingual_cusps", **after)))
    assert again.units[0].sites[1].verdict == "sufficient"


# Molar walls, published minima 4 mm and ratio 0.4 (Goodacre et al. 2001, abstract):
# 4.3 mm on a base of 10, 0.5 to remove -> 3.8 and 0.38: too short, still feasible.
# 4.6 -> 4.1 and 0.41: stays above both.
@pytest.mark.parametrize(
    ("height", "expected"),
    [
        (
            4.3,
            "The lingual wall would fall from 4.3 to 3.8 mm (published minimum 4.0 mm) "
            "and from 0.43 to 0.38 of the base width (minimum 0.4): feasible with "
            "grooves, boxes or adhesive cementation; the clinician decides.",
        ),
        (
            4.6,
            "The lingual wall goes from 4.6 to 4.1 mm at least and from 0.46 to 0.41 "
            "of the base width, which is not below the published minima of 4.0 mm and "
            "0.4.",
        ),
    ],
)
def test_wall_heights_after_re_preparation(height, expected):
    result = run(
        unit(*SHORT, wall_heights_mm={"lingual": height, "facial": 1}, base_width_mm=10)
    )
    (option,) = options_of(result, "re_preparation")
    assert option.feasible
    said = texts(option.consequences)
    assert expected in said
    assert not any("facial" in text for text in said)
    assert sum("total convergence" in text for text in said) == 1


def test_wall_height_without_a_base_width():
    result = run(unit(*SHORT, wall_heights_mm={"lingual": 4.3}))
    (option,) = options_of(result, "re_preparation")
    assert (
        "The lingual wall would fall from 4.3 to 3.8 mm (published minimum 4.0 mm): "
        "feasible with grooves, boxes or adhesive cementation; the clinician decides."
        in texts(option.consequences)
    )


def test_deepening_the_fossa_costs_no_wall():
    result = run(unit(strip("central_fossa", held=1.0), wall_heights_mm={"facial": 3}))
    (option,) = options_of(result, "re_preparation")
    assert not any("wall" in text for text in texts(option.consequences))


def test_a_wall_that_would_vanish_makes_it_infeasible():
    result = run(unit(*SHORT, wall_heights_mm={"lingual": 0.5}))
    (option,) = options_of(result, "re_preparation")
    assert not option.feasible
    assert texts(option.reasons) == ["Nothing would be left of the lingual wall."]


def test_widths_and_reductions_say_how_to_stop():
    result = run(
        unit(
            point("finish_line", 0.6, 0.05, position=None, method="other"),
            point("facial_wall", 0.5, 0.05, position=None, method="index_probe"),
        )
    )
    said = texts(options_of(result, "re_preparation")[0].consequences)
    assert "At the finish line: widen by up to 0.4 mm and stop at 1.0 mm." in said
    assert (
        "At the facial wall: remove up to 0.7 mm and stop when the index shows 1.2 mm."
        in said
    )


def test_a_site_read_twice_over_takes_the_deeper_demand():
    result = run(
        unit(
            strip("incisal_edge", PROTRUSION, passes=1.0, held=1.5),
            point("incisal_edge", 1.2, 0.05, position=None, method="index_probe"),
            tooth="11",
        )
    )
    assert depth_of(result) == {"incisal_edge": (D("0.3"), D("1.0"))}


def test_disagreement_is_settled_before_anything_is_cut():
    result = run(
        unit(strip("central_fossa", held=1.0), strip("central_fossa", passes=1.5))
    )
    (option,) = options_of(result, "re_preparation")
    assert not option.feasible
    assert texts(option.reasons) == [
        "At the central fossa: verify and re-measure before anything is removed."
    ]
    (record,) = options_of(result, "new_jaw_record")
    assert record.feasible
    beside = run(
        unit(
            strip("central_fossa", held=1.0),
            strip("central_fossa", passes=1.5),
            *SHORT[:2],
        )
    )
    (option,) = options_of(beside, "re_preparation")
    assert option.feasible
    assert "At the central fossa: verify and re-measure" in " ".join(
        texts(option.consequences)
    )


def test_no_new_record_without_a_contradiction():
    assert options_of(run(unit(*SHORT)), "new_jaw_record") == []
    scan = run(unit(point("central_fossa", -0.2, method="scan")))
    assert len(options_of(scan, "new_jaw_record")) == 1


@pytest.mark.parametrize("kind", ["pontic", "implant_crown"])
def test_re_preparation_is_never_offered_where_nothing_is_prepared(kind):
    result = run(unit(*SHORT, kind=kind))
    assert options_of(result, "re_preparation") == []
    # not even if a rule set had a need that is not met
    request = parse_check({"units": [unit(*SHORT)]}, rule_set=SHIPPED)
    sites = run(unit(*SHORT)).units[0].sites
    assert re_preparation(replace(request.units[0], kind=Kind(kind)), sites) is None


def test_without_a_need_no_depth_is_stated():
    result = run(unit(*SHORT, kind="onlay"))
    (option,) = options_of(result, "re_preparation")
    assert not option.feasible
    assert "At the buccal cusps: without a need no depth can be stated." in texts(
        option.reasons
    )


def test_a_possible_shortage_is_measured_once_more_before_anything_is_cut():
    said = (
        "At the central fossa: the shortage is not proven. Measure once more before "
        "anything is removed."
    )
    for reading, doubtful in (
        (strip("central_fossa", passes=1.0), True),
        (point("central_fossa", 1.45, 0.1), True),
        (strip("central_fossa", passes=1.0, held=1.5), False),
    ):
        (option,) = options_of(run(unit(reading)), "re_preparation")
        assert (said in texts(option.consequences)) is doubtful


def test_the_strip_that_stops_an_excursion_is_held_in_the_excursion():
    result = run(unit(strip("buccal_cusps", "left_laterotrusion", held=1.5)))
    (option,) = options_of(result, "re_preparation")
    assert texts(option.consequences)[0] == (
        "At the buccal cusps, only where it is short: remove up to 2.0 mm and stop "
        "when the 2.0 mm strip "
        "slides in left laterotrusion."
    )


def test_a_wall_of_the_upper_jaw_is_palatal():
    for walls in ({}, {"lingual": 4.3}, {"lingual": 0.4}):
        found = run(
            unit(
                strip("lingual_cusps", passes=1.5, held=2.0),
                tooth="16",
                wall_heights_mm=walls,
                base_width_mm=10,
            )
        )
        (option,) = options_of(found, "re_preparation")
        said = " ".join(texts([*option.reasons, *option.consequences]))
        assert "palatal wall" in said
        assert "lingual" not in said


def test_depth_of_a_shared_gap_is_said_to_be_shared():
    result = run(
        unit(
            strip("buccal_cusps", held=3.0),
            antagonist="prepared",
            antagonists=[{"tooth": "26", "kind": "crown", "material": "metal_ceramic"}],
        )
    )
    (option,) = options_of(result, "re_preparation")
    assert "The depth is that of the gap: both preparations share it." in texts(
        option.consequences
    )
    # no strip is as thick as two needs
    assert "At the buccal cusps: widen the gap by up to 3.5 mm and stop at 3.5 mm." in (
        texts(option.consequences)
    )


def materials_of(result, index=0):
    return {
        (o.material, o.occlusal_surface): o
        for kind in ("change_design", "change_material")
        for o in options_of(result, kind, index)
        if o.material
    }


def test_every_other_material_is_offered_with_its_verdict():
    found = materials_of(run(unit(*SHORT)))
    assert {key for key, _surface in found} == {m.key for m in SHIPPED.materials}
    assert {o.material for o in found.values() if o.kind == "change_design"} == {
        "metal_ceramic"
    }
    feasible = {key for key, option in found.items() if option.feasible}
    assert feasible == {
        ("full_metal", None),
        ("metal_ceramic", "metal"),
        ("lithium_disilicate", None),
        ("lithium_disilicate_layered", "monolithic"),
        ("zirconia_3y", None),
        ("zirconia_3y_layered", "monolithic"),
        ("zirconia_4y", None),
        ("zirconia_5y", None),
    }
    refused = found["feldspathic", None]
    assert texts(refused.reasons) == [
        "At the lingual cusps: it needs 1.5 mm, so 0.5 mm may be missing.",
        "From the class (ISO 6872): a crown on this tooth, cemented so, asks for class "
        "2, Feldspathic ceramic is class 1; the instructions for use decide.",
    ]
    assert refused.consequences == ()
    assert ("metal_ceramic", "ceramic") not in found


def test_consequences_of_a_material():
    found = materials_of(run(unit(*SHORT)))
    bonded = texts(found["lithium_disilicate", None].consequences)
    assert bonded[:2] == [
        "Nothing is removed. A new prescription revision is signed.",
        "Price and days: ask the laboratory.",
    ]
    assert (
        "It is cemented adhesively: the field must be kept dry, and the finish line is "
        "best in enamel."
    ) in bonded
    assert any("wear of the opposing tooth" in text for text in bonded)
    metal = texts(found["metal_ceramic", "metal"].consequences)
    assert "The occlusal surface shows metal: ask the patient." in metal
    assert not any("wear of the opposing tooth" in text for text in metal)
    gold = texts(found["full_metal", None].consequences)
    assert "The restoration shows metal all over: ask the patient." in gold
    # 5Y needs 1.2 of an interval [1.0, 1.5)
    undecided = texts(found["zirconia_5y", None].consequences)
    assert "At the lingual cusps: undecided in this material too." in undecided
    refused = materials_of(run(unit(*SHORT, kind="retainer")))["feldspathic", None]
    assert "The rule set states no need for this material as retainer." in texts(
        refused.reasons
    )


def test_the_other_cementation_of_the_own_material():
    result = run(
        unit(
            strip("lingual_cusps", passes=1.0, held=1.5),
            material="lithium_disilicate",
            cementation="conventional",
        )
    )
    own = [
        o
        for o in options_of(result, "change_material")
        if o.material == "lithium_disilicate"
    ]
    assert [(o.cementation, o.feasible) for o in own] == [("adhesive", True)]


def test_a_provisional_material_is_no_way_out_but_stays_visible():
    option = materials_of(run(unit(*SHORT)))["pmma_provisional", None]
    assert texts(option.reasons) == [
        "A provisional material makes no final restoration."
    ]
    own = run(unit(*SHORT, material="pmma_provisional"))
    assert own.verdict == "sufficient"
    short = run(unit(strip("buccal_cusps", held=0.9), material="pmma_provisional"))
    assert not any(
        o.feasible
        for o in options_of(short, "change_material")
        if "zirconia" not in o.material
    )


def test_a_need_missing_at_one_site_is_a_reason():
    trimmed = replace(
        SHIPPED,
        needs=tuple(
            n
            for n in SHIPPED.needs
            if not (n.material == "zirconia_3y" and n.site == "nonfunctional_cusp")
        ),
    )
    found = materials_of(run(unit(*SHORT), rule_set=trimmed))
    assert texts(found["zirconia_3y", None].reasons) == [
        "At the lingual cusps: the rule set states no need for it."
    ]


def test_accepting_a_risk_names_what_it_takes():
    (option,) = options_of(run(unit(*SHORT[:2])), "accept_risk")
    said = texts(option.consequences)
    assert "countersignature" in said[0]
    assert said[-1] == (
        "At the central fossa: nothing was measured, so nothing can be accepted."
    )
    contradicting = run(unit(SHORT[0], point("buccal_cusps", 1.4, 0.1)))
    (option,) = options_of(contradicting, "accept_risk")
    assert any("contradict each other" in t for t in texts(option.consequences))
    (option,) = options_of(run(unit(*SHORT, kind="onlay")), "accept_risk")
    said = " ".join(texts(option.consequences))
    assert "by what the room was judged" in said
    assert "unmet need" not in said
    (cleared,) = options_of(run(unit(point("central_fossa", 1.52, 0.1))), "accept_risk")
    assert any("within measuring uncertainty" in t for t in texts(cleared.consequences))


def test_measuring_again_is_honest_about_proven_shortage():
    proven = "The readings prove the shortage"
    (option,) = options_of(run(unit(*SHORT)), "re_measure")
    assert any(proven in text for text in texts(option.consequences))
    (option,) = options_of(run(unit(point("central_fossa", 1.52, 0.1))), "re_measure")
    assert not any(proven in text for text in texts(option.consequences))


def test_order_is_feasible_then_least_removal_then_least_change_then_time():
    options = run(unit(*SHORT)).units[0].options
    feasible = [(o.kind, o.referral, o.removal_mm) for o in options if o.feasible]
    assert feasible == [
        ("re_measure", None, 0),
        ("change_design", None, 0),
        *[("change_material", None, 0)] * 7,
        ("accept_risk", None, 0),
        ("refer", "orthodontics", 0),
        ("reduction_coping", None, D("0.5")),
        ("re_preparation", None, D("0.5")),
        ("adjust_opposing", None, D("0.5")),
        ("refer", "plane_correction", D("0.5")),
    ]
    flags = [o.feasible for o in options]
    assert flags == sorted(flags, reverse=True)


def test_options_as_json():
    options = answer(unit(*SHORT))["units"][0]["options"]
    by_kind = {
        (o["kind"], o.get("material"), o.get("occlusal_surface")): o for o in options
    }
    cut = by_kind["re_preparation", None, None]
    assert set(cut) == {
        "kind",
        "feasible",
        "reasons",
        "depth_mm",
        "removal_mm",
        "consequences",
    }
    assert cut["removal_mm"] == 0.5
    metal = by_kind["change_design", "metal_ceramic", "metal"]
    assert metal["cementation"] == "conventional"
    assert "depth_mm" not in metal
    assert all(isinstance(o["reasons"], list) for o in options)
    assert Site.LINGUAL_CUSPS.value in cut["depth_mm"]


@pytest.mark.parametrize(
    "keys", [{"kind": "onlay"}, {"antagonist": "prepared"}], ids=["no need", "facing"]
)
def test_measuring_again_is_no_way_out_where_no_reading_is_missing(keys):
    (option,) = options_of(run(unit(*SHORT, **keys)), "re_measure")
    assert not option.feasible
    assert "no reading" in texts(option.reasons)[0]
    (unread,) = options_of(run(unit(*SHORT[:2], **keys)), "re_measure")
    assert unread.feasible

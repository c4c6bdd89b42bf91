"""What no clinician would do is not offered: cuts on doubt, on the pulp, for looks.

Judged by a prosthodontist and a head technician: common practice, no source, except
where a source stands beside the check.
"""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from rules.terms import Verdict
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

REST = (strip("lingual_cusps", passes=1.5), strip("central_fossa", passes=1.5))
SHORT = strip("buccal_cusps", passes=1.5, held=2.0)


def texts(messages):
    return [message.text() for message in messages]


def only(result, kind, **wanted):
    (found,) = [
        option
        for option in options_of(result, kind)
        if all(getattr(option, key) == value for key, value in wanted.items())
    ]
    return found


def test_a_coping_is_refused_where_the_pulp_or_the_wall_would_not_bear_it():
    deep = strip("central_fossa", passes=1.0, held=1.5)
    fossa = (strip("buccal_cusps", passes=2.0), strip("lingual_cusps", passes=1.5))
    result = run(unit(*fossa, deep, tooth="37", dentine_mm=0.8))
    # 0.8 - 0.5 = 0.3, under the 0.5 of rules.dentine
    assert (
        "only 0.3 mm of dentine" in texts(only(result, "reduction_coping").reasons)[0]
    )

    low = {"facial": 1.4, "lingual": 3.2}
    result = run(unit(SHORT, *REST, tooth="37", wall_heights_mm=low))
    # 1.4 - 0.5 = 0.9, nearer than 1 mm to the finish line (trade teaching)
    assert texts(only(result, "reduction_coping").reasons) == [
        "Less than 1 mm of the facial wall would be left above the finish line."
    ]
    high = {"facial": 1.5, "lingual": 3.2}
    result = run(unit(SHORT, *REST, tooth="37", wall_heights_mm=high))
    assert only(result, "reduction_coping").feasible


def test_a_coping_does_not_stand_in_for_a_new_preparation():
    result = run(unit(point("buccal_cusps", 0), *REST))
    (reason,) = texts(only(result, "reduction_coping").reasons)
    assert reason.startswith("2.0 mm may be missing: more than 1.0 mm asks for a new")


def test_lengthening_the_crown_gives_no_dentine():
    walls = {"facial": 1.9, "lingual": 3.2}
    keys = {"tooth": "37", "wall_heights_mm": walls}
    held = strip("buccal_cusps", held=1.0)
    result = run(unit(held, *REST, **keys, dentine_mm=2.2))
    # 2.2 - 2.0 = 0.2
    (reason,) = texts(only(result, "refer", referral="crown_lengthening").reasons)
    assert "only 0.2 mm of dentine" in reason
    result = run(unit(held, *REST, **keys, dentine_mm=4.5))
    assert only(result, "refer", referral="crown_lengthening").feasible


@pytest.mark.parametrize(
    "referral", ["orthodontics", "plane_correction", "vertical_dimension"]
)
def test_no_other_treatment_is_sought_for_what_is_not_proven(referral):
    maybe = [
        unit(point("buccal_cusps", 1.9, 0.1), *REST, tooth=t) for t in ("36", "46")
    ]
    found = only(run(*maybe), "refer", referral=referral)
    assert texts(found.reasons) == [
        "The shortage is not proven: measure once more first."
    ]
    proven = [
        unit(point("buccal_cusps", 1.5, 0.1), *REST, tooth=t) for t in ("36", "46")
    ]
    assert only(run(*proven), "refer", referral=referral).feasible


def test_a_shortage_on_a_stale_reading_is_measured_again_before_anything_is_cut():
    result = run(unit(SHORT | {"stale": True}, *REST))
    (site,) = [s for s in result.units[0].sites if s.site == "buccal_cusps"]
    assert site.verdict == "insufficient"
    assert "Measure again." in site.sentences[1].text()
    again = "At the buccal cusps: the shortage is not proven. Measure once more before "
    for kind in ("re_preparation", "reduction_coping"):
        option = only(result, kind)
        assert option.consequences[0].text().startswith(again)
    assert not only(result, "adjust_opposing").feasible
    assert "The readings prove" not in " ".join(
        texts(only(result, "re_measure").consequences)
    )
    fresh = run(unit(SHORT, *REST))
    assert only(fresh, "adjust_opposing").feasible
    assert "The readings prove" in texts(only(fresh, "re_measure").consequences)[0]


@pytest.mark.parametrize(
    "readings",
    [
        (strip("lingual_surface", passes=1.5),),  # protrusion is missing
        (
            strip("lingual_surface", passes=1.5) | {"stale": True},
            strip("lingual_surface", PROTRUSION, passes=1.5),
        ),
    ],
)
def test_no_material_is_offered_for_a_doubt_no_material_settles(readings):
    result = run(unit(*readings, tooth="12", material="zirconia_4y"))
    found = options_of(result, "change_material")
    assert found
    assert not any(option.feasible for option in found)


def test_a_thinner_material_is_offered_for_a_doubt_it_settles():
    result = run(unit(point("buccal_cusps", 1.9, 0.12), *REST))
    assert only(result, "change_material", material="zirconia_3y").feasible
    layered = only(
        result,
        "change_material",
        material="lithium_disilicate_layered",
        occlusal_surface="ceramic",
    )
    assert not layered.feasible  # 2.0 too


def test_what_is_settled_comes_before_what_stays_undecided_and_gold_in_front_last():
    result = run(
        unit(
            strip("lingual_surface", passes=1.0),
            strip("lingual_surface", PROTRUSION, passes=0.7, held=1.0),
            strip("incisal_edge", PROTRUSION, passes=2.0),
            tooth="11",
            material="lithium_disilicate",
        )
    )
    found = [o for o in options_of(result, "change_material") if o.feasible]
    open_ = [any("undecided" in t for t in texts(o.consequences)) for o in found]
    assert open_ == sorted(open_)
    settled = [o.material for o, doubt in zip(found, open_, strict=True) if not doubt]
    assert settled[-1] == "full_metal"
    assert len(settled) > 1


@pytest.mark.parametrize("kind", ["inlay", "veneer"])
def test_the_opposing_tooth_gives_no_room_to_what_lies_in_its_own_tooth(kind):
    inlay = unit(
        strip("central_fossa", passes=1.0, held=1.5),
        kind="inlay",
        material="full_metal",
    )
    veneer = unit(
        strip("incisal_edge", PROTRUSION, held=0.8),
        point("facial_surface", 0.6, 0.02, None, "index_probe"),
        tooth="11",
        kind="veneer",
        material="feldspathic",
    )
    result = run(inlay if kind == "inlay" else veneer)
    assert texts(only(result, "adjust_opposing").reasons) == [
        f"The room of this {kind} is cut in its own tooth."
    ]
    assert not only(result, "refer", referral="orthodontics").feasible


def test_nothing_beyond_the_tooth_itself_is_done_for_a_provisional():
    result = run(
        unit(
            strip("buccal_cusps", passes=1.0),
            strip("lingual_cusps", passes=0.5, held=1.0),
            strip("central_fossa", passes=1.0),
            tooth="16",
            material="pmma_provisional",
        )
    )
    assert "No other tooth is cut for a provisional." in texts(
        only(result, "adjust_opposing").reasons
    )
    assert not only(result, "reduction_coping").feasible
    assert not any(option.feasible for option in options_of(result, "refer"))


def test_a_target_beyond_the_need_is_told_as_a_recommendation():
    result = run(
        unit(
            strip("buccal_cusps", passes=1.5),
            point("lingual_cusps", 0.8, 0.05),
            strip("central_fossa", passes=1.0),
            material="lithium_disilicate",
        )
    )
    said = texts(only(result, "re_preparation").consequences)
    assert said[1] == "At the lingual cusps: 1.0 mm is needed, 1.5 mm is recommended."
    assert not any(
        "recommended" in text
        for text in texts(only(run(unit(SHORT, *REST)), "re_preparation").consequences)
    )


def test_the_opposing_tooth_never_comes_before_the_prepared_one():
    result = run(
        unit(
            strip("buccal_cusps", passes=1.5),
            point("lingual_cusps", 0.8, 0.05),
            strip("central_fossa", passes=1.0),
            material="lithium_disilicate",
        )
    )
    # The opposing tooth would lose 0.2, the prepared one up to its target 0.7.
    feasible = [o.kind for o in result.units[0].options if o.feasible]
    assert feasible.index("re_preparation") < feasible.index("adjust_opposing")
    plane = only(result, "refer", referral="plane_correction")
    own = only(result, "re_preparation")
    options = result.units[0].options
    assert options.index(own) < options.index(plane)


def test_a_facial_wall_is_veneered_over_a_metal_occlusal_surface_too():
    wall = point("facial_wall", 0.7, 0.05, None, "index_probe")
    metal = run(unit(wall, *REST, occlusal_surface="metal"))
    assert site_of(metal, "facial_wall").verdict is Verdict.INSUFFICIENT
    lingual = point("lingual_wall", 0.7, 0.05, None, "index_probe")
    metal = run(unit(lingual, *REST, occlusal_surface="metal"))
    assert site_of(metal, "lingual_wall").verdict is Verdict.SUFFICIENT


def test_what_nobody_read_is_named_where_another_material_needs_more():
    short = strip("buccal_cusps", passes=1.0, held=1.5)
    rest = (strip("lingual_cusps", passes=1.0), strip("central_fossa", passes=1.0))
    gold = run(unit(short, *rest, material="full_metal"))
    zirconia = only(gold, "change_material", material="zirconia_4y")
    said = texts(zirconia.consequences)
    # 0.5 and 0.3 for full metal, 0.7 and 0.5 for zirconia 4Y
    assert (
        "At the facial wall, not read: it needs 0.7 mm, more than planned now." in said
    )
    assert (
        "At the finish line, not read: it needs 0.5 mm, more than planned now." in said
    )
    line = point("finish_line", 0.6, 0.02, None, "index_probe")
    read = run(unit(short, *rest, line, material="full_metal"))
    said = texts(only(read, "change_material", material="zirconia_4y").consequences)
    assert not any("finish line, not read" in text for text in said)
    ceramic = only(run(unit(SHORT, *REST)), "change_material", material="zirconia_3y")
    assert not any("not read" in text for text in texts(ceramic.consequences))


def test_a_risk_is_accepted_in_millimetres():
    said = texts(only(run(unit(SHORT, *REST)), "accept_risk").consequences)
    assert "At the buccal cusps: up to 0.5 mm less than the 2.0 mm needed." in said
    through = run(unit(point("buccal_cusps", -0.2, 0.05, method="scan"), *REST))
    said = texts(only(through, "accept_risk").consequences)
    assert any("the scan passes through the antagonist" in text for text in said)
    assert not any("contradict" in text for text in said)


def test_a_shared_gap_is_no_over_reduction():
    facing = {"tooth": "26", "kind": "crown", "material": "metal_ceramic"}
    shared = {"antagonist": "prepared", "antagonists": [facing], "planned_plane": True}
    # The gap of 3.8 serves two crowns: it is not compared with one crown's 2.0.
    both = run(unit(point("central_fossa", 3.8, 0.05), **shared))
    assert not any(
        "More than" in note.text() for note in site_of(both, "central_fossa").notes
    )
    alone = run(unit(point("central_fossa", 3.8, 0.05)))
    assert any(
        "More than 2.0 mm" in note.text()
        for note in site_of(alone, "central_fossa").notes
    )


def test_no_strip_is_asked_for_that_nobody_has():
    pontic = run(unit(strip("buccal_cusps", passes=2.0), kind="pontic"))
    assert site_of(pontic, "buccal_cusps").advice.text() == (
        "At the buccal cusps: at least 2.0 mm, of 4.5 mm needed. Measure it by another "
        "method: strips are rarely that thick."
    )
    crown = run(unit(strip("buccal_cusps", passes=1.5)))
    assert "Try a thicker strip." in site_of(crown, "buccal_cusps").advice.text()


def test_a_span_is_called_not_indicated_once():
    units = [
        unit(tooth="13", kind="retainer", material="lithium_disilicate", span="A"),
        unit(tooth="12", kind="pontic", material="lithium_disilicate", span="A"),
    ]
    (span,) = answer(*units)["spans"]
    assert "is not indicated." in " ".join(span["faults"])
    assert not any("not indicated" in note for note in span["notes"])


def test_a_provisional_bridge_is_not_asked_for_a_class_or_an_alloy():
    keys = {"material": "pmma_provisional", "span": "A"}
    units = [
        unit(tooth="34", kind="retainer", **keys),
        unit(tooth="35", kind="retainer", **keys),
    ]
    (span,) = answer(*units)["spans"]
    assert not any("ISO 22674" in note for note in span["notes"])


def test_the_class_of_a_product_is_no_way_round_its_instructions_for_use():
    generic = SHIPPED.material("zirconia_3y")
    assert generic is not None
    product = replace(generic, key="sample", label="Sample", under="zirconia_3y")
    (line,) = [
        need
        for need in SHIPPED.needs
        if need.material == "zirconia_3y"
        and need.site == "functional_cusp"
        and "crown" in need.kinds
    ]
    own = replace(line, material="sample", min_mm=D("1.2"), target_mm=D("1.5"))
    held = replace(
        SHIPPED,
        materials=(*SHIPPED.materials, product),
        needs=(*SHIPPED.needs, own),
    )
    readings = (strip("buccal_cusps", passes=0.7, held=1.0), *REST)
    result = run(unit(*readings, material="sample"), rule_set=held)
    found = only(result, "change_material", material="zirconia_3y")
    assert not found.feasible
    assert "its instructions for use hold" in texts(found.reasons)[0]
    # A product of another class is free to be chosen.
    result = run(unit(*readings, material="zirconia_4y"), rule_set=held)
    assert only(result, "change_material", material="zirconia_3y").feasible


# From memory, to be confirmed: 7.0 mm under cement, 5.0 mm under a screw.
@pytest.mark.parametrize(
    ("retention", "verdict", "need"),
    [
        ("screw", "sufficient", 5),
        ("cement", "insufficient", 7),
        (None, "insufficient", 7),
    ],
)
def test_a_screw_retained_crown_is_held_to_its_own_figure(retention, verdict, need):
    platform = point("implant_platform", 6, 0.1)
    keys = {} if retention is None else {"retention": retention}
    result = run(unit(platform, kind="implant_crown", **keys))
    site = site_of(result, "implant_platform")
    assert (site.verdict.value, site.need_mm) == (verdict, need)


@pytest.mark.parametrize(("room", "helps"), [(6, True), (4, False)])
def test_a_screw_is_offered_where_it_makes_the_room_enough(room, helps):
    platform = point("implant_platform", room, 0.1)
    result = run(unit(platform, kind="implant_crown", retention="cement"))
    found = only(result, "change_design", retention="screw")
    assert found.feasible is helps
    if not helps:
        assert "screw-retained it needs 5.0 mm too" in texts(found.reasons)[0]

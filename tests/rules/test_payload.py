"""JSON into requests: what is read, and every fault with its pointer."""

from decimal import Decimal as D

import pytest

from rules.errors import InvalidPayload
from rules.payload import MAX_UNITS, dump_request, parse_check, parse_units
from rules.terms import Cementation, OcclusalSurface, Relation, Wall
from rules.unit_reader import MAX_READINGS
from tests.rules.builders import MIP, PROTRUSION, SHIPPED, point, strip, unit


def parse(*units, **keys):
    return parse_check({"units": list(units), **keys}, rule_set=SHIPPED)


def faults(*units, **keys):
    """Return pointer -> message of everything refused."""
    with pytest.raises(InvalidPayload) as caught:
        parse(*units, **keys)
    found = {fault.pointer: fault.text() for fault in caught.value.faults}
    assert len(found) == len(caught.value.faults)
    return found


def only_fault(*units, **keys):
    (found,) = faults(*units, **keys).items()
    return found


def test_a_request_is_read_with_what_is_usual_filled_in():
    request = parse(
        unit(
            strip("buccal_cusps", passes="2,0"),
            wall_heights_mm={"lingual": 4.8, "facial": "4.6"},
            base_width_mm=10,
            span=1,
        ),
        decision={"k": "0.5"},
        laboratory="LAB1",
    )
    (only,) = request.units
    assert only.cementation is Cementation.CONVENTIONAL
    assert only.occlusal_surface is OcclusalSurface.CERAMIC
    assert only.readings[0].passes_mm == D(2)
    assert only.wall_heights_mm == ((Wall.FACIAL, D("4.6")), (Wall.LINGUAL, D("4.8")))
    assert (only.base_width_mm, only.span) == (D(10), "1")
    assert (request.k, request.laboratory, request.rule_set) == (D("0.5"), "LAB1", None)
    assert parse_check(dump_request(request), rule_set=SHIPPED) == request


def test_units_alone_are_read_for_drafts():
    (only,) = parse_units([unit()], rule_set=SHIPPED)
    assert only.tooth == "36"
    with pytest.raises(InvalidPayload) as caught:
        parse_units([{"tooth": "99"}], rule_set=SHIPPED, pointer="/draft")
    assert {f.pointer for f in caught.value.faults} == {
        "/draft/0/tooth",
        "/draft/0/kind",
        "/draft/0/material",
        "/draft/0/relation",
        "/draft/0/antagonist",
        "/draft/0/readings",
    }


def test_all_faults_are_collected_at_once():
    found = faults(
        unit(
            strip("buccal_cusps", passes="NaN"),
            point("lingual_cusps", "abc"),
            tooth="99",
            material="gold_foil",
            colour="Tab 2",
        ),
        unit(tooth="37", relation="upside_down"),
        decision={"k": 9},
    )
    assert set(found) == {
        "/units/0/tooth",
        "/units/0/material",
        "/units/0/colour",
        "/units/0/readings/0/passes_mm",
        "/units/0/readings/1/value_mm",
        "/units/1/relation",
        "/decision/k",
    }
    assert "buccal_cusps" not in found["/units/0/material"]
    assert "zirconia_3y" in found["/units/0/material"]


@pytest.mark.parametrize("body", [None, [], "x", 1, True, 1.5])
def test_a_body_that_is_no_object(body):
    with pytest.raises(InvalidPayload) as caught:
        parse_check(body, rule_set=SHIPPED)
    assert [f.pointer for f in caught.value.faults] == [""]


@pytest.mark.parametrize(
    ("tooth", "words"),
    [
        ("19", "Universal 19 would be 36"),
        ("A", "Universal A would be 55"),
        ("55", "primary tooth"),
        ("99", "two digits of ISO 3950"),
        ("0", "two digits"),
        ("#30", "two digits"),
        ("UR6", "two digits"),
        ("4 6", "two digits"),
        ("", "two digits"),
        (36, 'Write the tooth as text: "36".'),
        (True, "“true” is no tooth"),
        (None, "“null” is no tooth"),
        ({}, "“{…}” is no tooth"),
        ([], "“[…]” is no tooth"),
        pytest.param(10**5000, "“…” is no tooth", id="huge"),
        (1.5, "“1.5” is no tooth"),
        ("x" * 500, "x…” is no tooth"),
        ("3\n6", "“3?6” is no tooth"),
    ],
)
def test_what_is_no_permanent_tooth(tooth, words):
    pointer, message = only_fault(unit(tooth=tooth))
    assert pointer == "/units/0/tooth"
    assert words in message
    assert len(message) < 150


def test_values_of_unheard_of_types_are_refused():
    pointer, message = only_fault(unit(tooth=object()))
    assert message.startswith("“…” is no tooth")
    assert pointer == "/units/0/tooth"


def test_a_tooth_used_twice():
    assert only_fault(unit(), unit()) == (
        "/units/1/tooth",
        "Tooth 36 stands twice: one unit for each tooth.",
    )


def test_at_most_sixty_units_and_at_least_one():
    assert MAX_UNITS == 60
    assert only_fault(*[unit()] * 61) == (
        "/units",
        "At most 60 entries are read here, 61 were sent.",
    )
    assert only_fault() == ("/units", "At least 1 entry belongs here.")
    with pytest.raises(InvalidPayload, match="/units: A list belongs here"):
        parse_check({"units": {}}, rule_set=SHIPPED)


def test_a_reading_list_has_a_limit():
    readings = [strip("buccal_cusps", passes=2)] * (MAX_READINGS + 1)
    pointer, _message = only_fault(unit(*readings))
    assert pointer == "/units/0/readings"


def test_unknown_keys_are_faults_and_a_flood_is_summed_up():
    assert faults(unit(sharde="Tab 2"), extra=1) == {
        "/extra": "“extra” is not a field here. Known fields: connectors, decision, "
        "explain, laboratory, rule_set, units.",
        "/units/0/sharde": "“sharde” is not a field here. Known fields: antagonist, "
        "antagonists, base_width_mm, cementation, convergence_deg, dentine_mm, kind, "
        "material, not_applicable, occlusal_surface, planned_plane, readings, "
        "relation, retention, span, tooth, wall_heights_mm.",
    }
    flood = faults(unit(), **{f"x{i}": 1 for i in range(5000)})
    assert len(flood) == 11
    assert flood[""] == "4990 more fields are not known here."


def test_pointers_are_escaped_and_short():
    found = faults(unit(), **{"a/b~c": 1, "k" * 500: 2})
    assert "/a~1b~0c" in found
    assert max(len(pointer) for pointer in found) < 60


def test_missing_keys_are_named():
    incomplete = unit()
    del incomplete["relation"]
    assert only_fault(incomplete) == (
        "/units/0/relation",
        "“relation” is missing: state it.",
    )
    found = faults(unit({}))
    assert set(found) == {"/units/0/readings/0/site", "/units/0/readings/0/method"}


@pytest.mark.parametrize(
    "keys",
    [
        {"units": [1]},
        {"units": [unit(1)]},
        {"units": [unit(antagonists=[1], antagonist="prepared")]},
        {"units": [unit(wall_heights_mm=[])]},
        {"units": [unit(wall_heights_mm={"top": 1})]},
        {"units": [unit(planned_plane="yes")]},
        {"units": [unit(span="")]},
        {"units": [unit(span=True)]},
        {"units": [unit(base_width_mm=0)]},
        {"units": [unit(material=5)]},
        {"units": [unit(occlusal_surface="gold")]},
        {"units": [unit()], "decision": 1},
        {"units": [unit()], "decision": {}},
        {"units": [unit()], "decision": {"k": -1}},
        {"units": [unit()], "decision": {"k": 0.12345}},
        {"units": [unit()], "laboratory": ""},
        {"units": [unit()], "rule_set": 5},
        {"units": [unit()], "rule_set": "a", "laboratory": "b"},
    ],
)
def test_other_bad_values(keys):
    with pytest.raises(InvalidPayload) as caught:
        parse_check(keys, rule_set=SHIPPED)
    assert len(caught.value.faults) == 1


# ---- what fits together in a unit ---------------------------------------------


def test_a_kind_that_does_not_fit_the_tooth():
    assert only_fault(unit(tooth="11", kind="inlay")) == (
        "/units/0/kind",
        "“inlay” does not fit tooth 11: choose another kind.",
    )
    only_fault(unit(strip("buccal_cusps", passes=2), tooth="36", kind="veneer"))


def test_a_material_the_rule_set_lacks():
    pointer, message = only_fault(unit(material="gold"))
    assert pointer == "/units/0/material"
    assert message.startswith("The rule set has no material “gold”. It has: full_metal")


def test_cementation_and_surface_must_be_offered():
    assert only_fault(unit(material="feldspathic", cementation="conventional")) == (
        "/units/0/cementation",
        "feldspathic is not cemented that way: adhesive.",
    )
    assert only_fault(unit(material="zirconia_3y", occlusal_surface="metal")) == (
        "/units/0/occlusal_surface",
        "zirconia_3y has no choice of occlusal surface: leave it out.",
    )


def test_a_site_the_tooth_does_not_have():
    pointer, message = only_fault(unit(strip("incisal_edge", passes=2)))
    assert pointer == "/units/0/readings/0/site"
    assert message.startswith("Tooth 36 as crown has no incisal_edge. Sites there:")
    only_fault(unit(strip("distal_cusp", passes=2), tooth="37"))
    _pointer, contact = only_fault(
        unit(strip("facioincisal_surface", passes=2), tooth="11")
    )
    assert "meets its antagonist by its lingual_surface" in contact
    assert parse(
        unit(strip("facioincisal_surface", passes=2), tooth="11", relation="crossbite")
    )


def test_relation_and_antagonist_must_agree():
    (only,) = parse(unit(antagonist="none")).units
    assert only.relation is Relation.NO_ANTAGONIST
    assert only_fault(unit(antagonist="none", relation="crossbite"))[0] == (
        "/units/0/relation"
    )
    assert only_fault(unit(relation="no_antagonist"))[0] == "/units/0/antagonist"


# ---- readings ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lengths", "key"),
    [
        ({"passes": 1.5, "held": 1.0}, "held_mm"),
        ({"passes": 1.5, "held": 1.5}, "held_mm"),
        ({"passes": 1.5, "drags": 1.5}, "drags_mm"),
        ({"drags": 1.5, "held": 1.5}, "held_mm"),
        ({"passes": 1.5, "drags": 2.0, "held": 1.8}, "held_mm"),
    ],
)
def test_contradicting_strips_are_refused_at_entry(lengths, key):
    pointer, message = only_fault(unit(strip("central_fossa", **lengths)))
    assert pointer == f"/units/0/readings/0/{key}"
    assert message.startswith(f"Strips out of order: {key} ")
    assert "Measure again" in message


def test_a_strip_needs_a_strip_key_and_no_other():
    assert only_fault(unit(strip("central_fossa")))[0] == "/units/0/readings/0"
    mixed = strip("central_fossa", passes=1.0) | {"value_mm": 1.0, "u_mm": 0.1}
    assert set(faults(unit(mixed))) == {
        "/units/0/readings/0/value_mm",
        "/units/0/readings/0/u_mm",
    }
    assert only_fault(unit(strip("central_fossa", held=0)))[0].endswith("held_mm")


def test_a_point_needs_its_value_and_no_strip_key():
    missing = point("central_fossa", 1)
    del missing["value_mm"]
    assert only_fault(unit(missing))[0] == "/units/0/readings/0/value_mm"
    mixed = point("central_fossa", 1.0) | {"passes_mm": 1.0}
    assert only_fault(unit(mixed))[0] == "/units/0/readings/0/passes_mm"
    assert only_fault(unit(point("central_fossa", 1, 0)))[0].endswith("u_mm")


@pytest.mark.parametrize(
    "value", [float("nan"), -0.5, 21, "abc", "1_5", "1,500", True, None, [], {}, "1 mm"]
)
@pytest.mark.parametrize(
    "key", ["value_mm", "passes_mm", "drags_mm", "held_mm", "u_mm"]
)
def test_bad_numbers_are_refused_at_their_pointer(key, value):
    reading = point("central_fossa", 1.5)
    if key in ("passes_mm", "drags_mm", "held_mm"):
        reading = strip("central_fossa")
    pointer, message = only_fault(unit(reading | {key: value}))
    assert pointer == f"/units/0/readings/0/{key}"
    assert message


def test_only_a_scan_may_be_negative_and_only_as_clearance():
    (only,) = parse(unit(point("central_fossa", -0.5, method="scan"))).units
    assert only.readings[0].value_mm == D("-0.5")
    assert only_fault(unit(point("central_fossa", -21, method="scan")))
    assert (
        "cannot be negative"
        in only_fault(unit(point("facial_wall", -1, position=None, method="scan")))[1]
    )


def test_a_clearance_needs_a_position_and_the_rest_has_none():
    pointer, message = only_fault(unit(strip("buccal_cusps", None, passes=2)))
    assert pointer == "/units/0/readings/0/position"
    assert MIP in message
    for site in ("finish_line", "facial_wall"):
        pointer, message = only_fault(unit(point(site, 1)))
        assert pointer == "/units/0/readings/0/position"
        assert "leave it out" in message
    _pointer, message = only_fault(
        unit(strip("buccal_cusps", passes=2), antagonist="none")
    )
    assert message.startswith("Without an antagonist the reduction to the planned")


def test_an_index_measures_no_clearance():
    assert only_fault(unit(point("buccal_cusps", 2, method="index_probe")))[0] == (
        "/units/0/readings/0/method"
    )


def test_where_a_reading_comes_from_is_read_and_dumped():
    origin = {"side": "laboratory", "basis": "model", "mounting_number": 2}
    request = parse(
        unit(
            point("central_fossa", 1.5, 0.001) | origin,
            strip("buccal_cusps", passes=2) | {"delta_mm": "0,0125", "stale": True},
            strip("lingual_cusps", passes=2) | {"basis": "mouth", "stale": False},
        )
    )
    fossa, buccal, lingual = request.units[0].readings
    assert (fossa.side, fossa.basis, fossa.mounting_number) == (
        "laboratory",
        "model",
        2,
    )
    assert fossa.u_mm == D("0.001")
    assert (buccal.delta_mm, buccal.stale, buccal.side) == (D("0.0125"), True, None)
    assert (lingual.basis, lingual.stale) == ("mouth", False)
    dumped = dump_request(request)
    assert parse_check(dumped, rule_set=SHIPPED) == request
    assert "stale" not in dumped["units"][0]["readings"][2]
    assert dumped["units"][0]["readings"][1]["delta_mm"] == "0.0125"


@pytest.mark.parametrize(
    ("keys", "pointer"),
    [
        ({"side": "dentist"}, "side"),
        ({"basis": "table"}, "basis"),
        ({"stale": "yes"}, "stale"),
        ({"basis": "model", "mounting_number": 0}, "mounting_number"),
        ({"basis": "model", "mounting_number": 100}, "mounting_number"),
        ({"basis": "model", "mounting_number": "2"}, "mounting_number"),
        ({"basis": "model", "mounting_number": True}, "mounting_number"),
        ({"basis": "model", "mounting_number": 1.5}, "mounting_number"),
        ({"basis": "mouth", "mounting_number": 1}, "mounting_number"),
        ({"delta_mm": 0.01}, "delta_mm"),
        ({"u_mm": "0.0009"}, "u_mm"),
    ],
)
def test_bad_origins_are_refused_at_their_pointer(keys, pointer):
    found = only_fault(unit(point("central_fossa", 1.5) | keys))
    assert found[0] == f"/units/0/readings/0/{pointer}"
    assert len(found[1]) < 150


@pytest.mark.parametrize("delta", [-0.01, 1.01, "0.00001", True, None])
def test_a_strip_tolerance_has_its_range(delta):
    reading = strip("central_fossa", passes=1) | {"delta_mm": delta}
    assert only_fault(unit(reading))[0] == "/units/0/readings/0/delta_mm"


def test_unknown_words_are_answered_with_the_known_ones():
    reading = strip("buccal_cusps", passes=2) | {"method": "laser", "position": "open"}
    found = faults(unit(reading))
    assert set(found) == {
        "/units/0/readings/0/method",
        "/units/0/readings/0/position",
    }
    assert PROTRUSION in found["/units/0/readings/0/position"]


# ---- antagonists ---------------------------------------------------------------


def facing(tooth="26", **keys):
    return {"tooth": tooth, "kind": "crown", "material": "full_metal"} | keys


def test_prepared_antagonists():
    request = parse(unit(antagonist="prepared", antagonists=[facing()]))
    assert parse_check(dump_request(request), rule_set=SHIPPED) == request
    (only,) = request.units
    assert only.antagonists[0].material == "full_metal"
    assert parse(unit(antagonist="prepared"))


@pytest.mark.parametrize(
    ("antagonists", "pointer"),
    [
        ([facing("46")], "/units/0/antagonists/0/tooth"),
        ([facing("16")], "/units/0/antagonists/0/tooth"),
        ([facing("36")], "/units/0/antagonists/0/tooth"),
        ([facing("65")], "/units/0/antagonists/0/tooth"),
        ([facing(), facing()], "/units/0/antagonists/1/tooth"),
        ([facing(material="gold")], "/units/0/antagonists/0/material"),
        ([facing(kind="veneer")], "/units/0/antagonists/0/kind"),
        ([facing()] * 5, "/units/0/antagonists"),
    ],
)
def test_antagonists_that_cannot_be(antagonists, pointer):
    found = faults(unit(antagonist="prepared", antagonists=antagonists))
    assert list(found) == [pointer]


def test_antagonists_belong_to_prepared_only():
    assert only_fault(unit(antagonists=[facing()]))[0] == "/units/0/antagonists"


def test_a_pair_in_one_request_must_say_the_same():
    lower = unit(antagonist="prepared", antagonists=[facing()])
    upper = unit(
        tooth="26",
        antagonist="prepared",
        antagonists=[facing("36", material="metal_ceramic")],
    )
    assert only_fault(lower, upper)[0] == "/units/0/antagonists/0"
    upper["material"] = "full_metal"
    assert parse(lower, upper)
    upper["relation"] = "crossbite"
    assert set(faults(lower, upper)) == {"/units/0/relation", "/units/1/relation"}


# ---- spans ---------------------------------------------------------------------


def bridge(*teeth, kinds=None):
    kinds = kinds or ["retainer"] * len(teeth)
    return [
        unit(tooth=tooth, kind=kind, span="A")
        for tooth, kind in zip(teeth, kinds, strict=True)
    ]


def test_a_span_follows_the_arch_not_the_numbers():
    assert parse(*bridge("12", "11", "21", "22"))
    assert parse(*bridge("22", "12", "21", "11"))
    assert parse(*bridge("31", "41"))
    assert parse(*bridge("36"))
    assert parse(*bridge("35", "36", "37", kinds=["retainer", "pontic", "retainer"]))


def test_a_span_that_jumps_a_tooth():
    assert only_fault(*bridge("35", "37")) == (
        "/units/1/span",
        "The span jumps from 35 to 37: add what lies between.",
    )
    assert only_fault(*bridge("12", "22"))[1].startswith("The span jumps from 12 to 22")


def test_a_span_stays_in_one_jaw():
    assert "stays in one jaw" in only_fault(*bridge("36", "26"))[1]


def test_a_span_stands_on_something():
    assert (
        "stands on nothing" in only_fault(*bridge("35", "36", kinds=["pontic"] * 2))[1]
    )
    assert "no part of a span" in only_fault(*bridge("11", kinds=["veneer"]))[1]

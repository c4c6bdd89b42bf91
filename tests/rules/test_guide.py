"""The plan before a preparation: which length, where, in which jaw position."""

import re
from decimal import Decimal

import pytest

from rules.errors import InvalidPayload
from rules.guide import plan_for
from rules.guide_keep import keep_in_mind
from rules.guide_words import positions_said, sentences_for
from rules.parse import parse_rule_set
from rules.payload import parse_units
from rules.terms import Antagonist, Kind, Message, Position, Quantity, Relation
from tests.rules.builders import SHIPPED, run, strip, unit

MIP = "maximal intercuspation"
RIGHT, LEFT = "right laterotrusion", "left laterotrusion"


def plan(rule_set=SHIPPED, **keys):
    (asked,) = parse_units([unit(**keys)], rule_set=rule_set)
    return plan_for(rule_set, asked)


def line(found, site, quantity=None):
    (one,) = [
        each
        for each in found.sites
        if site in each.sites and quantity in (None, each.quantity)
    ]
    return one


def said(found, site, quantity=None):
    one = line(found, site, quantity)
    return " ".join(message.text() for message in sentences_for(found, one))


def kept(found):
    return " ".join(one.text.text() for one in keep_in_mind(found))


def test_the_functional_cusp_says_what_must_slide_and_where():
    found = plan(tooth="26", material="lithium_disilicate")
    assert said(found, "lingual_cusps").startswith(
        "At the palatal cusps and functional cusp bevel the 1.5 mm thickness must slide "
        f"freely in {MIP}. "
        f"Also try {RIGHT} (non-working side) and {LEFT} (working side)."
    )


def test_the_working_side_follows_the_quadrant():
    found = plan(tooth="16", material="lithium_disilicate")
    told = said(found, "lingual_cusps")
    assert f"{RIGHT} (working side) and {LEFT} (non-working side)" in told


# Design section 5: metal-ceramic 2.0 / 1.5 / 1.5; lithium disilicate 1.5 / 1.0 and 1.0
# at the lingual surface of upper front teeth; zirconia 0.7 as 0.5 + 0.05 + 0.15.
@pytest.mark.parametrize(
    ("tooth", "material", "site", "least"),
    [
        ("36", "metal_ceramic", "buccal_cusps", "2.0"),
        ("36", "metal_ceramic", "lingual_cusps", "1.5"),
        ("36", "metal_ceramic", "central_fossa", "1.5"),
        ("36", "metal_ceramic", "functional_cusp_bevel", "2.0"),
        ("36", "lithium_disilicate", "lingual_cusps", "1.0"),
        ("21", "lithium_disilicate", "lingual_surface", "1.0"),
        ("36", "zirconia_3y", "central_fossa", "0.7"),
    ],
)
def test_the_plan_needs_what_the_check_needs(tooth, material, site, least):
    found = plan(tooth=tooth, material=material)
    assert line(found, site).need.min_mm == Decimal(least)


@pytest.mark.parametrize("tooth", ["11", "23", "14", "45", "26", "36", "47", "31"])
@pytest.mark.parametrize("kind", list(Kind))
def test_every_figure_is_the_one_the_check_judges_by(tooth, kind):
    for relation in Relation:
        none = relation is Relation.NO_ANTAGONIST
        keys = {
            "tooth": tooth,
            "kind": kind.value,
            "relation": relation.value,
            "antagonist": "none" if none else "natural",
        }
        try:
            found = plan(**keys)
        except InvalidPayload:
            assert kind in (Kind.INLAY, Kind.ONLAY, Kind.VENEER)
            continue
        places = [(one, s) for one in found.stated for s in one.sites]
        for one, site in places:
            position = None if one.quantity is not Quantity.CLEARANCE else "protrusion"
            read = strip(site, position, passes="1.0")
            (judged,) = [
                check
                for check in run(unit(read, **keys)).units[0].sites
                if check.site == site and check.quantity is one.quantity
            ]
            assert judged.need_mm == one.need.min_mm
            assert sentences_for(found, one)


def test_required_positions_are_those_the_check_misses():
    found = line(plan(tooth="11"), "lingual_surface")
    assert found.required == (Position.MAXIMAL_INTERCUSPATION, Position.PROTRUSION)
    assert found.must is True
    edge = line(plan(tooth="11"), "incisal_edge", Quantity.CLEARANCE)
    assert edge.required == (Position.PROTRUSION,)


def test_walls_that_need_the_same_stand_on_one_line():
    found = plan(tooth="36")
    walls = line(found, "facial_wall")
    assert len(walls.sites) == 4
    assert walls.label == "axial walls"
    assert said(found, "mesial_wall").startswith(
        "At the axial walls the index must show at least 1.0 mm of reduction"
    )


def test_sites_on_one_line_of_the_set_stand_together():
    found = plan(tooth="26")
    names = [
        one.label.text() if isinstance(one.label, Message) else one.label
        for one in found.sites
    ]
    assert names == [
        "buccal cusps",
        "palatal cusps and functional cusp bevel",
        "central fossa and marginal ridge",
        "axial walls",
        "finish line",
    ]
    assert [one.must for one in found.sites] == [True, True, True, False, False]
    facing = {"tooth": "36", "kind": "crown", "material": "zirconia_3y"}
    shared = plan(tooth="26", antagonist="prepared", antagonists=[facing])
    # The cusp faces the fossa, its bevel a guiding cusp: the sums have other parts.
    assert line(shared, "lingual_cusps").sites == ("lingual_cusps",)


def test_walls_that_differ_are_named_apart():
    text = {
        **SHIPPED.dump(),
        "needs": [
            {
                "material": "metal_ceramic",
                "kinds": ["crown"],
                "site": site,
                "quantity": "reduction",
                "min_mm": least,
                "target_mm": "1.2",
                "source": "common practice, no source",
            }
            for site, least in (
                ("facial_wall", "1.2"),
                ("lingual_wall", "1.0"),
                ("mesial_wall", "1.0"),
                ("distal_wall", "1.2"),
            )
        ],
    }
    found = plan(parse_rule_set(text), tooth="26")
    labels = [
        one.label.text() if isinstance(one.label, Message) else one.label
        for one in found.stated
    ]
    assert labels == ["facial wall and distal wall", "palatal wall and mesial wall"]


def test_a_product_without_a_figure_says_so():
    text = {**SHIPPED.dump(), "needs": []}
    found = plan(parse_rule_set(text), tooth="36")
    assert found.stated == ()
    assert [one.site for one in found.unstated] == [
        "buccal_cusps",
        "lingual_cusps",
        "central_fossa",
    ]
    assert said(found, "central_fossa") == (
        "At the central fossa: no requirement for Metal-ceramic as crown. Take the "
        "figure from the instructions for use."
    )


def test_a_need_from_a_thickness_shows_its_sum():
    found = plan(material="zirconia_3y")
    told = kept(found)
    assert "0.7 mm = 0.5 mm thickness + 0.05 mm cement space + 0.15 mm adj" in told
    assert told.count("mm thickness") == 1
    assert "Aim at 1.0 mm." in said(found, "central_fossa")


def test_both_prepared_needs_the_sum_and_names_the_other_tooth():
    facing = {"tooth": "26", "kind": "crown", "material": "metal_ceramic"}
    found = plan(antagonist="prepared", antagonists=[facing])
    assert "let 3.5 mm pass in" in said(found, "buccal_cusps")
    assert "2.0 mm for this tooth and 1.5 mm for tooth 26" in said(
        found, "buccal_cusps"
    )
    assert "A gap does not tell how it is split" in kept(found)


def test_both_prepared_without_the_other_unit_asks_for_it():
    told = said(plan(antagonist="prepared"), "buccal_cusps")
    assert "state what is made for the opposing tooth. 2.0 mm is" in told


def test_without_contact_the_planned_plane_is_measured():
    found = plan(relation="no_antagonist", antagonist="none")
    assert line(found, "buccal_cusps").quantity is Quantity.REDUCTION
    assert "an index of the planned plane must show" in said(found, "buccal_cusps")
    assert "planned contour" in said(found, "facial_wall")
    scissor = plan(relation="scissor")
    assert line(scissor, "buccal_cusps").quantity is Quantity.REDUCTION


def test_an_open_bite_is_tried_in_the_excursions():
    told = said(plan(relation="open"), "buccal_cusps")
    assert "the bite is open in maximal intercuspation" in told
    assert f"Also try {RIGHT} (non-working side)" in told


def test_a_crossbite_moves_the_functional_cusp():
    found = plan(tooth="26", relation="crossbite")
    assert line(found, "buccal_cusps").need.min_mm == Decimal("2.0")
    assert "outer slope (buccal cusps)" in kept(found)


# Goodacre et al. 2001 (abstract): 4 mm molars, 3 mm others, ratio 0.4, 10 to 20 degrees.
@pytest.mark.parametrize(
    ("tooth", "least"), [("36", "4.0"), ("35", "3.0"), ("11", "3.0")]
)
def test_walls_and_convergence_are_kept_in_mind(tooth, least):
    told = kept(plan(tooth=tooth))
    assert f"at least {least} mm high and at least 0.4 of the faciolingual" in told
    assert "10 to 20 degrees" in told
    assert all(one.source for one in keep_in_mind(plan(tooth=tooth)))
    assert ("45 degrees" in told) is (tooth != "11")


@pytest.mark.parametrize("kind", ["pontic", "implant_crown"])
def test_what_has_no_preparation_has_no_walls_to_mind(kind):
    found = plan(kind=kind, material="zirconia_3y")
    assert not re.search("wall|converge|[Bb]evel|dentine", kept(found))
    between = "ridge" if kind == "pontic" else "abutment"
    assert f"must pass between {between} and antagonist" in said(found, "buccal_cusps")


def test_the_platform_is_measured_to_the_antagonist():
    told = said(plan(kind="implant_crown", material="zirconia_3y"), "implant_platform")
    assert told.startswith("From the implant platform to the antagonist there must be")


def test_positions_are_listed_in_words():
    assert positions_said((), "36") == ""
    three = (
        Position.MAXIMAL_INTERCUSPATION,
        Position.PROTRUSION,
        Position.LEFT_LATEROTRUSION,
    )
    told = positions_said(three, "36")
    assert isinstance(told, Message)
    assert told.text() == f"{MIP}, protrusion and {LEFT} (working side)"


def test_readings_and_antagonists_of_any_kind_change_no_figure():
    bare = plan(antagonist=Antagonist.NATURAL.value)
    for antagonist in Antagonist:
        if antagonist in (Antagonist.PREPARED, Antagonist.NONE):
            continue
        other = plan(antagonist=antagonist.value)
        assert [one.need for one in other.sites] == [one.need for one in bare.sites]

"""The shipped rule set: pinned reference values, every material, every line sourced."""

import re
import time
from decimal import Decimal as D

import pytest

from rules.needs import line_for
from rules.parse import parse_toml
from rules.request import FacingUnit
from rules.requirements import Material, NeedKey
from rules.teeth import quantity_at, sites_for
from rules.terms import (
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Region,
    Relation,
    Role,
    Site,
)
from tests.rules.builders import DATA, SHIPPED, point, run, site_of, strip, unit

MATERIALS = [
    "full_metal",
    "metal_ceramic",
    "lithium_disilicate",
    "lithium_disilicate_layered",
    "zirconia_3y",
    "zirconia_3y_layered",
    "zirconia_4y",
    "zirconia_5y",
    "leucite_glass_ceramic",
    "feldspathic",
    "resin_ceramic",
    "pmma_provisional",
]


def material_of(key) -> Material:
    """Return a material the shipped set must have."""
    found = SHIPPED.material(key)
    assert found is not None
    return found


def need(material, site, tooth="36", surface=None, cementation=None, kind="crown"):
    known = material_of(material)
    planned = FacingUnit(
        tooth,
        Kind(kind),
        material,
        Cementation(cementation) if cementation else known.usual_cementation,
        OcclusalSurface(surface) if surface else known.usual_surface,
    )
    place = Site(site)
    positioned = quantity_at(place, tooth, Relation.NORMAL, positioned=True)
    return line_for(SHIPPED, planned, Relation.NORMAL, place, positioned)


# Reference values the shipped set is held to: common practice, no source.
@pytest.mark.parametrize(
    ("material", "site", "tooth", "least"),
    [
        ("metal_ceramic", "buccal_cusps", "36", "2.0"),
        ("metal_ceramic", "lingual_cusps", "36", "1.5"),
        ("metal_ceramic", "central_fossa", "36", "1.5"),
        ("metal_ceramic", "lingual_cusps", "16", "2.0"),
        ("metal_ceramic", "buccal_cusps", "16", "1.5"),
        ("lithium_disilicate", "buccal_cusps", "36", "1.5"),
        ("lithium_disilicate", "lingual_cusps", "36", "1.0"),
        ("lithium_disilicate", "lingual_surface", "11", "1.0"),
        ("zirconia_3y", "buccal_cusps", "36", "0.7"),
        ("zirconia_3y", "lingual_cusps", "36", "0.7"),
        ("zirconia_3y", "central_fossa", "36", "0.7"),
        ("feldspathic", "buccal_cusps", "36", "2.0"),
        ("metal_ceramic", "functional_cusp_bevel", "36", "2.0"),
        ("metal_ceramic", "marginal_ridge", "36", "1.5"),
        ("zirconia_3y", "functional_cusp_bevel", "36", "0.7"),
        ("lithium_disilicate", "marginal_ridge", "36", "1.0"),
    ],
)
def test_reference_values(material, site, tooth, least):
    assert need(material, site, tooth).min_mm == D(least)


def test_zirconia_need_is_built_from_its_thickness():
    line = need("zirconia_3y", "buccal_cusps")
    assert line.thickness_mm == D("0.5")
    assert SHIPPED.cement_space_mm == D("0.05")
    assert SHIPPED.adjustment_mm == D("0.15")
    result = run(unit(strip("buccal_cusps", passes=1.0), material="zirconia_3y"))
    site = site_of(result, "buccal_cusps")
    assert (site.need_mm, site.thickness_mm) == (D("0.7"), D("0.5"))
    shown = [note.text() for note in site.notes]
    assert (
        "0.7 mm = 0.5 mm thickness + 0.05 mm cement space + 0.15 mm adjustment "
        "allowance." in shown
    )


def test_metal_occlusal_surface_needs_less():
    assert need("metal_ceramic", "buccal_cusps", surface="metal").min_mm == D("1.5")
    assert need("metal_ceramic", "lingual_cusps", surface="metal").min_mm == D(1)


def test_conventional_lithium_disilicate_needs_more():
    line = need("lithium_disilicate", "lingual_cusps", cementation="conventional")
    assert line.min_mm == D("1.5")


def test_the_set_holds_every_material():
    assert [material.key for material in SHIPPED.materials] == MATERIALS
    assert SHIPPED.k == D("1.645")
    assert SHIPPED.strip_delta_mm == 0
    assert SHIPPED.drag_mm == D("0.1")
    usual = material_of("lithium_disilicate").usual_cementation
    assert usual is Cementation.ADHESIVE


@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize("tooth", ["11", "13", "16", "24", "31", "36", "43", "45"])
def test_a_crown_has_a_need_at_every_site(material, tooth):
    for site in sites_for(tooth, Kind.CROWN):
        line = need(material, site, tooth)
        assert line is not None, site
        assert D(0) < line.min_mm <= line.target_mm
        assert line.source
    for surface in material_of(material).occlusal_surfaces:
        assert need(material, sites_for(tooth, Kind.CROWN)[0], tooth, surface)


def test_bridges_are_not_offered_where_the_material_is_not_indicated():
    for material in ("feldspathic", "leucite_glass_ceramic", "resin_ceramic"):
        assert need(material, "buccal_cusps", kind="retainer") is None
    assert need("zirconia_3y", "buccal_cusps", kind="retainer").min_mm == D("0.7")


def test_required_sites_are_those_of_the_design():
    def required(tooth, relation=Relation.NORMAL):
        return SHIPPED.required(tooth, Kind.CROWN, relation)

    assert required("36") == ("buccal_cusps", "lingual_cusps", "central_fossa")
    assert required("14") == ("buccal_cusps", "lingual_cusps", "central_fossa")
    assert required("11") == ("lingual_surface", "incisal_edge")
    assert required("31") == ("facioincisal_surface", "incisal_edge")
    assert required("11", Relation.CROSSBITE) == (
        "facioincisal_surface",
        "incisal_edge",
    )
    assert required("31", Relation.CROSSBITE) == ("lingual_surface", "incisal_edge")


def test_every_kind_has_a_required_site_on_every_tooth_it_fits():
    for kind in Kind:
        for tooth in ("11", "13", "16", "24", "31", "36", "43", "45"):
            for relation in Relation:
                sites = sites_for(tooth, kind, relation)
                required = SHIPPED.required(tooth, kind, relation)
                assert set(required) & set(sites) or not sites
                assert set(required) <= set(sites) or not sites


def test_jaw_positions_of_the_shipped_set():
    def positions(site, tooth, relation=Relation.NORMAL):
        return SHIPPED.positions_for(Site(site), tooth, relation)

    mip, protrusion = Position.MAXIMAL_INTERCUSPATION, Position.PROTRUSION
    sides = (Position.RIGHT_LATEROTRUSION, Position.LEFT_LATEROTRUSION)
    assert positions("buccal_cusps", "36") == ((mip,), sides)
    assert positions("central_fossa", "36") == ((mip,), ())
    assert positions("lingual_surface", "11") == ((mip, protrusion), ())
    assert positions("facioincisal_surface", "31") == ((mip,), ())
    assert positions("incisal_edge", "31") == ((mip,), (protrusion,))
    assert positions("incisal_edge", "11") == ((protrusion,), ())
    assert positions("buccal_cusps", "36", Relation.OPEN) == ((), sides)
    assert positions("buccal_cusps", "36", Relation.SCISSOR) == ((), sides)


EXACT = {
    "common practice, no source",
    "from memory, to be confirmed",
    "inference, no source",
}
# A source that is named: a year, an archive number, a kind of text, or a reference
# that was not at hand.
NAMED = re.compile(
    r"^from memory, to be confirmed[:;] |\b(19|20)\d\d\b|\bPMC\d+|\(secondary\)"
    r"|name withheld|common practice, no source; "
)


def sources():
    yield from (line.source for line in SHIPPED.methods)
    yield from (line.source for line in SHIPPED.required_sites)
    yield from (line.source for line in SHIPPED.positions)
    for need_line in SHIPPED.needs:
        yield need_line.source
        yield from (other.source for other in need_line.alternatives)
    yield from (limit.source for limit in SHIPPED.span_limits)
    yield from (m.strength_source for m in SHIPPED.materials if m.iso_6872_class)


def test_every_line_has_a_source():
    found = list(sources())
    assert len(found) > 600
    assert not [s for s in found if s not in EXACT and not NAMED.search(s)]
    assert not [s for s in found if "http" in s or "www" in s or ".com" in s]
    assert {m.method for m in SHIPPED.methods} == set(Method) - {Method.STRIP}


def test_a_most_is_the_upper_end_its_note_recommends():
    marked = [n for n in SHIPPED.needs if n.max_mm is not None]
    assert len(marked) > 80
    for line in marked:
        assert f"recommended {line.target_mm} to {line.max_mm}" in line.note


def test_the_quantities_stay_apart():
    quantities = {(n.site, n.quantity) for n in SHIPPED.needs}
    assert ("finish_line", Quantity.WIDTH) in quantities
    assert ("finish_line", Quantity.CLEARANCE) not in quantities
    assert ("facial_wall", Quantity.CLEARANCE) not in quantities


# From the trade's table of reductions, onlays, inlays and veneers: common practice.
@pytest.mark.parametrize(
    ("material", "kind", "site", "tooth", "least"),
    [
        ("full_metal", "onlay", "buccal_cusps", "36", "1.5"),
        ("lithium_disilicate", "onlay", "buccal_cusps", "36", "1.5"),
        ("feldspathic", "onlay", "lingual_cusps", "26", "2.0"),
        ("resin_ceramic", "onlay", "central_fossa", "36", "1.0"),
        ("lithium_disilicate", "inlay", "central_fossa", "36", "1.5"),
        ("resin_ceramic", "inlay", "central_fossa", "36", "1.0"),
        ("feldspathic", "veneer", "facial_surface", "21", "0.5"),
        ("resin_ceramic", "veneer", "facial_surface", "21", "0.6"),
        ("leucite_glass_ceramic", "veneer", "finish_line", "21", "0.3"),
    ],
)
def test_partial_restorations(material, kind, site, tooth, least):
    line = need(material, site, tooth, kind=kind)
    assert line is not None
    assert line.min_mm == D(least)


# Least connector of three units, in mm2, anterior and posterior: from memory, to be
# confirmed; a connector as high as wide has the square root of it as its height.
@pytest.mark.parametrize(
    ("material", "site", "tooth", "own", "height"),
    [
        ("metal_ceramic", "buccal_cusps", "36", "2.0", "2.5"),
        ("full_metal", "central_fossa", "36", "1.0", "2.5"),
        ("zirconia_3y", "buccal_cusps", "36", "0.7", "3.0"),
        ("zirconia_3y", "incisal_edge", "11", "0.7", "2.65"),
        ("zirconia_4y", "lingual_cusps", "36", "1.0", "3.47"),
        ("lithium_disilicate", "central_fossa", "35", "1.0", "4.0"),
        ("pmma_provisional", "facioincisal_surface", "31", "0.8", "3.47"),
    ],
)
def test_a_pontic_needs_its_material_and_a_connector(
    material, site, tooth, own, height
):
    line = need(material, site, tooth, kind="pontic")
    assert line.min_mm == D(own) + D(height)
    assert need(material, site, tooth).min_mm == D(own)
    assert line.source == "inference, no source"
    assert line.note.startswith(
        f"ridge to antagonist: {own} of the material + {height}"
    )


@pytest.mark.parametrize("material", ["feldspathic", "leucite_glass_ceramic"])
def test_no_pontic_where_no_bridge_is_indicated(material):
    assert not SHIPPED.has_needs(material, Kind.PONTIC)
    for region in Region:
        limit = SHIPPED.span_limit(material, region, 3, cantilever=False)
        assert limit is not None
        assert not limit.allowed


@pytest.mark.parametrize("material", MATERIALS)
def test_an_implant_crown_is_measured_from_its_abutment(material):
    for site, tooth in (("buccal_cusps", "36"), ("lingual_surface", "11")):
        line = need(material, site, tooth, kind="implant_crown")
        assert line.min_mm == need(material, site, tooth).min_mm
        assert line.source == "common practice, no source"
        assert line.note == "abutment to antagonist, as the crown"


# From memory, to be confirmed: 7.0 cement-retained, 5.0 screw-retained.
@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize(("role", "least"), [(None, 7), (Role.SCREWED_PLATFORM, 5)])
def test_platform_to_antagonist_depends_on_the_retention(material, role, least):
    known = material_of(material)
    line = SHIPPED.find_need(
        NeedKey(
            material,
            Kind.IMPLANT_CROWN,
            known.usual_cementation,
            known.usual_surface,
            "36",
            Site.IMPLANT_PLATFORM,
            role,
            Quantity.CLEARANCE,
        )
    )
    assert line is not None
    assert line.min_mm == least
    assert line.source == "from memory, to be confirmed"
    for relation in Relation:
        assert Site.IMPLANT_PLATFORM not in SHIPPED.required(
            "36", Kind.IMPLANT_CROWN, relation
        )


def test_a_veneer_that_is_not_bonded_has_no_need():
    cemented = need(
        "lithium_disilicate",
        "facial_surface",
        "21",
        cementation="conventional",
        kind="veneer",
    )
    assert cemented is None


def test_a_veneer_cut_deeper_than_the_enamel_is_told_so():
    deep = point("facial_surface", 1.1, 0.05, position=None, method="index_probe")
    result = run(unit(deep, tooth="21", kind="veneer", material="feldspathic"))
    said = [note.text() for note in site_of(result, "facial_surface").notes]
    assert "More than 0.8 mm: mind the remaining dentine and the wall heights." in said


# ISO 6872 as of 2015, from memory: the class is the batch's, these are the usual ones.
@pytest.mark.parametrize(
    ("material", "strength"),
    [
        ("feldspathic", 1),
        ("leucite_glass_ceramic", 1),
        ("lithium_disilicate", 3),
        ("lithium_disilicate_layered", 3),
        ("zirconia_5y", 3),
        ("zirconia_4y", 4),
        ("zirconia_3y", 5),
        ("zirconia_3y_layered", 5),
        ("full_metal", None),
        ("metal_ceramic", None),
        ("resin_ceramic", None),
        ("pmma_provisional", None),
    ],
)
def test_strength_classes(material, strength):
    assert SHIPPED.iso_6872_class(material) == strength
    assert SHIPPED.iso_22674_type(material) is None


# Connector areas in mm2: mostly the manufacturer's matter, from memory.
@pytest.mark.parametrize(
    ("material", "region", "units", "cantilever", "area"),
    [
        ("metal_ceramic", "anterior", 3, False, "6.25"),
        ("metal_ceramic", "posterior", 4, False, "9"),
        ("full_metal", "posterior", 2, True, "9"),
        ("zirconia_3y", "anterior", 3, False, "7"),
        ("zirconia_3y", "posterior", 3, False, "9"),
        ("zirconia_3y", "posterior", 5, False, "16"),
        ("zirconia_3y_layered", "posterior", 2, True, "12"),
        ("zirconia_4y", "posterior", 3, False, "12"),
        ("zirconia_5y", "posterior", 3, False, "12"),
        ("lithium_disilicate", "anterior", 3, False, "12"),
        ("lithium_disilicate", "posterior", 3, False, "16"),
        ("pmma_provisional", "posterior", 6, False, "16"),
    ],
)
def test_connector_areas(material, region, units, cantilever, area):
    limit = SHIPPED.span_limit(material, Region(region), units, cantilever)
    assert limit is not None
    assert limit.allowed
    assert limit.connector_mm2 == D(area)
    assert limit.source.startswith("from memory, to be confirmed")


@pytest.mark.parametrize(
    ("material", "region", "units", "cantilever"),
    [
        ("lithium_disilicate", "posterior", 4, False),
        ("lithium_disilicate_layered", "anterior", 3, True),
        ("zirconia_5y", "anterior", 5, False),
        ("zirconia_4y", "posterior", 3, True),
        ("resin_ceramic", "anterior", 3, False),
        ("pmma_provisional", "anterior", 2, True),
    ],
)
def test_spans_that_are_not_indicated(material, region, units, cantilever):
    limit = SHIPPED.span_limit(material, Region(region), units, cantilever)
    assert limit is not None
    assert not limit.allowed


def test_a_span_no_source_speaks_of_is_unknown():
    assert SHIPPED.span_limit("zirconia_3y", Region.POSTERIOR, 6, False) is None
    assert SHIPPED.span_limit("zirconia_4y", Region.POSTERIOR, 5, False) is None
    for material in ("lithium_disilicate", "zirconia_5y"):
        limit = SHIPPED.span_limit(material, Region.POSTERIOR, 3, False)
        assert limit is not None
        assert limit.last_place == 5


# Where the texts disagree, the figure not chosen stands beside the chosen one:
# Goodacre et al. 2001 from study cards, operative study cards, a textbook chapter,
# Shillingburg from memory, in-vitro work on lithium disilicate, manufacturers.
@pytest.mark.parametrize(
    ("material", "site", "surface", "others"),
    [
        ("full_metal", "lingual_cusps", None, {"0.5", "0.6"}),
        ("metal_ceramic", "buccal_cusps", "ceramic", {"1.8"}),
        ("metal_ceramic", "lingual_cusps", "ceramic", {"1.3", "2.0"}),
        ("metal_ceramic", "finish_line", "ceramic", {"1.3", "1.5"}),
        ("full_metal", "finish_line", None, {"0.5"}),
        ("lithium_disilicate", "buccal_cusps", None, {"1.0", "2.0"}),
        ("zirconia_3y", "buccal_cusps", None, {"1.5"}),
        ("zirconia_4y", "buccal_cusps", None, {"1.2"}),
        ("zirconia_5y", "buccal_cusps", None, {"1.5"}),
        ("feldspathic", "buccal_cusps", None, {"1.5"}),
    ],
)
def test_where_sources_disagree_the_others_are_recorded(
    material, site, surface, others
):
    line = need(material, site, surface=surface)
    assert {str(a.min_mm) for a in line.alternatives} == others
    assert all(a.source for a in line.alternatives)


def test_a_monolithic_occlusal_surface_needs_what_the_core_needs():
    for layered, core in (
        ("lithium_disilicate_layered", "lithium_disilicate"),
        ("zirconia_3y_layered", "zirconia_3y"),
    ):
        for cementation in material_of(layered).cementations:
            for site, tooth in (
                ("buccal_cusps", "36"),
                ("lingual_cusps", "36"),
                ("central_fossa", "36"),
                ("lingual_surface", "11"),
                ("lingual_wall", "36"),
            ):
                mine = need(layered, site, tooth, "monolithic", cementation)
                theirs = need(core, site, tooth, None, cementation)
                assert mine.min_mm == theirs.min_mm
            for site, tooth in (
                ("facial_surface", "11"),
                ("facial_wall", "36"),
                ("incisal_edge", "11"),
                ("finish_line", "36"),
            ):
                mine = need(layered, site, tooth, "monolithic", cementation)
                assert mine.min_mm == need(layered, site, tooth).min_mm


def test_the_shipped_set_parses_quickly():
    text = (DATA / "general.toml").read_text(encoding="utf-8")
    took = []
    for _round in range(3):
        start = time.perf_counter()
        parse_toml(text)
        took.append(time.perf_counter() - start)
    # About 25 ms on an idle core; a start of the program may wait four times that.
    assert min(took) < 0.1

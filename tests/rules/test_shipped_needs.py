"""The shipped rule set: pinned reference values, every material, every line sourced."""

import tomllib
from decimal import Decimal as D

import pytest

from rules.needs import line_for
from rules.request import FacingUnit
from rules.requirements import Material
from rules.teeth import quantity_at, sites_for
from rules.terms import (
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Relation,
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


def test_every_line_has_a_source():
    text = (DATA / "general.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    lines = [
        *data["methods"],
        *data["required_sites"],
        *data["positions"],
        *(line for group in data["groups"] for line in group["needs"]),
    ]
    assert len(lines) > 150
    assert all(line["source"].strip() for line in lines)
    assert {m["method"] for m in data["methods"]} == set(Method) - {Method.STRIP}


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


@pytest.mark.parametrize("kind", ["pontic", "implant_crown"])
@pytest.mark.parametrize("material", MATERIALS)
def test_ridge_or_platform_to_antagonist_has_no_general_figure(material, kind):
    # The crown's figure would call a gap enough that holds no connector.
    assert not SHIPPED.has_needs(material, Kind(kind))


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

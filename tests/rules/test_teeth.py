"""Sites, cusp roles and facing sites of a tooth."""

import pytest

from rules.teeth import (
    contact_surface,
    cusp_role,
    facing_sites,
    kind_fits,
    quantity_at,
    row_cusps,
    site_label,
    sites_for,
    surface_label,
    working_side,
)
from rules.terms import Kind, OcclusalSurface, Quantity, Relation, Site

R = Relation
FUNCTIONAL, GUIDING = "functional_cusp", "nonfunctional_cusp"


# Functional cusps in normal relation are the lower buccal and the upper palatal
# ones; a crossbite of the pair exchanges them (glossary terms: supporting cusps).
@pytest.mark.parametrize(
    ("tooth", "relation", "buccal", "lingual"),
    [
        ("36", R.NORMAL, FUNCTIONAL, GUIDING),
        ("44", R.NORMAL, FUNCTIONAL, GUIDING),
        ("16", R.NORMAL, GUIDING, FUNCTIONAL),
        ("25", R.NORMAL, GUIDING, FUNCTIONAL),
        ("36", R.CROSSBITE, GUIDING, FUNCTIONAL),
        ("16", R.CROSSBITE, FUNCTIONAL, GUIDING),
        ("36", R.OPEN, FUNCTIONAL, GUIDING),
        ("36", R.NO_ANTAGONIST, FUNCTIONAL, GUIDING),
        ("36", R.EDGE_TO_EDGE, FUNCTIONAL, FUNCTIONAL),
        ("16", R.EDGE_TO_EDGE, FUNCTIONAL, FUNCTIONAL),
        ("36", R.SCISSOR, GUIDING, GUIDING),
    ],
)
def test_cusp_roles_follow_arch_and_relation(tooth, relation, buccal, lingual):
    assert cusp_role(Site.BUCCAL_CUSPS, tooth, relation) == buccal
    assert cusp_role(Site.MESIOBUCCAL_CUSP, tooth, relation) == buccal
    assert cusp_role(Site.DISTAL_CUSP, tooth, relation) == buccal
    assert cusp_role(Site.LINGUAL_CUSPS, tooth, relation) == lingual
    assert cusp_role(Site.DISTOLINGUAL_CUSP, tooth, relation) == lingual


def test_the_bevel_is_functional_and_other_sites_have_no_role():
    assert cusp_role(Site.FUNCTIONAL_CUSP_BEVEL, "36", R.SCISSOR) == FUNCTIONAL
    assert cusp_role(Site.CENTRAL_FOSSA, "36", R.NORMAL) is None
    assert cusp_role(Site.INCISAL_EDGE, "11", R.NORMAL) is None


def test_single_cusps_of_a_row():
    cusps = row_cusps(Site.BUCCAL_CUSPS, "36")
    assert cusps == ("mesiobuccal_cusp", "distobuccal_cusp", "distal_cusp")
    assert row_cusps(Site.BUCCAL_CUSPS, "37") == cusps[:2]
    assert row_cusps(Site.BUCCAL_CUSPS, "16") == cusps[:2]
    assert row_cusps(Site.LINGUAL_CUSPS, "26") == (
        "mesiolingual_cusp",
        "distolingual_cusp",
    )
    assert row_cusps(Site.LINGUAL_CUSPS, "35") == (
        "mesiolingual_cusp",
        "distolingual_cusp",
    )
    for tooth, row in [("34", Site.LINGUAL_CUSPS), ("35", Site.BUCCAL_CUSPS)]:
        assert row_cusps(row, tooth) == ()
    assert row_cusps(Site.LINGUAL_CUSPS, "15") == ()
    assert row_cusps(Site.BUCCAL_CUSPS, "11") == ()
    assert row_cusps(Site.CENTRAL_FOSSA, "36") == ()


def test_sites_of_a_molar_and_a_premolar():
    molar = sites_for("36", Kind.CROWN)
    assert "distal_cusp" in molar
    assert "finish_line" in molar
    assert "incisal_edge" not in molar
    assert "facial_surface" not in molar
    assert "mesiobuccal_cusp" not in sites_for("14", Kind.CROWN)
    assert list(molar) == [site for site in Site if site in molar]


def test_sites_of_anterior_teeth():
    upper = sites_for("11", Kind.CROWN)
    assert "lingual_surface" in upper
    assert "facioincisal_surface" not in upper
    assert "facioincisal_surface" in sites_for("11", Kind.CROWN, R.CROSSBITE)
    assert "facioincisal_surface" in sites_for("31", Kind.CROWN)
    assert "facioincisal_surface" not in sites_for("31", Kind.CROWN, R.CROSSBITE)
    assert "facial_wall" not in upper


def test_sites_by_kind():
    for kind in (Kind.PONTIC, Kind.IMPLANT_CROWN):
        sites = sites_for("36", kind)
        assert "buccal_cusps" in sites
        assert not {"finish_line", "facial_wall", "functional_cusp_bevel"} & set(sites)
        assert "facial_surface" not in sites_for("11", kind)
    assert sites_for("36", Kind.INLAY) == ("central_fossa", "marginal_ridge")
    assert "facial_wall" not in sites_for("36", Kind.ONLAY)
    assert sites_for("11", Kind.VENEER) == (
        "incisal_edge",
        "facial_surface",
        "finish_line",
    )
    assert sites_for("14", Kind.VENEER) == ("facial_surface", "finish_line")


def test_kinds_that_do_not_fit():
    assert not kind_fits("11", Kind.INLAY)
    assert not kind_fits("33", Kind.ONLAY)
    assert not kind_fits("36", Kind.VENEER)
    assert kind_fits("11", Kind.PONTIC)
    assert sites_for("11", Kind.INLAY) == ()


# Facing sites, normal relation (design 5.6): functional cusp <-> fossa or ridge,
# non-functional cusp <-> functional cusp bevel, lower facio-incisal <-> upper
# lingual surface; crossbite exchanges; edge to edge functional <-> functional.
@pytest.mark.parametrize(
    ("site", "tooth", "relation", "other", "expected"),
    [
        ("buccal_cusps", "36", R.NORMAL, "26", ("central_fossa", "marginal_ridge")),
        ("distal_cusp", "36", R.NORMAL, "26", ("central_fossa", "marginal_ridge")),
        ("lingual_cusps", "36", R.NORMAL, "26", ("functional_cusp_bevel",)),
        ("functional_cusp_bevel", "36", R.NORMAL, "26", ("buccal_cusps",)),
        ("functional_cusp_bevel", "26", R.NORMAL, "36", ("lingual_cusps",)),
        ("central_fossa", "36", R.NORMAL, "26", ("lingual_cusps",)),
        ("marginal_ridge", "26", R.NORMAL, "36", ("buccal_cusps",)),
        ("buccal_cusps", "26", R.NORMAL, "36", ("functional_cusp_bevel",)),
        ("buccal_cusps", "26", R.CROSSBITE, "36", ("central_fossa", "marginal_ridge")),
        ("central_fossa", "36", R.CROSSBITE, "26", ("buccal_cusps",)),
        ("buccal_cusps", "36", R.EDGE_TO_EDGE, "26", ("buccal_cusps",)),
        ("mesiolingual_cusp", "36", R.EDGE_TO_EDGE, "26", ("lingual_cusps",)),
        ("facioincisal_surface", "31", R.NORMAL, "21", ("lingual_surface",)),
        ("lingual_surface", "21", R.NORMAL, "31", ("facioincisal_surface",)),
        ("facioincisal_surface", "21", R.CROSSBITE, "31", ("lingual_surface",)),
        ("incisal_edge", "21", R.NORMAL, "31", ("incisal_edge",)),
        ("lingual_surface", "23", R.NORMAL, "34", ("buccal_cusps",)),
        (
            "facioincisal_surface",
            "33",
            R.NORMAL,
            "24",
            ("central_fossa", "marginal_ridge"),
        ),
        ("buccal_cusps", "34", R.NORMAL, "23", ("lingual_surface",)),
        ("central_fossa", "24", R.NORMAL, "33", ("facioincisal_surface",)),
        ("buccal_cusps", "36", R.SCISSOR, "26", ()),
        ("buccal_cusps", "36", R.NO_ANTAGONIST, "26", ()),
        ("finish_line", "36", R.NORMAL, "26", ()),
        ("facial_surface", "11", R.NORMAL, "41", ()),
    ],
)
def test_facing_sites(site, tooth, relation, other, expected):
    assert facing_sites(Site(site), tooth, relation, other) == expected


@pytest.mark.parametrize(
    ("site", "tooth", "relation", "positioned", "quantity"),
    [
        ("buccal_cusps", "36", R.NORMAL, True, "clearance"),
        ("buccal_cusps", "36", R.NO_ANTAGONIST, False, "reduction"),
        ("finish_line", "36", R.NORMAL, False, "width"),
        ("finish_line", "36", R.NO_ANTAGONIST, False, "width"),
        ("facial_wall", "36", R.NORMAL, False, "reduction"),
        ("incisal_edge", "11", R.NORMAL, True, "clearance"),
        ("incisal_edge", "11", R.NORMAL, False, "reduction"),
        ("lingual_surface", "11", R.NORMAL, True, "clearance"),
        ("lingual_surface", "31", R.NORMAL, False, "reduction"),
        ("lingual_surface", "31", R.CROSSBITE, True, "clearance"),
        ("lingual_surface", "11", R.CROSSBITE, False, "reduction"),
    ],
)
def test_the_four_quantities_are_never_mixed(
    site, tooth, relation, positioned, quantity
):
    found = quantity_at(Site(site), tooth, relation, positioned=positioned)
    assert found == quantity


def test_lingual_is_palatal_in_the_maxilla():
    assert site_label(Site.LINGUAL_CUSPS, "16") == "palatal cusps"
    assert site_label(Site.LINGUAL_CUSPS, "36") == "lingual cusps"
    assert site_label(Site.MESIOLINGUAL_CUSP, "16") == "mesiopalatal cusp"
    assert site_label(Site.CENTRAL_FOSSA, "16") == "central fossa"
    upper = {site_label(site, "11") for site in Site}
    assert not any("lingual" in text for text in upper)


def test_contact_surface_and_working_side():
    assert contact_surface("11", R.NORMAL) == "lingual_surface"
    assert contact_surface("11", R.CROSSBITE) == "facioincisal_surface"
    assert working_side("46") == "right_laterotrusion"
    assert working_side("26") == "left_laterotrusion"


# Design 5.7: the restorative space of an implant crown is measured from platform and
# abutment to the antagonist. Which sites face the platform: inference, no source.
def test_only_an_implant_crown_has_a_platform():
    for tooth in ("36", "11", "44"):
        for kind in Kind:
            wanted = kind is Kind.IMPLANT_CROWN
            assert (Site.IMPLANT_PLATFORM in sites_for(tooth, kind)) is wanted
        for relation in (R.NORMAL, R.CROSSBITE, R.EDGE_TO_EDGE):
            found = quantity_at(Site.IMPLANT_PLATFORM, tooth, relation, positioned=True)
            assert found is Quantity.CLEARANCE
    platform = Site.IMPLANT_PLATFORM
    assert facing_sites(platform, "36", R.NORMAL, "26") == ("lingual_cusps",)
    assert facing_sites(platform, "11", R.NORMAL, "41") == ("facioincisal_surface",)
    assert site_label(platform, "16") == "implant platform"


# Scissor bite: no functional cusp and no contact; open bite: none in intercuspation.
# There a site is read against the planned contour too (inference, no source).
@pytest.mark.parametrize("relation", [R.SCISSOR, R.OPEN])
def test_without_contact_a_site_is_clearance_or_reduction(relation):
    for tooth, site in (
        ("36", Site.BUCCAL_CUSPS),
        ("36", Site.CENTRAL_FOSSA),
        ("11", Site.LINGUAL_SURFACE),
        ("31", Site.FACIOINCISAL_SURFACE),
    ):
        assert quantity_at(site, tooth, relation, positioned=True) == "clearance"
        assert quantity_at(site, tooth, relation, positioned=False) == "reduction"
        assert quantity_at(site, tooth, R.NORMAL, positioned=False) == "clearance"
    found = quantity_at(Site.FINISH_LINE, "36", relation, positioned=False)
    assert found is Quantity.WIDTH


# The four quantities are never mixed: no site, relation or position is ever read as
# a thickness, and only the finish line is a width (design 3).
def test_what_a_reading_means_never_mixes():
    for tooth in ("11", "31", "14", "36"):
        for relation in Relation:
            for kind in Kind:
                for site in sites_for(tooth, kind, relation):
                    for positioned in (True, False):
                        found = quantity_at(
                            site, tooth, relation, positioned=positioned
                        )
                        assert found is not Quantity.THICKNESS
                        assert (found is Quantity.WIDTH) is (site is Site.FINISH_LINE)


def test_an_anterior_tooth_shows_its_lingual_surface():
    metal = OcclusalSurface.METAL
    assert surface_label(metal, "11") == "metal palatal surface"
    assert surface_label(metal, "31") == "metal lingual surface"
    assert surface_label(metal, "36") == "metal occlusal surface"
    for surface in OcclusalSurface:
        assert "occlusal" not in surface_label(surface, "23")
        assert "lingual" in surface_label(surface, "43")


# Anterior crossbite: the pair meets by the other surfaces; incisal edge and facial
# surface carry it above, the lingual surface below (functional cusp table, normal
# and crossbite; standard texts, from memory).
def test_anterior_crossbite_exchanges_the_surfaces_in_contact():
    assert contact_surface("11", R.CROSSBITE) == "facioincisal_surface"
    assert contact_surface("31", R.CROSSBITE) == "lingual_surface"
    front = Site.FACIOINCISAL_SURFACE
    assert facing_sites(front, "11", R.CROSSBITE, "41") == ("lingual_surface",)
    palatal = quantity_at(Site.LINGUAL_SURFACE, "11", R.CROSSBITE, positioned=False)
    assert palatal is Quantity.REDUCTION


# Functional (supporting) cusps, tooth by tooth, normal and in crossbite of that pair:
# lower buccal and upper palatal in normal relation by a dental glossary's definition
# of supporting cusps ("no crossbite or reverse horizontal overlap"); which single
# cusps a tooth has: standard texts, from memory.
FUNCTIONAL_CUSPS = [
    (("14", "15", "24", "25"), {"lingual_cusps"}, {"buccal_cusps"}),
    (("34", "44"), {"buccal_cusps"}, {"lingual_cusps"}),
    (("35", "45"), {"buccal_cusps"}, {"mesiolingual_cusp", "distolingual_cusp"}),
    (
        ("16", "26", "17", "27", "18", "28"),
        {"mesiolingual_cusp", "distolingual_cusp"},
        {"mesiobuccal_cusp", "distobuccal_cusp"},
    ),
    (
        ("36", "46"),
        {"mesiobuccal_cusp", "distobuccal_cusp", "distal_cusp"},
        {"mesiolingual_cusp", "distolingual_cusp"},
    ),
    (
        ("37", "47", "38", "48"),
        {"mesiobuccal_cusp", "distobuccal_cusp"},
        {"mesiolingual_cusp", "distolingual_cusp"},
    ),
]
ROWS = {"buccal_cusps", "lingual_cusps"}


@pytest.mark.parametrize(("teeth", "normal", "crossed"), FUNCTIONAL_CUSPS)
def test_the_table_of_functional_cusps(teeth, normal, crossed):
    for tooth in teeth:
        for relation, expected in ((R.NORMAL, normal), (R.CROSSBITE, crossed)):
            found = {
                site.value
                for site in sites_for(tooth, Kind.CROWN, relation)
                if cusp_role(site, tooth, relation) == FUNCTIONAL
                and site is not Site.FUNCTIONAL_CUSP_BEVEL
            }
            # The table names a tooth's single cusps where it has several in a row.
            single = {cusp for row in ROWS for cusp in row_cusps(Site(row), tooth)}
            assert expected <= found
            assert found - expected <= ROWS
            assert (found & single) == (expected & single)


# Both rows of a posterior tooth edge to edge count as functional, in a scissor bite
# neither does (common practice, no source).
@pytest.mark.parametrize("tooth", ["14", "26", "34", "45", "36", "48"])
def test_special_relations_of_posterior_teeth(tooth):
    for row in ROWS:
        assert cusp_role(Site(row), tooth, R.EDGE_TO_EDGE) == FUNCTIONAL
        assert cusp_role(Site(row), tooth, R.SCISSOR) == GUIDING

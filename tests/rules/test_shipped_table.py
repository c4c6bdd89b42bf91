"""The whole table of crowns and retainers the shipped set was seeded with.

Each cell is need / target in mm. Sources of the rows: Goodacre, Campagni, Aquilino,
J Prosthet Dent 2001;85:363-376 (from study cards, secondary); Shillingburg,
Fundamentals of Fixed Prosthodontics (from memory, to be confirmed); operative
dentistry study cards (secondary); Weigl et al., J Adv Prosthodont 2018;10:79-84 for
zirconia 3Y; manufacturers' and laboratories' guidelines, names withheld; the rest is
common practice, no source. Where a wall's thickness is stated, the need is that
thickness plus 0.05 cement space plus 0.15 adjustment allowance.
"""

from decimal import Decimal as D

import pytest

from rules.requirements import NeedKey
from rules.teeth import cusp_role
from rules.terms import (
    Cementation,
    Kind,
    OcclusalSurface,
    Quantity,
    Relation,
    Role,
    Site,
)
from tests.rules.builders import SHIPPED

COLUMNS = (
    # site, cusp role, tooth, quantity
    ("buccal_cusps", "functional_cusp", "36", "clearance"),
    ("lingual_cusps", "nonfunctional_cusp", "36", "clearance"),
    ("central_fossa", None, "36", "clearance"),
    ("incisal_edge", None, "11", "reduction"),
    ("lingual_surface", None, "11", "clearance"),
    ("facial_surface", None, "11", "reduction"),
    ("mesial_wall", None, "36", "reduction"),
    ("finish_line", None, "36", "width"),
)
# material, occlusal surface, cementation: functional cusp, non-functional cusp, fossa,
# incisal edge, lingual surface, facial surface, axial wall, finish line.
TABLE = """
full_metal - conventional: 1.5/1.5 1.0/1.0 1.0/1.0 1.0/1.0 0.7/0.7 0.5/0.5 0.5/0.5 0.3/0.3
metal_ceramic ceramic conventional: 2.0/2.0 1.5/1.5 1.5/1.5 1.5/2.0 1.0/1.0 1.2/1.2 1.0/1.2 1.0/1.0
metal_ceramic metal conventional: 1.5/1.5 1.0/1.0 1.0/1.0 1.5/2.0 0.5/0.5 1.2/1.2 0.5/0.5 0.3/0.5
lithium_disilicate - adhesive: 1.5/1.5 1.0/1.5 1.0/1.5 1.5/1.5 1.0/1.0 1.0/1.0 1.0/1.0 0.8/1.0
lithium_disilicate - conventional: 1.5/1.5 1.5/1.5 1.5/1.5 1.5/2.0 1.0/1.5 1.2/1.5 1.0/1.5 1.0/1.0
lithium_disilicate_layered ceramic adhesive: 2.0/2.0 1.5/2.0 1.5/1.5 2.0/2.0 1.2/1.5 1.2/1.2 1.2/1.5 1.0/1.0
lithium_disilicate_layered monolithic adhesive: 1.5/1.5 1.0/1.5 1.0/1.5 2.0/2.0 1.0/1.0 1.2/1.2 1.0/1.0 1.0/1.0
zirconia_3y - conventional: 0.7/1.0 0.7/1.0 0.7/1.0 0.7/1.0 0.5/0.7 0.5/1.0 0.5/0.5 0.3/0.5
zirconia_3y_layered ceramic conventional: 1.5/2.0 1.5/1.5 1.2/1.5 1.8/2.0 1.0/1.0 1.2/1.2 1.0/1.0 0.8/1.0
zirconia_3y_layered monolithic adhesive: 0.7/1.0 0.7/1.0 0.7/1.0 1.8/2.0 0.5/0.7 1.2/1.2 0.5/0.5 0.8/1.0
zirconia_4y - conventional: 1.0/1.2 1.0/1.0 1.0/1.0 1.0/1.2 0.7/0.8 0.7/1.0 0.7/0.8 0.5/0.5
zirconia_5y - adhesive: 1.2/1.5 1.2/1.2 1.2/1.2 1.0/1.5 0.8/1.0 0.8/1.0 0.8/1.0 0.5/0.8
leucite_glass_ceramic - adhesive: 2.0/2.0 1.5/2.0 1.5/1.5 1.5/2.0 1.0/1.5 1.0/1.2 1.0/1.2 1.0/1.0
feldspathic - adhesive: 2.0/2.0 1.5/2.0 1.5/1.5 1.5/2.0 1.0/1.5 1.0/1.2 1.0/1.2 1.0/1.0
resin_ceramic - adhesive: 1.5/1.5 1.5/1.5 1.0/1.5 1.5/1.5 1.0/1.0 0.8/1.0 0.8/1.0 0.8/1.0
pmma_provisional - conventional: 1.0/1.5 1.0/1.5 1.0/1.0 1.0/1.5 0.8/1.0 0.8/1.0 0.8/1.0 0.5/0.8
"""
ROWS = [row.split(": ") for row in TABLE.strip().splitlines()]


def line(material, surface, cementation, column, kind="crown"):
    site, role, tooth, quantity = column
    return SHIPPED.find_need(
        NeedKey(
            material,
            Kind(kind),
            Cementation(cementation),
            None if surface == "-" else OcclusalSurface(surface),
            tooth,
            Site(site),
            Role(role) if role else None,
            Quantity(quantity),
        )
    )


@pytest.mark.parametrize(("head", "cells"), ROWS, ids=[head for head, _c in ROWS])
def test_the_table_of_crowns(head, cells):
    material, surface, cementation = head.split()
    for column, cell in zip(COLUMNS, cells.split(), strict=True):
        found = line(material, surface, cementation, column)
        assert found is not None, column
        least, target = cell.split("/")
        assert (found.min_mm, found.target_mm) == (D(least), D(target)), column


@pytest.mark.parametrize(("head", "cells"), ROWS, ids=[head for head, _c in ROWS])
def test_a_retainer_needs_what_a_crown_needs_where_bridges_are_indicated(head, cells):
    material, surface, cementation = head.split()
    single = ("leucite_glass_ceramic", "feldspathic", "resin_ceramic")
    for column in COLUMNS:
        found = line(material, surface, cementation, column, "retainer")
        crown = line(material, surface, cementation, column)
        assert found is (None if material in single else crown)


@pytest.mark.parametrize("material", [m.key for m in SHIPPED.materials])
@pytest.mark.parametrize("kind", ["pontic", "implant_crown"])
def test_every_required_site_of_a_pontic_and_an_implant_crown_has_a_need(
    material, kind
):
    known = SHIPPED.material(material)
    assert known is not None
    for tooth in ("11", "13", "24", "26", "31", "33", "45", "47"):
        sites = SHIPPED.required(tooth, Kind(kind), Relation.NORMAL)
        for site in sites:
            column = (site, cusp_role(site, tooth, Relation.NORMAL), tooth, "clearance")
            for surface in known.occlusal_surfaces or ("-",):
                found = line(material, surface, known.usual_cementation, column, kind)
                single = ("leucite_glass_ceramic", "feldspathic", "resin_ceramic")
                assert (found is None) == (kind == "pontic" and material in single)

"""How a tooth pair meets: what is required there, and what a reading then proves.

Open bite: not applicable in intercuspation, excursions still judged; scissor bite: no
contact, an explicit statement is needed; no antagonist: reduction to the planned
plane; edge to edge: both rows count as functional (common practice, no source).
"""

from decimal import Decimal as D

import pytest

from rules.terms import Doubt, Verdict
from tests.rules.builders import PROTRUSION, point, run, site_of, strip, unit

LEFT = "left_laterotrusion"
SITES = ("buccal_cusps", "lingual_cusps", "central_fossa")


def reads(position, tooth="36", sites=SITES, **keys):
    return run(
        unit(*(strip(s, position, passes=3) for s in sites), tooth=tooth, **keys)
    )


def test_room_in_a_scissor_bite_is_no_silent_pass():
    for position in ("maximal_intercuspation", PROTRUSION, LEFT):
        result = reads(position, relation="scissor")
        assert result.verdict is Verdict.UNDECIDED
        site = site_of(result, "buccal_cusps")
        assert site.doubts == (Doubt.NO_CONTACT,)
        assert site.advice.text() == (
            "At the buccal cusps: in a scissor bite nothing meets it, so room to the "
            "antagonist proves nothing. Measure the reduction to the planned contour."
        )
        assert not site.at_or_above_need


def test_a_scissor_bite_is_settled_by_the_reduction():
    result = reads(None, relation="scissor")
    assert result.verdict is Verdict.SUFFICIENT
    site = site_of(result, "buccal_cusps")
    # Neither row is functional there, so both take the non-functional need.
    assert (site.quantity, site.need_mm) == ("reduction", D("1.5"))
    both = run(
        unit(
            *(strip(s, None, passes=3) for s in SITES),
            *(strip(s, passes=3) for s in SITES),
            relation="scissor",
        )
    )
    assert both.verdict is Verdict.SUFFICIENT
    assert len(both.units[0].sites) == 6
    asked = site_of(run(unit(relation="scissor")), "buccal_cusps")
    assert (asked.verdict, asked.quantity) == ("unmeasured", "reduction")
    assert "measure the reduction to the planned contour" in asked.advice.text()


def test_a_shortage_in_a_scissor_bite_is_one():
    short = run(unit(strip("buccal_cusps", held=1), relation="scissor"))
    assert site_of(short, "buccal_cusps").verdict is Verdict.INSUFFICIENT


def test_an_open_bite_is_judged_in_an_excursion_not_in_intercuspation():
    result = reads("maximal_intercuspation", relation="open")
    site = site_of(result, "buccal_cusps")
    assert (site.verdict, site.doubts) == ("undecided", (Doubt.NO_CONTACT,))
    assert "the bite is open" in site.advice.text()
    for position in (PROTRUSION, LEFT, None):
        assert reads(position, relation="open").verdict is Verdict.SUFFICIENT
    asked = site_of(run(unit(relation="open")), "buccal_cusps")
    assert "take a reading in protrusion or a laterotrusion" in asked.advice.text()


@pytest.mark.parametrize("tooth", ["16", "25", "34", "46"])
def test_edge_to_edge_takes_the_functional_need_on_both_rows(tooth):
    result = reads("maximal_intercuspation", tooth=tooth, relation="edge_to_edge")
    for row in ("buccal_cusps", "lingual_cusps"):
        site = site_of(result, row)
        assert (site.need_mm, site.role) == (D(2), "functional_cusp")
    assert result.verdict is Verdict.SUFFICIENT


def test_a_crossbite_exchanges_the_needs_of_the_rows():
    normal, crossed = (
        reads("maximal_intercuspation", tooth="16", relation=relation)
        for relation in ("normal", "crossbite")
    )
    needs = [
        [site_of(result, row).need_mm for row in ("buccal_cusps", "lingual_cusps")]
        for result in (normal, crossed)
    ]
    assert needs == [[D("1.5"), D(2)], [D(2), D("1.5")]]


def test_an_anterior_crossbite_is_read_at_the_other_surface():
    upper = run(
        unit(
            strip("facioincisal_surface", passes=1.2),
            strip("incisal_edge", PROTRUSION, passes=2),
            tooth="11",
            relation="crossbite",
        )
    )
    assert upper.verdict is Verdict.SUFFICIENT
    assert site_of(upper, "facioincisal_surface").quantity == "clearance"
    lower = run(unit(tooth="31", relation="crossbite"))
    names = [site.site for site in lower.units[0].sites]
    assert names == ["lingual_surface", "incisal_edge"]


def test_without_an_antagonist_the_planned_plane_is_the_measure():
    result = reads(None, relation="no_antagonist", antagonist="none")
    assert result.verdict is Verdict.SUFFICIENT
    site = site_of(result, "buccal_cusps")
    assert (site.quantity, site.need_mm) == ("reduction", D(2))


@pytest.mark.parametrize("tooth", ["36", "11", "45"])
def test_the_platform_of_an_implant_crown_may_be_read_and_never_must(tooth):
    none = run(unit(tooth=tooth, kind="implant_crown"))
    assert "implant_platform" not in [site.site for site in none.units[0].sites]
    read = run(
        unit(strip("implant_platform", passes=8), tooth=tooth, kind="implant_crown")
    )
    site = site_of(read, "implant_platform")
    assert (site.quantity, site.required) == ("clearance", False)
    assert site.verdict in (Verdict.SUFFICIENT, Verdict.UNDECIDED)


def test_a_platform_under_a_prepared_antagonist_adds_both_needs():
    """What faces the seat of the crown faces the platform under it."""
    facing = {"tooth": "26", "kind": "crown", "material": "metal_ceramic"}
    read = run(
        unit(
            strip("implant_platform", passes=12),
            kind="implant_crown",
            antagonist="prepared",
            antagonists=[facing],
            planned_plane=True,
        )
    )
    site = site_of(read, "implant_platform")
    own = site.grounds.need.own
    assert own is not None
    # 2.0 mm: the functional cusp of the metal-ceramic crown above.
    assert site.need_mm == own.min_mm + D(2)
    assert site.verdict is Verdict.SUFFICIENT


# Incisal edge by clearance and by reduction, facial surface by reduction, finish line
# by width: one tooth, three quantities, each against its own line. Thickness is none
# of them: it only enters a need as a sum (common practice, no source).
def test_the_quantities_of_one_tooth_are_judged_apart():
    def probe(site, value):
        return point(site, value, 0.02, position=None, method="index_probe")

    result = run(
        unit(
            strip("incisal_edge", PROTRUSION, passes=2),
            probe("incisal_edge", 1.0),
            probe("facial_surface", 1.0),
            probe("finish_line", 1.2),
            tooth="11",
        )
    )
    found = {
        (site.site.value, site.quantity.value): site.verdict.value
        for site in result.units[0].sites
        if site.measured
    }
    assert found == {
        ("incisal_edge", "clearance"): "sufficient",
        ("incisal_edge", "reduction"): "insufficient",
        ("facial_surface", "reduction"): "insufficient",
        ("finish_line", "width"): "sufficient",
    }

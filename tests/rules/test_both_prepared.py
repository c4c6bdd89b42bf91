"""Both arches prepared: the need is the sum, the gap is one reading of both."""

from decimal import Decimal as D

import pytest

from rules.terms import Doubt, Verdict
from tests.rules.builders import PROTRUSION, point, run, site_of, strip, unit


def facing(tooth="26", material="metal_ceramic", **keys):
    return {"tooth": tooth, "kind": "crown", "material": material} | keys


def prepared(*readings, others=None, **keys):
    others = [facing()] if others is None else others
    return unit(*readings, antagonist="prepared", antagonists=others, **keys)


# Reference value: metal-ceramic on metal-ceramic, both prepared: 3.5 mm at facing
# sites, as the sum of both needs (common practice, no source).
@pytest.mark.parametrize(
    "site",
    [
        "buccal_cusps",
        "lingual_cusps",
        "central_fossa",
        "marginal_ridge",
        "functional_cusp_bevel",
    ],
)
def test_metal_ceramic_on_metal_ceramic_needs_the_sum(site):
    found = site_of(run(prepared(strip(site, passes=3.5))), site)
    assert found.need_mm == D("3.5")
    assert found.target_mm == D("3.5")
    texts = [note.text() for note in (found.advice, *found.notes)]
    assert any(text.startswith("Both teeth are prepared: 3.5 mm = ") for text in texts)


def test_edge_to_edge_adds_two_functional_needs():
    found = site_of(
        run(prepared(strip("buccal_cusps", passes=3.5), relation="edge_to_edge")),
        "buccal_cusps",
    )
    assert found.need_mm == D(4)


def test_a_thickness_of_the_facing_unit_is_shown_as_its_sum():
    found = site_of(
        run(
            prepared(
                strip("buccal_cusps", passes=3.5),
                others=[facing(material="zirconia_3y")],
            )
        ),
        "buccal_cusps",
    )
    assert found.need_mm == D("2.7")
    assert "Weigl" in found.source
    assert found.source.startswith("common practice, no source + ")
    assert any("0.5 mm thickness" in note.text() for note in found.notes)


def test_the_larger_of_several_facing_units_counts():
    others = [facing("25", "zirconia_3y"), facing("26", "feldspathic")]
    found = site_of(
        run(prepared(strip("lingual_cusps", passes=3.5), others=others)),
        "lingual_cusps",
    )
    assert found.need_mm == D("1.5") + D(2)
    reverse = site_of(
        run(prepared(strip("lingual_cusps", passes=3.5), others=others[::-1])),
        "lingual_cusps",
    )
    assert reverse.need_mm == found.need_mm


def test_the_largest_target_counts_though_another_needs_more():
    # Whoever aims deeper sets where a re-preparation stops.
    def target(*others):
        asked = prepared(strip("buccal_cusps", held=2.0), others=list(others))
        return site_of(run(asked), "buccal_cusps")

    deep = facing("25", "lithium_disilicate")
    most = facing("26", "zirconia_5y")
    alone = [target(one) for one in (deep, most)]
    both = target(deep, most)
    assert alone[0].need_mm < alone[1].need_mm == both.need_mm
    assert both.target_mm == alone[0].target_mm > alone[1].target_mm


def test_sufficient_only_once_the_split_is_fixed():
    open_split = site_of(
        run(prepared(strip("buccal_cusps", passes=3.5))), "buccal_cusps"
    )
    assert open_split.verdict is Verdict.UNDECIDED
    assert open_split.doubts == (Doubt.SPLIT_NOT_FIXED,)
    fixed = site_of(
        run(prepared(strip("buccal_cusps", passes=3.5), planned_plane=True)),
        "buccal_cusps",
    )
    assert fixed.verdict is Verdict.SUFFICIENT


def test_insufficient_stays_insufficient():
    found = site_of(run(prepared(strip("buccal_cusps", held=3.0))), "buccal_cusps")
    assert found.verdict is Verdict.INSUFFICIENT


def test_a_point_at_the_need_may_not_be_cleared_while_the_split_is_open():
    found = site_of(run(prepared(point("buccal_cusps", 3.55, 0.1))), "buccal_cusps")
    assert found.doubts == (Doubt.WITHIN_UNCERTAINTY, Doubt.SPLIT_NOT_FIXED)
    assert not found.at_or_above_need


@pytest.mark.parametrize("length", [{"passes": 9}, {"held": 0.5}])
def test_without_the_facing_unit_nothing_is_decided(length):
    result = run(unit(strip("buccal_cusps", **length), antagonist="prepared"))
    found = site_of(result, "buccal_cusps")
    assert found.verdict is Verdict.UNDECIDED
    assert found.doubts == (Doubt.FACING_NEED_UNKNOWN,)
    assert found.need_mm is None
    assert "2.0 mm is this unit's own part" in found.advice.text()


def test_a_facing_unit_without_a_need_decides_nothing():
    others = [facing() | {"kind": "onlay"}]
    found = site_of(
        run(prepared(strip("buccal_cusps", passes=9), others=others)), "buccal_cusps"
    )
    assert found.doubts == (Doubt.FACING_NEED_UNKNOWN,)


def test_a_scissor_bite_shares_no_gap():
    found = site_of(
        run(prepared(strip("buccal_cusps", passes=9), relation="scissor")),
        "buccal_cusps",
    )
    assert found.doubts == (Doubt.FACING_NEED_UNKNOWN,)


def test_an_own_reduction_is_not_shared():
    result = run(
        prepared(point("facial_wall", 1.5, 0.05, position=None, method="index_probe"))
    )
    assert site_of(result, "facial_wall").need_mm == D(1)


def pair(*lower, upper=()):
    return [
        prepared(*lower, planned_plane=True),
        prepared(*upper, tooth="26", others=[facing("36")], planned_plane=True),
    ]


LOWER = [
    strip("buccal_cusps", passes=3.5),
    strip("lingual_cusps", passes=3.5),
    strip("central_fossa", passes=3.5),
]


def test_one_reading_serves_both_units():
    own = [strip("buccal_cusps", passes=3.5)]
    result = run(*pair(*LOWER, upper=own))
    assert result.verdict is Verdict.SUFFICIENT
    upper = {s.site.value: s for s in result.units[1].sites}
    assert upper["central_fossa"].low_mm == D("3.5")
    assert upper["lingual_cusps"].low_mm == D("3.5")
    assert upper["functional_cusp_bevel"].low_mm == D("3.5")


def test_own_readings_are_not_overruled_by_the_other_unit():
    result = run(*pair(*LOWER, upper=[strip("central_fossa", passes=4.0)]))
    assert site_of(result, "central_fossa", 1).low_mm == D(4)


def test_ridges_cusps_and_reductions_are_not_mirrored():
    readings = [
        strip("marginal_ridge", passes=3.5),
        strip("distal_cusp", passes=3.5),
        point("facial_wall", 1.5, 0.05, position=None, method="index_probe"),
    ]
    result = run(*pair(*readings))
    assert {s.verdict for s in result.units[1].sites} == {Verdict.UNMEASURED}


def test_a_site_the_other_kind_lacks_is_not_mirrored():
    lower, upper = pair(strip("lingual_cusps", passes=3.5))
    for item in (upper, lower["antagonists"][0]):
        item["kind"] = "pontic"
    result = run(lower, upper)
    assert "functional_cusp_bevel" not in [s.site for s in result.units[1].sites]


def test_a_unit_that_does_not_name_the_other_shares_nothing():
    lower, upper = pair(*LOWER)
    lower["antagonists"] = [facing("27")]
    result = run(lower, upper)
    assert {s.verdict for s in result.units[1].sites} == {Verdict.UNMEASURED}


def test_anterior_teeth_share_guidance():
    upper = unit(
        strip("lingual_surface", passes=2.2),
        strip("lingual_surface", PROTRUSION, passes=2.2),
        strip("incisal_edge", PROTRUSION, passes=4.0),
        tooth="11",
        antagonist="prepared",
        antagonists=[facing("41")],
        planned_plane=True,
    )
    result = run(upper)
    # lingual surface 1.0 + facio-incisal 1.2; incisal edges 1.5 + 1.5
    assert site_of(result, "lingual_surface").need_mm == D("2.2")
    assert site_of(result, "incisal_edge").need_mm == D(3)
    assert result.verdict is Verdict.SUFFICIENT

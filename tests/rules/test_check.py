"""Verdicts of sites, units and cases."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from rules.check import run_check
from rules.payload import parse_check
from rules.requirements import Alternative
from rules.results import worst
from rules.terms import Doubt, Kind, Verdict, label
from tests.rules.builders import (
    PROTRUSION,
    SHIPPED,
    answer,
    point,
    run,
    site_of,
    strip,
    unit,
)

# The request example of the interface's contract, and what it must answer.
EXAMPLE = unit(
    strip("buccal_cusps", passes=2.0),
    strip("lingual_cusps", passes=1.0, held=1.5),
    point("central_fossa", 1.7, 0.1),
    occlusal_surface="ceramic",
    wall_heights_mm={"facial": 4.6, "lingual": 4.8},
    base_width_mm=10,
)
FULL = [
    strip("buccal_cusps", passes=2.0),
    strip("lingual_cusps", passes=1.5),
    strip("central_fossa", passes=1.5),
]


def test_the_example_of_the_contract():
    body = answer(EXAMPLE, k=0)
    assert body["verdict"] == "insufficient"
    assert body["rule_set"] == {
        "name": SHIPPED.name,
        "version": SHIPPED.version,
        "digest": SHIPPED.digest,
    }
    (only,) = body["units"]
    assert (only["tooth"], only["verdict"]) == ("36", "insufficient")
    buccal, lingual, fossa = only["sites"]
    assert {
        key: lingual[key]
        for key in lingual
        if key not in ("source", "advice", "alternatives")
    } == {
        "site": "lingual_cusps",
        "role": "nonfunctional_cusp",
        "quantity": "clearance",
        "verdict": "insufficient",
        "need_mm": 1.5,
        "target_mm": 1.5,
        "measured_mm": {"low": 1.0, "high": 1.5},
        "governing_position": "maximal_intercuspation",
        "shortage_mm": {"low": 0.0, "high": 0.5},
        "conformance_probability": 0.0,
    }
    assert lingual["source"] == "common practice, no source"
    assert lingual["advice"].startswith("Somewhere along the lingual cusps: short by")
    assert buccal["verdict"] == "sufficient"
    assert buccal["measured_mm"] == {"low": 2.0, "high": None}
    assert buccal["conformance_probability"] is None
    assert buccal["role"] == "functional_cusp"
    assert "u_mm" not in buccal
    assert fossa["verdict"] == "sufficient"
    assert fossa["measured_mm"] == {"low": 1.7, "high": 1.7}
    assert fossa["u_mm"] == 0.1
    assert fossa["conformance_probability"] == 0.97725
    assert fossa["role"] is None
    by_kind = {(o["kind"], o.get("material")): o for o in only["options"]}
    depth = by_kind["re_preparation", None]
    assert depth["feasible"]
    assert depth["depth_mm"] == {"lingual_cusps": {"low": 0.0, "high": 0.5}}
    assert by_kind["change_material", "zirconia_3y"]["feasible"]


def test_the_same_readings_under_the_default_guard_band():
    result = run(EXAMPLE)
    # 1.7 < 1.5 + 1.645 * 0.1
    assert site_of(result, "central_fossa").verdict is Verdict.SUFFICIENT
    closer = run(unit(point("central_fossa", 1.66, 0.1)))
    assert site_of(closer, "central_fossa").verdict is Verdict.UNDECIDED


def test_verdicts_alone_are_the_same_without_ways_out():
    request = parse_check({"units": [EXAMPLE]}, rule_set=SHIPPED)
    whole = run_check(SHIPPED, request)
    alone = run_check(SHIPPED, request, options=False)
    assert whole.units[0].options
    assert alone.units[0].options == ()
    assert alone.units[0].sites == whole.units[0].sites
    assert alone.verdict is whole.verdict


def test_a_unit_is_its_worst_site_and_a_case_its_worst_unit():
    assert run(unit(*FULL)).verdict is Verdict.SUFFICIENT
    assert run(unit(*FULL[:2])).verdict is Verdict.UNMEASURED
    assert run(unit(*FULL[:2], point("central_fossa", 1.5, 0.1))).verdict == "undecided"
    short = unit(*FULL[:2], strip("central_fossa", held=1.0))
    result = run(unit(*FULL), short | {"tooth": "37"})
    assert [u.verdict.value for u in result.units] == ["sufficient", "insufficient"]
    assert result.verdict is Verdict.INSUFFICIENT
    assert result.k == SHIPPED.k


def test_order_of_verdicts():
    v = Verdict
    assert worst([v.SUFFICIENT, v.UNMEASURED]) is v.UNMEASURED
    assert worst([v.UNMEASURED, v.UNDECIDED]) is v.UNDECIDED
    assert worst([v.UNDECIDED, v.INSUFFICIENT]) is v.INSUFFICIENT
    assert worst([v.NOT_APPLICABLE, v.SUFFICIENT]) is v.SUFFICIENT
    assert worst([v.NOT_APPLICABLE]) is v.NOT_APPLICABLE
    assert worst([]) is v.UNMEASURED


def test_no_readings_at_all_is_unmeasured_with_every_required_site():
    body = answer(unit())
    assert body["verdict"] == "unmeasured"
    sites = body["units"][0]["sites"]
    assert [s["site"] for s in sites] == [
        "buccal_cusps",
        "lingual_cusps",
        "central_fossa",
    ]
    assert {s["verdict"] for s in sites} == {"unmeasured"}
    assert sites[0]["measured_mm"] is None
    assert sites[0]["shortage_mm"] is None
    assert sites[0]["governing_position"] is None
    assert sites[0]["need_mm"] == 2.0
    assert sites[0]["advice"] == "At the buccal cusps: take a reading."


def test_a_row_counts_as_read_when_all_its_cusps_are():
    cusps = ["mesiobuccal_cusp", "distobuccal_cusp", "distal_cusp"]
    all_read = run(unit(*FULL[1:], *(strip(cusp, passes=2.0) for cusp in cusps)))
    assert all_read.verdict is Verdict.SUFFICIENT
    assert "buccal_cusps" not in [s.site for s in all_read.units[0].sites]
    two = run(unit(*FULL[1:], *(strip(cusp, passes=2.0) for cusp in cusps[:2])))
    assert site_of(two, "buccal_cusps").verdict is Verdict.UNMEASURED


def test_a_short_row_is_short_somewhere_but_a_cusp_is_short_itself():
    row = site_of(run(unit(strip("buccal_cusps", held=2.0))), "buccal_cusps")
    assert row.advice.text().startswith("Somewhere along the buccal cusps: short by")
    cusp = site_of(run(unit(strip("distal_cusp", held=2.0))), "distal_cusp")
    assert cusp.advice.text().startswith("At the distal cusp: short by up to 2.0 mm")
    exact = site_of(run(unit(point("distal_cusp", 1.5)), k=0), "distal_cusp")
    assert exact.advice.text().startswith("At the distal cusp: short by 0.5 mm of the")
    along = site_of(run(unit(point("buccal_cusps", 1.5)), k=0), "buccal_cusps")
    assert along.advice.text().startswith(
        "Somewhere along the buccal cusps: short by 0.5"
    )


def test_the_maxilla_says_palatal():
    result = run(unit(strip("lingual_cusps", held=2.0), tooth="16"))
    site = site_of(result, "lingual_cusps")
    assert "palatal cusps" in site.advice.text()
    assert site.label == "palatal cusps"
    everything = str(answer(unit(strip("lingual_cusps", held=2.0), tooth="16")))
    assert "lingual cusps" not in everything.replace("lingual_cusps", "")


def test_positions_are_judged_by_themselves_and_the_worst_governs():
    site = site_of(
        run(
            unit(
                strip("buccal_cusps", passes=2.0),
                strip("buccal_cusps", "left_laterotrusion", passes=1.0, held=1.5),
                strip("buccal_cusps", "right_laterotrusion", passes=2.5),
            )
        ),
        "buccal_cusps",
    )
    assert site.verdict is Verdict.INSUFFICIENT
    assert site.governing_position == "left_laterotrusion"
    assert (site.shortage_low_mm, site.shortage_high_mm) == (D("0.5"), D("1.0"))


def test_ties_of_governance_go_to_the_smaller_low_then_the_listed_order():
    def governing(*readings):
        return site_of(run(unit(*readings)), "central_fossa").governing_position

    assert governing(
        strip("central_fossa", passes=2.0),
        strip("central_fossa", PROTRUSION, passes=1.5),
    ) == (PROTRUSION)
    assert governing(
        strip("central_fossa", "left_laterotrusion", passes=2.0),
        strip("central_fossa", "right_laterotrusion", passes=2.0),
        strip("central_fossa", passes=3.0),
    ) == ("right_laterotrusion")


def test_a_missing_required_position_leaves_a_site_undecided():
    readings = [
        strip("lingual_surface", passes=1.5),
        strip("incisal_edge", PROTRUSION, passes=2.0),
    ]
    result = run(unit(*readings, tooth="11"))
    site = site_of(result, "lingual_surface")
    assert site.verdict is Verdict.UNDECIDED
    assert site.doubts == (Doubt.POSITION_MISSING,)
    assert site.advice.text() == (
        "At the palatal surface: take a reading in protrusion too."
    )
    both = unit(*readings, strip("lingual_surface", PROTRUSION, passes=1.0), tooth="11")
    assert run(both).verdict is Verdict.SUFFICIENT


def test_a_missing_position_cannot_soften_insufficient():
    site = site_of(
        run(unit(strip("lingual_surface", held=1.0), tooth="11")), "lingual_surface"
    )
    assert site.verdict is Verdict.INSUFFICIENT
    assert "At the palatal surface: take a reading in protrusion too." in [
        note.text() for note in site.notes
    ]


def test_advised_excursions_are_only_a_note():
    site = site_of(run(unit(*FULL)), "buccal_cusps")
    assert site.verdict is Verdict.SUFFICIENT
    assert [note.text() for note in site.notes] == [
        "Readings in right laterotrusion and left laterotrusion are advised.",
        "The rule set notes: in a laboratory's note 0.3 framework + 0.2 opaque + 1.5 "
        "ceramic.",
    ]


def test_open_bite_needs_no_reading_in_intercuspation():
    result = run(
        unit(
            strip("buccal_cusps", PROTRUSION, passes=2.0),
            strip("lingual_cusps", PROTRUSION, passes=1.5),
            strip("central_fossa", PROTRUSION, passes=1.5),
            relation="open",
        )
    )
    assert result.verdict is Verdict.SUFFICIENT


def test_crossbite_exchanges_the_needs():
    result = run(unit(*FULL, relation="crossbite"))
    assert site_of(result, "buccal_cusps").need_mm == D("1.5")
    lingual = site_of(result, "lingual_cusps")
    assert (lingual.need_mm, lingual.role) == (D(2), "functional_cusp")
    assert lingual.verdict is Verdict.UNDECIDED


def test_edge_to_edge_takes_the_stricter_need_for_both_rows():
    result = run(unit(*FULL, relation="edge_to_edge"))
    needs = {site_of(result, s).need_mm for s in ("buccal_cusps", "lingual_cusps")}
    assert needs == {D(2)}


def test_no_antagonist_asks_for_the_reduction_to_the_planned_plane():
    readings = [
        strip("buccal_cusps", None, passes=2.0),
        strip("lingual_cusps", None, passes=1.5),
        point("central_fossa", 1.5, position=None, method="index_probe"),
    ]
    alone = {"relation": "no_antagonist", "antagonist": "none"}
    result = run(unit(*readings, **alone), k=0)
    assert result.verdict is Verdict.SUFFICIENT
    site = site_of(result, "buccal_cusps")
    assert (site.quantity, site.need_mm, site.governing_position) == (
        "reduction",
        D(2),
        None,
    )
    unread = site_of(run(unit(**alone)), "buccal_cusps")
    assert unread.advice.text() == (
        "At the buccal cusps: measure the reduction to the planned contour."
    )


def test_an_incisal_edge_is_read_as_clearance_and_as_reduction():
    result = run(
        unit(
            strip("incisal_edge", PROTRUSION, passes=2.0),
            point("incisal_edge", 1.2, 0.05, position=None, method="index_probe"),
            tooth="11",
        )
    )
    clearance = site_of(result, "incisal_edge", quantity="clearance")
    reduction = site_of(result, "incisal_edge", quantity="reduction")
    assert clearance.verdict is Verdict.SUFFICIENT
    assert reduction.verdict is Verdict.INSUFFICIENT


def test_disagreeing_readings_are_undecided_and_say_what_to_verify():
    site = site_of(
        run(unit(strip("central_fossa", held=1.0), strip("central_fossa", passes=1.5))),
        "central_fossa",
    )
    assert site.verdict is Verdict.UNDECIDED
    assert site.doubts == (Doubt.DISAGREEMENT,)
    assert site.conformance_probability is None
    assert (site.shortage_low_mm, site.shortage_high_mm) == (None, None)
    assert site.advice.text() == (
        "At the central fossa in maximal intercuspation: less than 1.0 mm (thickness "
        "strip) and at least 1.5 mm (thickness strip) contradict each other: verify "
        "die and mounting against the jaw record, then re-measure."
    )


def test_disagreeing_reductions_have_no_jaw_position():
    site = site_of(
        run(
            unit(
                point("finish_line", 0.5, 0.05, position=None, method="other"),
                point("finish_line", 1.5, 0.05, position=None, method="other"),
            )
        ),
        "finish_line",
    )
    assert site.advice.text() == (
        "At the finish line: 0.5 mm (other method) and 1.5 mm (other method) differ by "
        "1.0 mm; up to 0.14 mm would be measuring uncertainty: check die and index, "
        "then re-measure."
    )


def test_a_scan_through_the_antagonist_asks_for_a_new_bite():
    result = run(unit(point("central_fossa", -0.2, 0.05, method="scan")))
    site = site_of(result, "central_fossa")
    assert site.verdict is Verdict.UNDECIDED
    assert site.doubts == (Doubt.INTERPENETRATION,)
    assert site.low_mm == D("-0.2")
    assert "Re-register the bite" in site.advice.text()
    body = answer(unit(point("central_fossa", -0.001 * 200, 0.05, method="scan")))
    fossa = [s for s in body["units"][0]["sites"] if s["site"] == "central_fossa"][0]
    assert fossa["measured_mm"] == {"low": -0.2, "high": -0.2}


def test_contact_is_accepted_and_flagged():
    site = site_of(run(unit(point("central_fossa", 0))), "central_fossa")
    assert site.verdict is Verdict.INSUFFICIENT
    assert "A reading of 0 means contact." in [note.text() for note in site.notes]
    strips = site_of(run(unit(strip("central_fossa", passes=0))), "central_fossa")
    assert "A reading of 0 means contact." in [note.text() for note in strips.notes]


@pytest.mark.parametrize(
    ("value", "allowed", "words"),
    [(1.55, True, "at or above"), (1.5, True, "at or above"), (1.45, False, "below")],
)
def test_only_a_point_at_or_above_the_need_may_be_cleared(value, allowed, words):
    site = site_of(run(unit(point("central_fossa", value, 0.1))), "central_fossa")
    assert site.verdict is Verdict.UNDECIDED
    assert site.doubts == (Doubt.WITHIN_UNCERTAINTY,)
    assert site.at_or_above_need is allowed
    assert words in site.advice.text()


def test_other_doubts_rule_clearing_out():
    strip_only = run(unit(strip("central_fossa", passes=1.0)))
    assert not site_of(strip_only, "central_fossa").at_or_above_need
    other = run(
        unit(
            point("central_fossa", 1.55, 0.1),
            strip("central_fossa", PROTRUSION, passes=1.0, held=2.0),
        )
    )
    assert not site_of(other, "central_fossa").at_or_above_need
    missing = run(unit(point("lingual_surface", 1.05, 0.1), tooth="11"))
    assert not site_of(missing, "lingual_surface").at_or_above_need
    helped = run(
        unit(
            point("central_fossa", 1.55, 0.1),
            strip("central_fossa", PROTRUSION, passes=2.0),
        )
    )
    assert site_of(helped, "central_fossa").at_or_above_need


def test_strips_that_do_not_decide_ask_for_another():
    closed = site_of(
        run(unit(strip("central_fossa", passes=1.0, held=2.0))), "central_fossa"
    )
    assert closed.doubts == (Doubt.INTERVAL_HOLDS_NEED,)
    assert closed.conformance_probability == pytest.approx(0.5)
    assert "Try a strip in between" in closed.advice.text()
    open_end = site_of(run(unit(strip("central_fossa", passes=1.0))), "central_fossa")
    assert open_end.conformance_probability is None
    assert "Try a thicker strip" in open_end.advice.text()
    assert open_end.shortage_low_mm == 0


def test_reductions_and_widths_are_judged_without_a_position():
    result = run(
        unit(
            point("finish_line", 0.6, 0.05, position=None, method="other"),
            point("facial_wall", 1.4, 0.05, position=None, method="index_probe"),
        )
    )
    width = site_of(result, "finish_line")
    assert (width.quantity, width.verdict) == ("width", "insufficient")
    assert site_of(result, "facial_wall").verdict is Verdict.SUFFICIENT
    sites = [s.site for s in result.units[0].sites]
    assert sites.index("central_fossa") < sites.index("facial_wall")


@pytest.mark.parametrize("kind", [Kind.PONTIC, Kind.IMPLANT_CROWN, Kind.ONLAY])
def test_a_kind_without_a_need_is_undecided_never_sufficient(kind):
    silent = replace(
        SHIPPED, needs=tuple(n for n in SHIPPED.needs if kind not in n.kinds)
    )
    only = unit(*FULL, kind=kind.value)
    result = run(only, rule_set=silent)
    assert result.verdict is Verdict.UNDECIDED
    site = site_of(result, "buccal_cusps")
    assert site.doubts == (Doubt.NO_NEED,)
    assert (site.need_mm, site.shortage_low_mm, site.source) == (None, None, "")
    assert not site.at_or_above_need
    assert site.advice.text().startswith(
        f"Not decided: no requirement for Metal-ceramic as {label(kind)} at the buccal "
        "cusps."
    )
    body = answer(only, rule_set=silent)
    assert body["units"][0]["sites"][0]["need_mm"] is None
    unread = site_of(run(only | {"readings": []}, rule_set=silent), "buccal_cusps")
    assert "no requirement for Metal-ceramic" in unread.notes[0].text()


def test_an_unread_pontic_is_unmeasured():
    assert run(unit(kind="pontic")).verdict is Verdict.UNMEASURED


def test_a_range_that_starts_above_zero_is_named_in_full():
    site = site_of(run(unit(strip("distal_cusp", passes=0.5, held=1))), "distal_cusp")
    assert site.advice.text().startswith("At the distal cusp: short by 1.0 to 1.5 mm")


STALE = {"stale": True}


def test_a_stale_reading_proves_no_sufficiency():
    result = run(unit(*(reading | STALE for reading in FULL)))
    assert result.verdict is Verdict.UNDECIDED
    site = site_of(result, "central_fossa")
    assert site.doubts == (Doubt.STALE,)
    assert site.advice.text() == (
        "At the central fossa: the reading was taken before the provisional was lost "
        "or found high, and the tooth may have moved since. Measure again."
    )
    assert not site.at_or_above_need
    close = site_of(run(unit(point("central_fossa", 1.55, 0.1) | STALE)), site.site)
    assert close.doubts == (Doubt.WITHIN_UNCERTAINTY, Doubt.STALE)
    assert not close.at_or_above_need


def test_a_stale_reading_still_proves_a_shortage():
    site = site_of(run(unit(strip("central_fossa", held=1) | STALE)), "central_fossa")
    assert site.verdict is Verdict.INSUFFICIENT


def test_a_fresh_reading_of_the_position_sets_stale_ones_aside():
    old = strip("central_fossa", held=1) | STALE
    site = site_of(run(unit(*FULL, old)), "central_fossa")
    assert site.verdict is Verdict.SUFFICIENT
    assert site.notes[0].text().startswith("A reading from before the provisional")
    elsewhere = strip("central_fossa", PROTRUSION, passes=2) | STALE
    other = site_of(run(unit(*FULL, elsewhere)), "central_fossa")
    assert (other.verdict, other.doubts) == (Verdict.UNDECIDED, (Doubt.STALE,))
    assert other.governing_position == PROTRUSION


def test_the_tolerance_of_the_strips_used_overrules_the_sets():
    exact = strip("central_fossa", passes=1.5)
    assert site_of(run(unit(exact)), "central_fossa").verdict is Verdict.SUFFICIENT
    loose = site_of(run(unit(exact | {"delta_mm": "0.02"})), "central_fossa")
    assert (loose.verdict, loose.low_mm) == (Verdict.UNDECIDED, D("1.48"))
    wide = replace(SHIPPED, strip_delta_mm=D("0.1"))
    own = site_of(run(unit(exact | {"delta_mm": 0}), rule_set=wide), "central_fossa")
    assert (own.verdict, own.low_mm) == (Verdict.SUFFICIENT, D("1.5"))


def test_other_figures_for_a_need_stand_beside_the_chosen_one():
    other = Alternative(D("1.3"), "operative study cards", "ceramic occlusal")
    needs = tuple(
        replace(n, alternatives=(other,)) if n.material == "metal_ceramic" else n
        for n in SHIPPED.needs
    )
    body = answer(unit(*FULL[:2]), rule_set=replace(SHIPPED, needs=needs))
    told = {
        "min_mm": 1.3,
        "source": "operative study cards",
        "note": "ceramic occlusal",
    }
    for site in body["units"][0]["sites"]:
        assert site["alternatives"] == [told]
    assert body["units"][0]["sites"][2]["verdict"] == "unmeasured"

"""Readings that contradict each other: which, by how much, and what settles it."""

from decimal import Decimal as D

import pytest

from rules.readings import Point, Reading, combine
from rules.terms import Doubt, Method, Side, Site, Verdict
from tests.rules.builders import MIP, answer, point, run, site_of, strip, unit

MOUTH = {"side": "clinic", "basis": "mouth"}
MODELS = {"side": "laboratory", "basis": "model", "mounting_number": 2}


def advice(*readings, site="central_fossa", **keys):
    found = site_of(run(unit(*readings, **keys)), site)
    assert found.verdict is Verdict.UNDECIDED
    assert found.doubts == (Doubt.DISAGREEMENT,)
    assert (found.shortage_low_mm, found.shortage_high_mm) == (None, None)
    assert found.conformance_probability is None
    return found.advice.text()


# 2 * sqrt(0.12^2 + 0.10^2) = 0.3124: two standard uncertainties of a difference
# (GUM, propagation of independent inputs; rounded down, so never overstated).
def test_clinic_and_laboratory_are_named_with_the_arithmetic():
    clinic = point("central_fossa", 1.5, 0.12) | MOUTH
    laboratory = point("central_fossa", 0.9, 0.1, method="cast_caliper") | MODELS
    expected = (
        "At the central fossa in maximal intercuspation: clinic 1.5 mm (mouth) and "
        "laboratory 0.9 mm (models, mounting 2) differ by 0.6 mm; up to 0.31 mm would "
        "be measuring uncertainty: verify die and mounting against the jaw record, "
        "then re-measure."
    )
    assert advice(clinic, laboratory) == expected
    assert advice(laboratory, clinic) == expected


def test_a_strip_and_a_point_name_the_distance_and_twice_the_uncertainty():
    told = advice(
        strip("central_fossa", passes=1.5) | MOUTH,
        point("central_fossa", 1.2, 0.1, method="scan") | {"basis": "scan"},
    )
    assert (
        "1.2 mm (scan file) and clinic at least 1.5 mm (mouth) differ by 0.3 mm; up "
        "to 0.2 mm would be measuring uncertainty"
    ) in told


def test_the_pair_furthest_apart_is_named():
    told = advice(
        point("central_fossa", 1.5, 0.05) | MOUTH,
        point("central_fossa", 1.9, 0.05),
        point("central_fossa", 2.4, 0.05) | MODELS,
    )
    assert "clinic 1.5 mm (mouth) and laboratory 2.4 mm" in told


def test_other_ways_to_say_an_interval():
    told = advice(
        strip("central_fossa", drags=1.0) | {"side": "clinic"},
        strip("central_fossa", passes=1.5, held=2) | MODELS,
    )
    assert "clinic 0.9 to 1.1 mm (thickness strip)" in told
    assert "laboratory 1.5 to 2.0 mm (models, mounting 2)" in told
    assert "at most 0.15 mm" in advice(
        strip("central_fossa", drags=0.05), strip("central_fossa", passes=1)
    )


def test_the_answer_has_no_shortage_where_neither_governs():
    body = answer(
        unit(
            point("central_fossa", 0.5, 0.05),
            point("central_fossa", 1.0, 0.05),
            point("buccal_cusps", -0.3, 0.05, method="scan"),
        )
    )
    sites = {site["site"]: site for site in body["units"][0]["sites"]}
    assert sites["central_fossa"]["shortage_mm"] is None
    assert sites["central_fossa"]["measured_mm"] == {"low": 0.5, "high": 1.0}
    assert sites["buccal_cusps"]["shortage_mm"] is None


def reading(value, u, side=None):
    return Reading(
        Site.CENTRAL_FOSSA, Method.OTHER, None, value_mm=D(value), u_mm=D(u), side=side
    )


def test_every_pair_at_odds_is_kept_with_its_numbers():
    found = combine(
        [reading("1.0", "0.03"), reading("1.2", "0.04"), reading("1.21", "0.04")],
        delta=D(0),
        drag=D("0.1"),
        u_of={},
    )
    assert [(c.apart_mm, c.allowed_mm) for c in found.conflicts] == [
        (D("0.21"), D("0.10")),
        (D("0.20"), D("0.10")),
    ]
    assert all(c.one.says == Point(D("1.0"), D("0.03")) for c in found.conflicts)
    assert len(found.meanings) == 3


def test_readings_keep_whose_they_are():
    found = combine(
        [reading("1.0", "0.1", Side.LABORATORY), reading("1.1", "0.1", Side.CLINIC)],
        delta=D(0),
        drag=D("0.1"),
        u_of={},
    )
    assert not found.conflicts
    assert [one.reading.side for one in found.meanings] == ["clinic", "laboratory"]


# ---- a row and its single cusps ---------------------------------------------------


def row_and_cusps(*readings, tooth="36"):
    return run(unit(*readings, tooth=tooth))


def test_a_row_that_slides_contradicts_a_cusp_that_holds():
    result = row_and_cusps(
        strip("buccal_cusps", passes=1.5), strip("distal_cusp", held=1.0)
    )
    for name in ("buccal_cusps", "distal_cusp"):
        site = site_of(result, name)
        assert site.verdict is Verdict.UNDECIDED
        assert site.doubts == (Doubt.DISAGREEMENT,)
        assert site.shortage_high_mm is None
        assert site.advice.text() == (
            f"At the {site.label} in maximal intercuspation: the row and its cusp "
            "contradict each other, buccal cusps at least 1.5 mm but distal cusp less "
            "than 1.0 mm. Measure both again."
        )


def test_other_cusps_of_the_row_keep_their_verdict():
    result = row_and_cusps(
        strip("buccal_cusps", passes=2.0),
        strip("distal_cusp", held=1.0),
        strip("mesiobuccal_cusp", passes=2.0),
        strip("lingual_cusps", passes=2.0),
    )
    assert site_of(result, "mesiobuccal_cusp").verdict is Verdict.SUFFICIENT
    assert site_of(result, "lingual_cusps").verdict is Verdict.SUFFICIENT


def test_a_row_held_though_every_cusp_slides_is_a_contradiction_too():
    cusps = ("mesiobuccal_cusp", "distobuccal_cusp", "distal_cusp")
    sliding = [strip(cusp, passes=2.0) for cusp in cusps]
    held = strip("buccal_cusps", held=1.5)
    site = site_of(row_and_cusps(held, *sliding), "buccal_cusps")
    assert site.verdict is Verdict.UNDECIDED
    assert "less than 1.5 mm but every single cusp more" in site.advice.text()
    partly = site_of(row_and_cusps(held, *sliding[:2]), "buccal_cusps")
    assert partly.verdict is Verdict.INSUFFICIENT


@pytest.mark.parametrize(
    ("row", "cusp", "contradicting"),
    [
        # Points: 2 * sqrt(0.03^2 + 0.04^2) = 0.10, reached; and a higher cusp is fine.
        (("p", "1.60", "0.03"), ("p", "1.50", "0.04"), True),
        (("p", "1.60", "0.03"), ("p", "1.51", "0.04"), False),
        (("p", "1.60", "0.03"), ("p", "2.60", "0.04"), False),
        # y + 2u against the end of the strip's interval, and y - 2u likewise.
        (("s", {"passes": 1.5}), ("p", "1.29", "0.1"), True),
        (("s", {"passes": 1.5}), ("p", "1.30", "0.1"), False),
        (("p", "1.20", "0.1"), ("s", {"held": 1.0}), True),
        (("p", "1.19", "0.1"), ("s", {"held": 1.0}), False),
        (("s", {"passes": 1.5}), ("s", {"held": 1.5}), True),
        (("s", {"passes": 1.5}), ("s", {"drags": 1.4}), False),
        (("s", {"passes": 1.5}), ("s", {"passes": 1.0}), False),
    ],
)
def test_what_counts_as_a_contradiction(row, cusp, contradicting):
    def made(site, how):
        if how[0] == "s":
            return strip(site, **how[1])
        return point(site, how[1], how[2])

    result = row_and_cusps(made("buccal_cusps", row), made("distal_cusp", cusp))
    for name in ("buccal_cusps", "distal_cusp"):
        found = Doubt.DISAGREEMENT in site_of(result, name).doubts
        assert found is contradicting


def test_positions_and_times_are_not_mixed():
    fine = row_and_cusps(
        strip("buccal_cusps", passes=1.5),
        strip("distal_cusp", "protrusion", held=1.0),
    )
    assert Doubt.DISAGREEMENT not in site_of(fine, "buccal_cusps").doubts
    old = row_and_cusps(
        strip("buccal_cusps", passes=2.0) | {"stale": True},
        strip("distal_cusp", held=1.0),
    )
    assert site_of(old, "buccal_cusps").doubts == (Doubt.STALE,)
    assert site_of(old, "distal_cusp").verdict is Verdict.INSUFFICIENT


def test_a_cusp_at_odds_with_itself_contradicts_no_row():
    result = row_and_cusps(
        strip("buccal_cusps", passes=2.0),
        strip("distal_cusp", held=1.0),
        strip("distal_cusp", passes=1.5),
    )
    assert site_of(result, "buccal_cusps").verdict is Verdict.SUFFICIENT
    told = site_of(result, "distal_cusp").advice.text()
    assert "the row and its cusp" not in told


def test_a_row_of_one_cusp_has_no_cusps_to_contradict():
    result = row_and_cusps(strip("buccal_cusps", passes=2.0), tooth="34")
    assert site_of(result, "buccal_cusps").verdict is Verdict.SUFFICIENT
    assert site_of(result, "buccal_cusps").governing_position == MIP


def test_reductions_of_a_row_are_confronted_without_a_position():
    alone = {"relation": "no_antagonist", "antagonist": "none"}
    result = run(
        unit(
            strip("buccal_cusps", None, passes=2.0),
            strip("distal_cusp", None, held=1.0),
            **alone,
        )
    )
    assert site_of(result, "distal_cusp").advice.text() == (
        "At the distal cusp: the row and its cusp contradict each other, buccal cusps "
        "at least 2.0 mm but distal cusp less than 1.0 mm. Measure both again."
    )

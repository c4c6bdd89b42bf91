"""A derivation says every step, and its numbers are those of the verdict."""

import re
from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import HealthCheck, given, settings
from scipy import stats

from rules.check import run_check
from rules.payload import check_json, parse_check
from rules.requirements import Alternative, Material
from rules.terms import Verdict
from tests.rules.builders import MIP, PROTRUSION, SHIPPED, point, strip, unit
from tests.rules.strategies import bodies

LABORATORY = {"side": "laboratory", "basis": "model", "mounting_number": 2}
NUMBER = r"(-?\d+(?:\.\d+)?)"


def derived(*units, rule_set=SHIPPED, **keys):
    """Return site -> sentences of the first unit."""
    body = {"units": list(units), "explain": True, **keys}
    result = run_check(rule_set, parse_check(body, rule_set=rule_set))
    found = {}
    for site in result.units[0].sites:
        sentences = [message.text() for message in site.derivation]
        assert sentences
        found[site.site.value] = sentences
    return found


def test_a_derivation_is_only_made_when_asked_for():
    body = {"units": [unit(strip("central_fossa", passes=2))]}
    plain = check_json(run_check(SHIPPED, parse_check(body, rule_set=SHIPPED)))
    assert all("derivation" not in site for site in plain["units"][0]["sites"])
    asked = parse_check(body | {"explain": True}, rule_set=SHIPPED)
    told = check_json(run_check(SHIPPED, asked))
    for one, other in zip(
        plain["units"][0]["sites"], told["units"][0]["sites"], strict=True
    ):
        steps = other.pop("derivation")
        assert one == other
        assert steps
        assert all(isinstance(step, str) for step in steps)


def test_every_step_of_two_points_that_agree():
    steps = derived(
        unit(
            point("central_fossa", 1.7, 0.12),
            point("central_fossa", 1.62, method="cast_caliper") | LABORATORY,
        )
    )["central_fossa"]
    need, *others = steps[: steps.index("In maximal intercuspation:")]
    assert need.startswith(
        "Need on tooth 36 by the line Metal-ceramic, central fossa, ceramic occlusal "
        "surface: at least 1.5 mm of clearance, target 1.5 mm. Source: "
    )
    assert all(
        other.startswith("Another figure for the same need: ") for other in others
    )
    assert steps[steps.index("In maximal intercuspation:") + 1 :] == [
        "Reading: value 1.7 mm (silicone and caliper); 1.7 mm, u 0.12 mm as stated "
        "with it.",
        "Reading of the laboratory: value 1.62 mm (models, mounting 2); 1.62 mm, u 0.1 "
        "mm, the default of casts and caliper (common practice, no source; the "
        "mounting adds its own error).",
        "1.7 mm and 1.62 mm differ by 0.08 mm, less than 2 × √(0.12² + 0.1²) = 0.3124 "
        "mm: they agree.",
        "The smaller u governs: 1.62 mm, u 0.1 mm.",
        "Guard band g = k × u = 1.645 × 0.1 mm = 0.1645 mm: 1.62 mm is sufficient from "
        "1.5 + 0.1645 = 1.6645 mm on, insufficient below 1.5 − 0.1645 = 1.3355 mm, in "
        "between undecided.",
        "Conformance probability, normal about the value: Φ((1.62 − 1.5) / 0.1) = "
        "0.884930.",
        "At the central fossa: 1.62 mm is at or above the 1.5 mm needed, but within "
        "the measuring uncertainty. Measure once more, or clear it on the record.",
        "Verdict in maximal intercuspation: undecided.",
        "Governing position: maximal intercuspation (the worst verdict, then the "
        "smallest lower end, then the listed order).",
        "Verdict at the central fossa: undecided.",
        "Shortage, 1.5 mm less 1.62 mm, u 0.1 mm, never below 0: 0 mm.",
        "Decision rule: JCGM 106:2012 and ISO 14253-1:2017 (default k 1.645 for 95 % "
        "one-sided, from memory); a strip proves by the ends of its interval.",
    ]


def test_strips_are_shown_as_entered_and_as_what_they_stand_for():
    steps = derived(
        unit(
            strip("central_fossa", passes=1, held=2) | {"delta_mm": "0.02"},
            strip("central_fossa", drags=1.5) | {"side": "clinic", "basis": "mouth"},
            strip("central_fossa", PROTRUSION, passes=2, drags=2.5, held=3),
        )
    )["central_fossa"]
    text = "\n".join(steps)
    assert (
        "1 mm slid freely, 2 mm was held (thickness strip); strip tolerance 0.02 mm: "
        "from 0.98 mm to just under 2.02 mm."
    ) in text
    assert (
        "Reading of the clinic: 1.5 mm dragged (mouth); strip tolerance 0 mm, a "
        "dragging strip stands for its thickness ± 0.1 mm: from 1.4 mm to 1.6 mm."
    ) in text
    assert "The strips together: from 1.4 mm to 1.6 mm." in text
    assert "(1.6 − 1.5) / (1.6 − 1.4), clipped to 0 and 1 = 0.500000." in text
    assert "2 mm slid freely, 2.5 mm dragged, 3 mm was held" in text
    assert "Verdict in protrusion: sufficient." in text


def test_an_open_interval_has_no_probability_and_no_upper_end():
    steps = derived(unit(strip("central_fossa", passes=1)))["central_fossa"]
    assert "No conformance probability over an open interval." in steps
    assert any("there is no upper end" in step for step in steps)
    assert "1 mm or more" in "\n".join(steps)


def test_disagreement_shows_every_pair_and_no_shortage():
    steps = derived(
        unit(
            point("central_fossa", 1.5, 0.12) | {"side": "clinic", "basis": "mouth"},
            point("central_fossa", 0.9, 0.1, method="cast_caliper") | LABORATORY,
        )
    )["central_fossa"]
    assert (
        "clinic 1.5 mm (mouth) and laboratory 0.9 mm (models, mounting 2) differ by "
        "0.6 mm; up to 0.31 mm would be measuring uncertainty: they disagree and "
        "neither governs."
    ) in steps
    assert "No reading governs, so no shortage can be stated." in steps
    assert not any(step.startswith("Guard band") for step in steps)


def test_a_point_beside_strips_governs():
    steps = derived(
        unit(strip("central_fossa", passes=1.5), point("central_fossa", 1.6, 0.1))
    )["central_fossa"]
    assert "The value ± 2u reaches what the strips say: the value governs." in steps


def test_simple_acceptance_says_so():
    steps = derived(unit(point("central_fossa", 1.6, 0.1)), decision={"k": 0})
    assert (
        "k = 0, simple acceptance: 1.6 mm is sufficient from 1.5 mm on, insufficient "
        "below it."
    ) in steps["central_fossa"]


def test_thickness_and_shared_gaps_are_worked_through():
    facing = {"tooth": "16", "kind": "crown", "material": "metal_ceramic"}
    steps = derived(
        unit(
            point("buccal_cusps", 2.5, 0.05),
            tooth="46",
            material="zirconia_3y",
            antagonist="prepared",
            antagonists=[facing],
        )
    )["buccal_cusps"]
    assert (
        "The line states the finished wall: 0.5 mm thickness + 0.05 mm cement space + "
        "0.15 mm adjustment allowance = 0.7 mm."
    ) in steps
    assert any(
        step.startswith(
            "Both teeth are prepared, so both needs share the gap: 0.7 mm + 1.5 mm = "
            "2.2 mm;"
        )
        for step in steps
    )
    assert any(step.startswith("Need on tooth 16 by the line Metal-") for step in steps)
    assert any("nothing fixes how the gap is split" in step for step in steps)


def test_missing_positions_and_unread_sites_are_named():
    steps = derived(
        unit(point("lingual_surface", 2, 0.05), tooth="11", occlusal_surface="metal")
    )
    assert (
        "Required and not read: protrusion; so the site cannot be sufficient."
    ) in steps["lingual_surface"]
    assert "palatal surface, metal palatal surface" in steps["lingual_surface"][0]
    assert "The site is required and was not read." in steps["incisal_edge"]
    assert "Verdict at the incisal edge: unmeasured." in steps["incisal_edge"]


def test_stale_and_set_aside_readings_are_named():
    old = strip("central_fossa", passes=2) | {"stale": True}
    aside = derived(unit(old, strip("central_fossa", passes=1.5)))["central_fossa"]
    assert (
        "Set aside as stale, because a newer reading counts: 2 mm slid freely "
        "(thickness strip)."
    ) in aside
    alone = derived(unit(old))["central_fossa"]
    assert "Every reading here is stale: none of them proves sufficiency." in alone


def test_a_scan_through_the_antagonist_and_a_row_at_odds_are_explained():
    steps = derived(
        unit(
            point("central_fossa", -0.2, 0.05, method="scan"),
            strip("buccal_cusps", passes=2),
            strip("distal_cusp", held=1),
        )
    )
    assert any("passes through the antagonist" in s for s in steps["central_fossa"])
    for site in ("buccal_cusps", "distal_cusp"):
        assert any("the row and its cusp contradict" in s for s in steps[site])


def test_reductions_have_no_position_to_name():
    steps = derived(
        unit(point("facial_wall", 1.4, 0.05, position=None, method="index_probe"))
    )["facial_wall"]
    assert "These readings: sufficient." in steps
    assert not any(step.startswith(("In ", "Governing")) for step in steps)


def test_without_a_line_the_derivation_starts_with_that():
    silent = replace(SHIPPED, needs=())
    steps = derived(unit(strip("central_fossa", passes=2)), rule_set=silent)
    first = steps["central_fossa"][0]
    assert first.startswith("Not decided: no requirement for Metal-ceramic as crown at")


def with_product(**keys):
    product = Material(
        "house_alloy",
        "House alloy",
        SHIPPED.materials[0].cementations,
        under="full_metal",
        **keys,
    )
    return replace(SHIPPED, materials=(*SHIPPED.materials, product))


def test_a_product_takes_its_own_line_or_its_class_s():
    only = unit(strip("central_fossa", passes=2), material="house_alloy")
    told = derived(only, rule_set=with_product())["central_fossa"]
    line = (
        "House alloy has no line of its own here: that of its class Full metal holds."
    )
    assert line in told
    own = next(
        replace(need, material="house_alloy", site="central_fossa")
        for need in SHIPPED.needs
        if need.material == "full_metal" and "crown" in need.kinds
    )
    for instructions, words in (
        (
            "",
            "House alloy has a line of its own, which overrules its class Full metal.",
        ),
        (
            "house instructions, edition 2",
            "House alloy has a line of its own, which overrules its class Full metal: "
            "house instructions, edition 2.",
        ),
    ):
        base = with_product(instructions=instructions)
        owning = replace(base, needs=(*base.needs, own))
        assert words in derived(only, rule_set=owning)["central_fossa"]


def test_alternatives_carry_their_note_and_the_line_its_conditions():
    other = Alternative(D("1.3"), "study cards", "ceramic occlusal")
    needs = tuple(
        replace(
            need,
            alternatives=(other,),
            cementation=SHIPPED.materials[1].cementations[0],
        )
        if need.material == "metal_ceramic"
        else need
        for need in SHIPPED.needs
    )
    steps = derived(
        unit(strip("central_fossa", passes=2)), rule_set=replace(SHIPPED, needs=needs)
    )["central_fossa"]
    assert (
        "Another figure for the same need: 1.3 mm (study cards; ceramic occlusal)."
    ) in steps
    assert "ceramic occlusal surface, conventional cementation:" in steps[0]


# ---- the numbers of the derivation give the verdict again --------------------------

GUARD = re.compile(
    rf"Guard band g = k × u = {NUMBER} × {NUMBER} mm = {NUMBER} mm: {NUMBER} mm is "
    rf"sufficient from {NUMBER} \+ {NUMBER} = {NUMBER} mm on, insufficient below "
    rf"{NUMBER} − {NUMBER} = {NUMBER} mm"
)
SIMPLE = re.compile(
    rf"k = 0, simple acceptance: {NUMBER} mm is sufficient from {NUMBER}"
)
ENDS = re.compile(rf"lower end {NUMBER} mm is at least {NUMBER} mm")
UPPER = re.compile(rf"upper end {NUMBER} mm is at most {NUMBER} mm")
NORMAL = re.compile(rf"Φ\(\({NUMBER} − {NUMBER}\) / {NUMBER}\) = {NUMBER}")


def from_numbers(step):
    """Return the verdict that the numbers of a decision sentence give, or None."""
    if found := GUARD.match(step):
        k, u, g, y, need, g2, above, need2, g3, below = map(D, found.groups())
        assert k * u == g == g2 == g3
        assert need == need2
        assert (need + g, need - g) == (above, below)
        if y >= above:
            return Verdict.SUFFICIENT
        return Verdict.INSUFFICIENT if y < below else Verdict.UNDECIDED
    if found := SIMPLE.match(step):
        y, need = map(D, found.groups())
        return Verdict.SUFFICIENT if y >= need else Verdict.INSUFFICIENT
    if found := ENDS.search(step):
        low, need = map(D, found.groups())
        if low >= need:
            return Verdict.SUFFICIENT
        if (upper := UPPER.search(step)) and D(upper[1]) <= D(upper[2]):
            return Verdict.INSUFFICIENT
        return Verdict.UNDECIDED
    return None


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(bodies())
@pytest.mark.property
def test_the_verdict_can_be_worked_out_from_the_derivation(body):
    request = parse_check(body | {"explain": True}, rule_set=SHIPPED)
    for one in run_check(SHIPPED, request).units:
        for site in one.sites:
            steps = [message.text() for message in site.derivation]
            decided = [v for step in steps if (v := from_numbers(step))]
            checks = [
                check
                for check in site.grounds.checks
                if site.need_mm is not None and not check.contradicted
            ]
            assert len(decided) == len(checks)
            for verdict, check in zip(decided, checks, strict=True):
                # Only a doubt can soften what the numbers say, and never hardens it.
                assert check.verdict in (verdict, Verdict.UNDECIDED)
                if verdict is not check.verdict:
                    assert check.doubts
                    assert verdict is Verdict.SUFFICIENT
            assert f"Verdict at the {site.label}: {site.verdict}." in steps


@pytest.mark.parametrize(
    ("y", "u"), [("1.60", "0.05"), ("1.45", "0.05"), ("1.62", "0.1"), ("1.3", "0.1")]
)
def test_the_printed_probability_is_that_of_the_normal_law(y, u):
    text = "\n".join(derived(unit(point("central_fossa", y, u)))["central_fossa"])
    found = NORMAL.search(text)
    assert found
    value, need, spread, chance = map(float, found.groups())
    assert chance == pytest.approx(stats.norm.cdf((value - need) / spread), abs=1e-6)
    assert (value, spread) == (float(y), float(u))


def test_positions_stand_in_their_listed_order():
    readings = [
        strip("central_fossa", position, passes=2)
        for position in ("left_laterotrusion", PROTRUSION, MIP)
    ]
    steps = derived(unit(*readings))["central_fossa"]
    assert [step for step in steps if step.startswith("In ")] == [
        "In maximal intercuspation:",
        "In protrusion:",
        "In left laterotrusion:",
    ]

"""Verdicts under another rule set: the same as a whole check, without the rest."""

import statistics
import time
from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.check import run_check
from rules.difference import changed_lines
from rules.impact import site_verdicts, verdict_under
from rules.payload import parse_check
from rules.requirements import Need
from rules.terms import Position, Verdict
from tests.rules.builders import SHIPPED, point, strip, unit
from tests.rules.strategies import bodies

FULL = (
    strip("buccal_cusps", passes=2.0),
    strip("lingual_cusps", passes=1.0, held=1.5),
    point("central_fossa", 1.7, 0.1),
)


def asked(*units, rule_set=SHIPPED):
    return parse_check({"units": list(units)}, rule_set=rule_set)


def with_least(change, material="metal_ceramic"):
    """Return the shipped set with every least need of a material changed."""
    return replace(
        SHIPPED,
        needs=tuple(
            replace(n, min_mm=change(n.min_mm)) if n.material == material else n
            for n in SHIPPED.needs
        ),
    )


def test_a_lower_need_changes_the_verdict():
    request = asked(unit(*FULL))
    lower = with_least(lambda least: least - D("0.5"))
    assert verdict_under(SHIPPED, request) is Verdict.INSUFFICIENT
    assert verdict_under(lower, request) is Verdict.SUFFICIENT
    found = {site: verdict for _t, site, _q, verdict in site_verdicts(lower, request)}
    assert set(found.values()) == {Verdict.SUFFICIENT}
    assert set(found) == {"buccal_cusps", "lingual_cusps", "central_fossa"}


def test_a_unit_facing_a_changed_material_is_concerned():
    facing = {"tooth": "26", "kind": "crown", "material": "metal_ceramic"}
    request = asked(
        unit(
            strip("buccal_cusps", passes=2.5),
            material="full_metal",
            antagonist="prepared",
            antagonists=[facing],
            planned_plane=True,
        ),
    )
    lower = with_least(lambda least: least - D("0.5"))
    assert changed_lines(SHIPPED, lower).concerns(request)
    assert site_verdicts(SHIPPED, request) != site_verdicts(lower, request)


def test_a_material_the_set_lacks_is_undecided():
    bare = replace(
        SHIPPED,
        materials=tuple(m for m in SHIPPED.materials if m.key != "metal_ceramic"),
        needs=tuple(n for n in SHIPPED.needs if n.material != "metal_ceramic"),
    )
    assert verdict_under(bare, asked(unit(*FULL))) is Verdict.UNDECIDED


def test_a_surface_left_open_is_the_usual_one_of_the_set():
    request = asked(unit(*FULL))
    bare = replace(
        request, units=tuple(replace(u, occlusal_surface=None) for u in request.units)
    )
    assert site_verdicts(SHIPPED, bare) == site_verdicts(SHIPPED, request)


def test_the_verdict_is_that_of_the_whole_check():
    request = asked(unit(*FULL), unit(tooth="46"))
    whole = run_check(SHIPPED, request)
    assert verdict_under(SHIPPED, request) is whole.verdict
    assert site_verdicts(SHIPPED, request) == tuple(
        (u.tooth, s.site, s.quantity, s.verdict) for u in whole.units for s in u.sites
    )


@st.composite
def changed_sets(draw):
    """Return the shipped set with some needs dropped or changed."""
    needs: list[Need | None] = list(SHIPPED.needs)
    places = st.integers(0, len(needs) - 1)
    for place in draw(st.sets(places, min_size=1, max_size=40)):
        need = needs[place]
        if need is None:
            continue
        needs[place] = draw(
            st.sampled_from(
                [
                    None,
                    replace(need, min_mm=need.min_mm / 2),
                    replace(need, positions=(Position.PROTRUSION,)),
                    replace(need, target_mm=need.target_mm + 1, source="other"),
                ]
            )
        )
    kept = tuple(need for need in needs if need is not None)
    return replace(SHIPPED, needs=kept)


@pytest.mark.property
@settings(max_examples=200, deadline=None)
@given(bodies(), changed_sets())
def test_outside_the_scope_no_verdict_changes(body, after):
    request = parse_check(body, rule_set=SHIPPED)
    if not changed_lines(SHIPPED, after).concerns(request):
        assert site_verdicts(SHIPPED, request) == site_verdicts(after, request)


def test_many_cases_can_be_judged_in_a_row():
    request = asked(*(unit(*FULL, tooth=tooth) for tooth in ("14", "15", "16")))
    took = []
    for _round in range(200):
        start = time.perf_counter()
        verdict_under(SHIPPED, request)
        took.append(time.perf_counter() - start)
    # 0.25 ms on an idle core; a hundred thousand cases must pass in a minute on two.
    assert statistics.median(took) < 0.0012

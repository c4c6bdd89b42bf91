"""Properties of every verdict: monotone, careful, and settled by what is proposed."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from rules.check import run_check
from rules.judge import decide
from rules.measurement import Interval, Point, Reading
from rules.payload import parse_check
from rules.readings import Combined
from rules.terms import Doubt, Method, Position, Quantity, Verdict
from tests.rules.builders import SHIPPED
from tests.rules.strategies import bodies, units

pytestmark = pytest.mark.property

RANK = [Verdict.INSUFFICIENT, Verdict.UNDECIDED, Verdict.SUFFICIENT]
UNSETTLED = {Doubt.SPLIT_NOT_FIXED, Doubt.NO_CONTACT, Doubt.FACING_NEED_UNKNOWN}

quick = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.filter_too_much,
    ],
)
lengths = st.integers(0, 400).map(lambda n: D(n) / 100)
spreads = st.sampled_from([D("0.001"), D("0.05"), D("0.1"), D("0.3")])
factors = st.sampled_from([D(0), D(1), D("1.645"), D(5)])


def longer(reading: Reading, by: D) -> Reading:
    """Return a reading as it would be with so much more room."""
    names = ("value_mm", "passes_mm", "drags_mm", "held_mm")
    stated = {name: getattr(reading, name) for name in names}
    return replace(reading, **{k: v + by for k, v in stated.items() if v is not None})


def parsed(body):
    return parse_check(body, rule_set=SHIPPED)


def at_point(y, u):
    return Combined(Interval(y, y, True), Point(y, u))


# ---- the decision rule alone --------------------------------------------------------


@quick
@given(lengths, lengths, lengths, spreads, factors)
def test_a_larger_value_is_never_judged_worse(y, more, need, u, k):
    verdicts = [decide(at_point(value, u), need, k) for value in (y, y + more)]
    assert RANK.index(verdicts[0]) <= RANK.index(verdicts[1])


@quick
@given(st.tuples(lengths, lengths).map(sorted), lengths, lengths)
def test_an_interval_further_up_is_never_judged_worse(ends, more, need):
    low, high = ends
    verdicts = [
        decide(Combined(Interval(low + by, high + by)), need, D(0))
        for by in (D(0), more)
    ]
    assert RANK.index(verdicts[0]) <= RANK.index(verdicts[1])


@quick
@given(
    st.tuples(lengths, lengths).map(sorted), lengths, lengths, st.booleans(), lengths
)
def test_a_wider_interval_never_turns_one_proof_into_the_other(
    ends, below, above, open_end, need
):
    low, high = ends
    assume(low < high)
    narrow = decide(Combined(Interval(low, high)), need, D(0))
    wide = Interval(max(D(0), low - below), None if open_end else high + above)
    wider = decide(Combined(wide), need, D(0))
    # Widening may lose a proof, and never finds one that was not there.
    if wide != Interval(low, high):
        assert wider in (Verdict.UNDECIDED, narrow)
    assert {narrow, wider} != {Verdict.INSUFFICIENT, Verdict.SUFFICIENT}


@quick
@given(lengths, lengths, spreads, spreads, factors)
def test_a_larger_uncertainty_never_turns_one_proof_into_the_other(y, need, u, v, k):
    small, large = sorted((u, v))
    fine, coarse = (decide(at_point(y, spread), need, k) for spread in (small, large))
    assert coarse in (Verdict.UNDECIDED, fine)


@quick
@given(lengths, lengths, spreads, st.tuples(factors, factors).map(sorted))
def test_a_wider_guard_band_proves_less_and_never_the_opposite(y, need, u, ks):
    loose, strict = (decide(at_point(y, u), need, k) for k in ks)
    assert strict in (Verdict.UNDECIDED, loose)


# ---- whole checks -------------------------------------------------------------------


def only_site(request, reading):
    """Return the check of a site with one reading alone."""
    (unit,) = request.units
    alone = replace(unit, readings=(reading,))
    result = run_check(SHIPPED, replace(request, units=(alone,)), options=False)
    (site,) = [s for s in result.units[0].sites if s.measured]
    return site


@quick
@given(units(), lengths)
def test_more_room_is_never_judged_worse(row, more):
    request = parsed({"units": [row]})
    for reading in request.units[0].readings:
        # A scan through the antagonist is no length that could grow.
        assume(reading.value_mm is None or reading.value_mm >= 0)
        before, after = (only_site(request, longer(reading, by)) for by in (D(0), more))
        assert RANK.index(before.verdict) <= RANK.index(after.verdict)


@quick
@given(units(), st.sampled_from([D("0.01"), D("0.05"), D("0.5")]))
def test_looser_strips_and_larger_u_never_turn_one_proof_into_the_other(row, more):
    request = parsed({"units": [row]})
    for reading in request.units[0].readings:
        if reading.method is Method.STRIP:
            wider = replace(reading, delta_mm=(reading.delta_mm or D(0)) + more)
        else:
            u = reading.u_mm or SHIPPED.u_by_method[reading.method]
            wider = replace(reading, u_mm=u + more)
        before, after = only_site(request, reading), only_site(request, wider)
        assert after.verdict in (before.verdict, Verdict.UNDECIDED)


@quick
@given(bodies())
def test_stale_readings_alone_prove_nothing_sufficient(body):
    request = parsed(body)
    old = tuple(
        replace(unit, readings=tuple(replace(r, stale=True) for r in unit.readings))
        for unit in request.units
    )
    fresh, stale = (
        run_check(SHIPPED, replace(request, units=these), options=False)
        for these in (
            tuple(
                replace(
                    unit, readings=tuple(replace(r, stale=False) for r in unit.readings)
                )
                for unit in request.units
            ),
            old,
        )
    )
    for one, other in zip(fresh.units, stale.units, strict=True):
        for before, after in zip(one.sites, other.sites, strict=True):
            assert after.verdict is not Verdict.SUFFICIENT
            assert not after.at_or_above_need
            short = Verdict.INSUFFICIENT
            assert (before.verdict is short) is (after.verdict is short)


@quick
@given(bodies())
def test_without_a_line_nothing_is_decided(body):
    silent = replace(SHIPPED, needs=())
    for one in run_check(silent, parsed(body), options=False).units:
        for site in one.sites:
            assert site.verdict in (Verdict.UNDECIDED, Verdict.UNMEASURED)
            said = " ".join(message.text() for message in site.sentences)
            assert "no requirement for" in said


def shown_at_target(unit, site, target):
    """Return fresh strips that show the target wherever it must or was read."""
    required, _advised = SHIPPED.positions_for(site.site, unit.tooth, unit.relation)
    positions: set[Position | None] = {
        *(site.grounds.need.positions or required),
        *(check.position for check in site.grounds.checks),
    }
    if site.quantity is not Quantity.CLEARANCE:
        positions = {None}
    return [
        Reading(site.site, Method.STRIP, position, passes_mm=target)
        for position in positions
    ]


@settings(quick, max_examples=80)
@given(bodies())
@example(
    {
        "units": [
            {
                "tooth": "11",
                "kind": "crown",
                "material": "metal_ceramic",
                "relation": "normal",
                "antagonist": "natural",
                "readings": [
                    {
                        "site": "incisal_edge",
                        "method": "strip",
                        "held_mm": "1.0",
                    },
                    {
                        "site": "incisal_edge",
                        "position": "protrusion",
                        "method": "wax_caliper",
                        "value_mm": "0.8",
                    },
                ],
            }
        ]
    }
)
def test_what_is_proposed_to_remove_settles_the_shortage(body):
    request = parsed(body)
    result = run_check(SHIPPED, request)
    for index, one in enumerate(result.units):
        depths = {
            site: high
            for option in one.options
            if option.kind == "re_preparation"
            for site, _low, high in option.depth_mm
        }
        unit = request.units[index]
        removed = tuple(
            longer(reading, depths.get(reading.site, D(0))) for reading in unit.readings
        )
        again = run_check(
            SHIPPED,
            replace(request, units=(replace(unit, readings=removed),)),
            options=False,
        )
        for site in again.units[0].sites:
            if site.site in depths:
                assert site.verdict is not Verdict.INSUFFICIENT
        targets = [s for s in one.sites if s.site in depths and s.target_mm is not None]
        readings = tuple(
            reading
            for site in targets
            for reading in shown_at_target(unit, site, site.target_mm)
        )
        shown = run_check(
            SHIPPED,
            replace(request, units=(replace(unit, readings=readings),)),
            options=False,
        )
        for site in shown.units[0].sites:
            if site.measured and not UNSETTLED & set(site.doubts):
                assert site.verdict is Verdict.SUFFICIENT

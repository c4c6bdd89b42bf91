"""Properties that must hold for every input (hypothesis)."""

import json
from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.check import run_check
from rules.errors import Fault, InvalidNumber, InvalidPayload, InvalidRuleSet
from rules.parse import parse_rule_set
from rules.payload import check_json, dump_request, parse_check
from rules.readings import parse_mm
from rules.terms import Quantity, Verdict
from tests.rules.builders import SHIPPED, strip, unit
from tests.rules.strategies import bodies, broken_bodies, json_values

pytestmark = pytest.mark.property

quick = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def shown(length: D | None) -> D:
    """Return a length that must be there."""
    assert length is not None
    return length


def parsed(body):
    return parse_check(body, rule_set=SHIPPED)


@quick
@given(bodies())
def test_a_parsed_request_never_makes_the_check_fail(body):
    result = run_check(SHIPPED, parsed(body))
    answer = check_json(result)
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert len(answer["units"]) == len(body["units"])
    for one in result.units:
        assert all(site.advice.text() for site in one.sites)
        assert all(note.text() for site in one.sites for note in site.notes)
        assert (one.verdict == "sufficient") is (one.options == ())


@quick
@given(bodies())
def test_dump_and_parse_are_inverse(body):
    request = parsed(body)
    again = dump_request(request)
    assert parsed(json.loads(json.dumps(again))) == request


@quick
@given(bodies(), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(body, random):
    request = parsed(body)
    shuffled = []
    for one in request.units:
        readings = list(one.readings)
        random.shuffle(readings)
        shuffled.append(replace(one, readings=tuple(readings)))
    other = replace(request, units=tuple(shuffled), explain=True)
    told = check_json(run_check(SHIPPED, replace(request, explain=True)))
    assert check_json(run_check(SHIPPED, other)) == told


hundredths = st.integers(1, 400).map(lambda n: D(n) / 100)


@quick
@given(
    st.tuples(hundredths, hundredths).filter(lambda pair: pair[0] < pair[1]),
    st.tuples(hundredths, hundredths).filter(lambda pair: pair[0] < pair[1]),
)
def test_a_finer_consistent_strip_never_turns_sufficient_to_insufficient(one, two):
    def verdict(*pairs):
        readings = [
            strip("central_fossa", passes=str(low), held=str(high))
            for low, high in pairs
        ]
        result = run_check(SHIPPED, parsed({"units": [unit(*readings)]}))
        (site,) = [s for s in result.units[0].sites if s.site == "central_fossa"]
        return site

    first, both = verdict(one), verdict(one, two)
    consistent = max(one[0], two[0]) < min(one[1], two[1])
    if not consistent:
        assert both.verdict is Verdict.UNDECIDED
    elif first.verdict is not Verdict.UNDECIDED:
        assert both.verdict is first.verdict
    if consistent:
        assert shown(both.low_mm) >= shown(first.low_mm)
        assert shown(both.high_mm) <= shown(first.high_mm)


@quick
@given(bodies())
def test_no_depth_goes_beyond_the_target(body):
    result = run_check(SHIPPED, parsed(body))
    for one in result.units:
        for option in one.options:
            for site, low, high in option.depth_mm:
                checks = [c for c in one.sites if c.site == site]
                assert 0 <= low <= high
                assert high <= max(
                    c.target_mm - shown(c.low_mm) for c in checks if c.target_mm
                )
            if option.depth_mm:
                assert one.verdict in (Verdict.INSUFFICIENT, Verdict.UNDECIDED)


@quick
@given(bodies())
def test_shortage_and_probability_stay_in_range(body):
    for one in run_check(SHIPPED, parsed(body)).units:
        for site in one.sites:
            assert site.quantity is not Quantity.THICKNESS
            if site.shortage_low_mm is not None:
                assert 0 <= site.shortage_low_mm <= shown(site.shortage_high_mm)
            if site.conformance_probability is not None:
                assert 0 <= site.conformance_probability <= 1
            if site.verdict is Verdict.SUFFICIENT:
                assert shown(site.low_mm) >= shown(site.need_mm)
            if site.at_or_above_need:
                assert site.is_point
                assert shown(site.low_mm) >= shown(site.need_mm)


@quick
@given(st.one_of(json_values, broken_bodies()))
def test_any_json_parses_or_is_refused_with_pointers(body):
    faults: tuple[Fault, ...] = ()
    request = None
    try:
        request = parsed(body)
    except InvalidPayload as error:
        faults = error.faults
    assert bool(faults) is not bool(request)
    for fault in faults:
        assert fault.pointer == "" or fault.pointer.startswith("/")
        assert fault.text()
        assert all(isinstance(v, str) for v in fault.params.values())
    if request:
        assert check_json(run_check(SHIPPED, request))


@quick
@given(json_values)
def test_any_value_is_a_rule_set_or_refused(value):
    with pytest.raises(InvalidRuleSet):
        parse_rule_set(value)


@settings(quick, max_examples=200)
@given(
    st.one_of(
        st.text(max_size=12),
        st.from_regex(r"-?[0-9]{0,3}[.,_ ]?[0-9]{0,3}", fullmatch=True),
        st.floats(),
        st.decimals(),
        st.integers(),
    )
)
def test_a_number_is_read_exactly_or_refused(value):
    try:
        found = parse_mm(value, minimum=D(0), maximum=D(20))
    except InvalidNumber:
        return
    assert 0 <= found <= 20
    assert found == found.quantize(D("0.01"))
    written = value.strip(" ").replace(",", ".") if isinstance(value, str) else value
    assert D(str(written)) == found


@quick
@given(st.integers(0, 2000))
def test_every_hundredth_reads_back_however_it_is_written(n):
    length = D(n) / 100
    for written in (f"{length:.2f}", f"{length:.2f}".replace(".", ","), float(length)):
        assert parse_mm(written, minimum=D(0), maximum=D(20)) == length


def test_a_deep_body_is_refused_without_recursion():
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    for body in (deep, {"units": deep}, {"units": [unit(material=deep)]}):
        with pytest.raises(InvalidPayload):
            parsed(body)
    # taken apart step by step: dropping it whole would recurse in the interpreter
    while deep:
        deep = deep.pop()

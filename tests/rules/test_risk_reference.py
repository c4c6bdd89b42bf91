"""Decision rule and conformance probability against general metrology.

The second opinions are scipy.stats and suncal, a general metrology package (specific
risk, guard bands, false accept and reject). Global risks are worked out here from the
core's own two functions: conformance given what was measured, over what would be
accepted; so a wrong law or a wrong limit shows in them.
"""

import math
import warnings
from decimal import Decimal as D
from typing import NamedTuple

import pytest
from scipy import integrate, stats

from rules.judge import conformance, decide
from rules.readings import Combined, Interval, Point
from rules.terms import Verdict

with warnings.catch_warnings():
    # It still imports scipy.odr, which warns on import; nothing here uses that part.
    warnings.simplefilter("ignore", DeprecationWarning)
    from suncal.risk import guardband, risk
    from suncal.risk.deaver import PFA_deaver, PFR_deaver


def at_point(value, u):
    value, u = D(str(value)), D(str(u))
    return Combined(Interval(value, value, True), Point(value, u))


def chance(value, u, need) -> float:
    """Return the core's probability that a length lies at or above a need."""
    found = conformance(at_point(value, u), D(str(need)))
    assert found is not None
    return found


LENGTHS = [
    (y, need, u)
    for y in ("0.62", "1.30", "1.45", "1.50", "1.62", "2.00")
    for need in ("0.7", "1.5", "2.0")
    for u in ("0.03", "0.1", "0.18")
]


@pytest.mark.parametrize(("y", "need", "u"), LENGTHS)
def test_conformance_is_one_less_suncals_specific_risk(y, need, u):
    law = stats.norm(float(y), float(u))
    reference = risk.specific_risk(law, float(need), math.inf)
    assert chance(y, u, need) == pytest.approx(1 - reference.lower, abs=1e-12)
    assert chance(y, u, need) == pytest.approx(law.sf(float(need)), abs=1e-12)


@pytest.mark.parametrize(("low", "high"), [("1.0", "1.5"), ("1.4", "1.6"), ("0", "2")])
@pytest.mark.parametrize("need", ["0.9", "1.2", "1.45", "1.5", "1.7"])
def test_conformance_over_a_strip_is_suncals_for_a_uniform_law(low, high, need):
    law = stats.uniform(float(low), float(high) - float(low))
    reference = risk.specific_risk(law, float(need), math.inf)
    found = conformance(Combined(Interval(D(low), D(high))), D(need))
    assert found == pytest.approx(1 - reference.lower, abs=1e-12)


# ISO 14253-1:2017: 95 % one-sided, so at the acceptance limit 5 % may not conform
# (factor from memory; suncal finds the same guard band for a specific risk of 5 %).
@pytest.mark.parametrize("u", ["0.05", "0.1", "0.18"])
def test_the_guard_band_is_suncals_for_a_risk_of_five_percent(u):
    lower, _upper = guardband.specific(stats.norm(0, float(u)), 1.5, math.inf, 0.05)
    assert 1.645 * float(u) == pytest.approx(lower, abs=1e-4)
    just = D("1.5") + D("1.645") * D(u)
    assert decide(at_point(just, u), D("1.5"), D("1.645")) is Verdict.SUFFICIENT
    assert chance(just, u, "1.5") == pytest.approx(0.95, abs=1e-4)


# JCGM 106:2012, 8.3.3.2 example 1 (guarded rejection; road speed): 100 km/h, relative
# u 2 %, 99.9 %: a limit of about 107 km/h (100 / (1 - 0.02 * 3.09) = 106.587). From
# memory, the clause as listed in UKAS LAB 48. Mirrored, an upper limit is a lower one.
@pytest.mark.parametrize(
    ("speed", "verdict"),
    [("106.59", "insufficient"), ("106.58", "undecided"), ("100.01", "undecided")],
)
def test_jcgm_106_guarded_rejection_mirrored(speed, verdict):
    reading = at_point(-D(speed), D("0.02") * D(speed))
    assert decide(reading, D(-100), D("3.09")) == verdict
    assert round(100 / (1 - 0.02 * stats.norm.ppf(0.999))) == 107


class Process(NamedTuple):
    """What is made, N(mean, spread), and what it is measured with."""

    mean: float
    spread: float
    u: float
    low: float
    high: float


def accepted(process, k):
    """Return the acceptance interval by the core's own rule (bisection)."""

    def passes(y):
        above = decide(at_point(f"{y:.9f}", process.u), D(str(process.low)), D(str(k)))
        mirrored = at_point(f"{-y:.9f}", process.u)
        below = decide(mirrored, D(str(-process.high)), D(str(k)))
        return above is below is Verdict.SUFFICIENT

    middle = (process.low + process.high) / 2
    edges = []
    for outside in (process.low - process.u, process.high + process.u):
        inside = middle
        assert passes(inside)
        assert not passes(outside)
        for _ in range(40):
            half = (inside + outside) / 2
            inside, outside = (half, outside) if passes(half) else (inside, half)
        edges.append(inside)
    return edges


def global_risks(process, k):
    """Return consumer's and producer's risk of accepting by the core's rule."""
    total = math.hypot(process.spread, process.u)
    measured = stats.norm(process.mean, total)
    weight = (process.spread / total) ** 2
    spread = process.spread * process.u / total

    def conforming(y):
        best = process.mean + weight * (y - process.mean)
        return chance(f"{best:.12f}", f"{spread:.12f}", process.low) - chance(
            f"{best:.12f}", f"{spread:.12f}", process.high
        )

    low, high = accepted(process, k)
    consumer, _e = integrate.quad(
        lambda y: (1 - conforming(y)) * measured.pdf(y), low, high, epsabs=1e-9
    )
    reach = 9 * total
    producer = sum(
        integrate.quad(lambda y: conforming(y) * measured.pdf(y), *ends, epsabs=1e-9)[0]
        for ends in ((process.mean - reach, low), (high, process.mean + reach))
    )
    return consumer, producer


# JCGM 106:2012, 9.5 (resistors): process N(1500, 0.12) ohm, limits 1499.8 to 1500.2,
# u 0.04; guarded to 1499.82 .. 1500.18 (k = 0.5): consumer's risk about 1 %,
# producer's about 7 %. Inputs confirmed by a public script, results recomputed.
RESISTORS = Process(1500, 0.12, 0.04, 1499.8, 1500.2)


@pytest.mark.parametrize(
    ("k", "consumer", "producer"),
    [(0.5, 0.009878, 0.069027), (0, 0.018942, 0.037208)],
)
def test_jcgm_106_global_risk_of_resistors(k, consumer, producer):
    found = global_risks(RESISTORS, k)
    assert found == pytest.approx((consumer, producer), abs=2e-6)
    made, test = stats.norm(1500, 0.12), stats.norm(0, 0.04)
    limits = (1499.8, 1500.2, k * 0.04, k * 0.04)
    assert found[0] == pytest.approx(risk.PFA(made, test, *limits), abs=1e-6)
    assert found[1] == pytest.approx(risk.PFR(made, test, *limits), abs=1e-6)
    assert 1 - risk.specific_risk(made, 1499.8, 1500.2).total == pytest.approx(
        0.904419, abs=1e-6
    )


# Deaver's false accept and reject in units of the process spread: limits +- SL, test
# uncertainty ratio TUR, guard band factor GB. Published values as in suncal's own
# tests (sandialabs/suncal, test_risk.py).
@pytest.mark.parametrize(
    ("limit", "tur", "gb", "accept", "reject"),
    [
        (2, 4, 1, 0.008, 0.015),
        (2.5, 4, 1, 0.0025, None),
        (2.5, 1, 1, 0.005, None),
        (2, 2, 0.91, 0.008, 0.066),
    ],
)
def test_false_accept_and_reject_by_deaver(limit, tur, gb, accept, reject):
    process = Process(0, 1, 1 / tur, -limit, limit)
    found = global_risks(process, round((1 - gb) * limit * tur, 6))
    assert found[0] == pytest.approx(accept, abs=5e-4)
    assert found[0] == pytest.approx(PFA_deaver(limit, tur, gb), abs=1e-6)
    assert found[1] == pytest.approx(PFR_deaver(limit, tur, gb), abs=1e-6)
    if reject is not None:
        assert found[1] == pytest.approx(reject, abs=5e-4)

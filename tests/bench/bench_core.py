"""The pure core on one case, against a floor and a general rule engine.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_core.py -s``. One case is
4 units with 5 sites read in 4 jaw positions each. The floor makes the same
comparisons as plain loops over floats: no reasons, no ways out, needs looked up
beforehand. The engine (rule-engine on PyPI) holds the same requirements as
expressions, compiled beforehand. All three must agree on every verdict.
"""

import statistics
import time
from collections.abc import Callable
from decimal import Decimal
from functools import partial

import rule_engine

from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.needs import line_for
from rules.payload import parse_check
from rules.request import CheckRequest, Unit
from rules.teeth import cusp_role
from rules.terms import Position, Quantity, Relation, Site

ROUNDS = 300
TEETH = ("16", "26", "36", "46")
SITES = (
    "buccal_cusps",
    "lingual_cusps",
    "functional_cusp_bevel",
    "central_fossa",
    "marginal_ridge",
)
K = 1.645
Row = tuple[float, float, float]


def unit(tooth: str) -> dict:
    """A crown short at some sites, in doubt at others, read in every position."""
    return {
        "tooth": tooth,
        "kind": "crown",
        "material": "metal_ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "wall_heights_mm": {"facial": "4.6", "lingual": "4.8"},
        "base_width_mm": "10",
        "readings": [
            {
                "site": site,
                "position": position.value,
                "method": "silicone_caliper",
                "value_mm": f"{1.2 + 0.25 * row + 0.05 * column:.2f}",
                "u_mm": "0.1",
            }
            for row, site in enumerate(SITES)
            for column, position in enumerate(Position)
        ],
    }


def median_ms(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def need_at(asked: Unit, site: Site) -> Decimal:
    line = line_for(shipped_rule_set(), asked, asked.relation, site, Quantity.CLEARANCE)
    assert line is not None
    return line.min_mm


def floats(request: CheckRequest) -> dict[tuple[str, str], list[Row]]:
    found: dict[tuple[str, str], list[Row]] = {}
    for asked in request.units:
        for reading in asked.readings:
            assert reading.value_mm is not None
            assert reading.u_mm is not None
            row = (
                float(reading.value_mm),
                float(reading.u_mm),
                float(need_at(asked, reading.site)),
            )
            found.setdefault((asked.tooth, reading.site.value), []).append(row)
    return found


def plain_loops(sites: dict[tuple[str, str], list[Row]]) -> dict[tuple[str, str], str]:
    verdicts = {}
    for place, rows in sites.items():
        worst = "sufficient"
        for value, u, need in rows:
            guard = K * u
            if value < need - guard:
                worst = "insufficient"
                break
            if value < need + guard:
                worst = "undecided"
        verdicts[place] = worst
    return verdicts


def compiled() -> list[tuple[rule_engine.Rule, rule_engine.Rule]]:
    """Return, per need of the material's crowns, what is short and what is enough."""
    found = []
    for line in shipped_rule_set().needs:
        crown = line.material == "metal_ceramic" and "crown" in line.kinds
        if not crown or line.quantity is not Quantity.CLEARANCE:
            continue
        about = f"surface == '{line.occlusal_surface}' and place == '{line.site}'"
        least = float(line.min_mm)
        found.append(
            (
                rule_engine.Rule(f"{about} and value < {least} - {K} * u"),
                rule_engine.Rule(f"{about} and value >= {least} + {K} * u"),
            )
        )
    return found


STANDS_FOR = {"marginal_ridge": "central_fossa"}


def facts(request: CheckRequest) -> list[tuple[tuple[str, str], dict]]:
    found = []
    for asked in request.units:
        for reading in asked.readings:
            role = cusp_role(reading.site, asked.tooth, Relation.NORMAL)
            site = reading.site.value
            fact = {
                "surface": str(asked.occlusal_surface),
                "place": role.value if role else STANDS_FOR.get(site, site),
                "value": float(reading.value_mm or 0),
                "u": float(reading.u_mm or 0),
            }
            found.append(((asked.tooth, site), fact))
    return found


def by_engine(
    lines: list[tuple[rule_engine.Rule, rule_engine.Rule]],
    known: list[tuple[tuple[str, str], dict]],
) -> dict[tuple[str, str], str]:
    order = ("insufficient", "undecided", "sufficient")
    verdicts: dict[tuple[str, str], str] = {}
    for place, fact in known:
        verdict = "undecided"
        for short, enough in lines:
            if short.matches(fact):
                verdict = "insufficient"
            elif enough.matches(fact):
                verdict = "sufficient"
        before = verdicts.get(place, "sufficient")
        verdicts[place] = min(before, verdict, key=order.index)
    return verdicts


def test_one_case_against_floor_and_engine():
    rule_set = shipped_rule_set()
    body = {"units": [unit(tooth) for tooth in TEETH]}
    request = parse_check(body, rule_set=rule_set)
    sites, known, lines = floats(request), facts(request), compiled()
    result = run_check(rule_set, request)
    judged = {
        (one.tooth, site.site.value): site.verdict.value
        for one in result.units
        for site in one.sites
    }
    assert judged == plain_loops(sites) == by_engine(lines, known)
    assert set(judged.values()) == {"insufficient", "undecided", "sufficient"}
    assert all(one.options for one in result.units)
    times = {
        "floor, plain loops": median_ms(lambda: plain_loops(sites)),
        "rule engine, verdicts": median_ms(lambda: by_engine(lines, known), 50),
        "core, verdicts": median_ms(
            lambda: run_check(rule_set, request, options=False)
        ),
        "core, all options": median_ms(lambda: run_check(rule_set, request)),
    }
    floor = times["floor, plain loops"]
    for name, ms in times.items():
        print(f"{name:24} {ms:8.4f} ms  x{ms / floor:8.1f} of the floor")


def test_growth_with_units():
    rule_set = shipped_rule_set()
    teeth = ("16", "15", "14", "24", "25", "26", "36", "35", "34", "44", "45", "46")
    per_unit = {}
    for count in (1, 4, 12):
        body = {"units": [unit(tooth) for tooth in teeth[:count]]}
        request = parse_check(body, rule_set=rule_set)
        per_unit[count] = median_ms(partial(run_check, rule_set, request)) / count
    print({count: f"{ms:.3f} ms a unit" for count, ms in per_unit.items()})
    assert per_unit[12] < 2 * per_unit[1]

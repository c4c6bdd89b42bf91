"""How long a check takes, against a floor measured in the same run.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_check.py -s``. The floor is
parsing the body and writing an answer of the same size as JSON; what counts is
the ratio, and that it does not grow with the number of units.
"""

import json
import statistics
import time
from collections.abc import Callable

from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.payload import check_json, parse_check

ROUNDS = 30
TEETH = ["16", "15", "14", "24", "25", "26", "36", "35", "34", "44", "45", "46"]


def unit(tooth: str) -> dict:
    rows = [
        {
            "site": site,
            "position": "maximal_intercuspation",
            "method": "strip",
            "passes_mm": "1.0",
            "held_mm": "1.5",
        }
        for site in ("buccal_cusps", "lingual_cusps", "central_fossa")
    ]
    return {
        "tooth": tooth,
        "kind": "crown",
        "material": "metal_ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "wall_heights_mm": {"facial": "4.6", "lingual": "4.8"},
        "base_width_mm": "10",
        "readings": rows,
    }


def median_ms(call: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        call()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def test_check_against_json_floor():
    rule_set = shipped_rule_set()
    ratios = {}
    for count in (1, 4, 12):
        body = json.dumps({"units": [unit(tooth) for tooth in TEETH[:count]]})

        def check(body: str = body) -> str:
            request = parse_check(json.loads(body), rule_set=rule_set)
            return json.dumps(check_json(run_check(rule_set, request)))

        answer = json.loads(check())

        def floor(body: str = body, answer: dict = answer) -> str:
            json.loads(body)
            return json.dumps(answer)

        took, least = median_ms(check), median_ms(floor)
        ratios[count] = took / least
        print(
            f"{count:3} units: {took:7.2f} ms, floor {least:6.3f} ms, x{took / least:.0f}"
        )
    assert ratios[12] < 2 * ratios[1], (
        "the cost of a unit must not grow with their number"
    )

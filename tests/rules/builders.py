"""Short ways to write requests in tests of the rule core."""

from pathlib import Path
from typing import Any

import rules
from rules.check import run_check
from rules.parse import parse_toml
from rules.payload import check_json, parse_check

DATA = Path(rules.__file__).parent / "data"
SHIPPED = parse_toml((DATA / "general.toml").read_text(encoding="utf-8"))

MIP = "maximal_intercuspation"
PROTRUSION = "protrusion"


def strip(site, position=MIP, **lengths):
    """Return a strip reading; lengths are passes, drags, held in mm."""
    row = {"site": site, "method": "strip"}
    row |= {f"{key}_mm": value for key, value in lengths.items()}
    return row if position is None else row | {"position": position}


def point(site, value, u=None, position=MIP, method="silicone_caliper"):
    """Return a point reading in mm."""
    row = {"site": site, "method": method, "value_mm": value}
    row |= {} if u is None else {"u_mm": u}
    return row if position is None else row | {"position": position}


def unit(*readings, tooth="36", **keys) -> dict[str, Any]:
    """Return a unit: a metal-ceramic crown on 36 unless told otherwise."""
    return {
        "tooth": tooth,
        "kind": "crown",
        "material": "metal_ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "readings": list(readings),
    } | keys


def run(*units, k=None, rule_set=SHIPPED):
    """Return the check of units as values."""
    body: dict[str, Any] = {"units": list(units)}
    if k is not None:
        body["decision"] = {"k": k}
    return run_check(rule_set, parse_check(body, rule_set=rule_set))


def answer(*units, k=None, rule_set=SHIPPED):
    """Return the check of units as the JSON body."""
    return check_json(run(*units, k=k, rule_set=rule_set))


def site_of(result, site, index=0, quantity=None):
    """Return the one check of a site in a result."""
    (found,) = [
        check
        for check in result.units[index].sites
        if check.site == site and quantity in (None, check.quantity)
    ]
    return found


def options_of(result, kind, index=0):
    """Return the options of a kind of a unit."""
    return [o for o in result.units[index].options if o.kind == kind]

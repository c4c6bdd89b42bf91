"""A rule set as JSON: needs as numbers, and the canonical text of its digest."""

from decimal import Decimal
from typing import Any

from rules.requirements import RuleSet

__all__ = ["materials_json", "rule_set_json"]


def _head(rule_set: RuleSet) -> dict[str, str]:
    return {
        "name": rule_set.name,
        "version": rule_set.version,
        "digest": rule_set.digest,
    }


def materials_json(rule_set: RuleSet) -> dict[str, Any]:
    """Return the materials; the first cementation and surface are the usual ones."""
    return {
        "rule_set": _head(rule_set),
        "items": [
            {
                "key": material.key,
                "label": material.label,
                "cementations": [c.value for c in material.cementations],
                "occlusal_surfaces": [s.value for s in material.occlusal_surfaces],
                "provisional": material.provisional,
            }
            for material in rule_set.materials
        ],
    }


def _line(line: Any) -> dict[str, Any]:
    """Return every field of a line, lengths as numbers, absent ones as null."""
    found: dict[str, Any] = {}
    for name in line.__dataclass_fields__:
        value = getattr(line, name)
        if isinstance(value, Decimal):
            value = float(value)
        elif isinstance(value, tuple):
            value = [str(one) for one in value]
        elif value is not None and not isinstance(value, bool):
            value = str(value)
        found[name] = value
    return found


def rule_set_json(rule_set: RuleSet) -> dict[str, Any]:
    """Return the whole rule set; ``digest`` is the SHA-256 of ``canonical``."""
    return {
        **_head(rule_set),
        "decision": {
            "k": float(rule_set.k),
            "strip_delta_mm": float(rule_set.strip_delta_mm),
            "drag_mm": float(rule_set.drag_mm),
            "cement_space_mm": float(rule_set.cement_space_mm),
            "adjustment_mm": float(rule_set.adjustment_mm),
        },
        "materials": materials_json(rule_set)["items"],
        "methods": [_line(line) for line in rule_set.methods],
        "needs": [_line(line) for line in rule_set.needs],
        "required_sites": [_line(line) for line in rule_set.required_sites],
        "positions": [_line(line) for line in rule_set.positions],
        "canonical": rule_set.canonical,
    }

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
                "under": material.under,
                "instructions": material.instructions,
                "iso_6872_class": material.iso_6872_class,
                "iso_22674_type": material.iso_22674_type,
                "strength_source": material.strength_source,
            }
            for material in rule_set.materials
        ],
    }


def _line(line: Any) -> dict[str, Any]:
    """Return every field of a line, lengths as numbers, absent ones as null."""
    found: dict[str, Any] = {}
    for name in line.__dataclass_fields__:
        found[name] = _value(getattr(line, name))
    return found


def _value(value: Any) -> Any:
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, tuple):
        return [_value(one) for one in value]
    if hasattr(value, "__dataclass_fields__"):
        return _line(value)
    # A word of a closed list becomes a plain text: YAML cannot write others.
    return str(value) if isinstance(value, str) else value


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
        "span_limits": [_line(line) for line in rule_set.span_limits],
        "charges": [_line(line) for line in rule_set.charges],
        "canonical": rule_set.canonical,
    }

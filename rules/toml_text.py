"""A rule set as TOML text for people: what the import reads back equal.

Lengths are numbers in mm. Needs that share material, kinds and conditions stand in
one group, each on a line of its own, in the order the set has them.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

import tomli_w

from rules.requirements import RuleSet

__all__ = ["to_toml"]

_HEAD = """\
# All lengths in millimetres. min_mm: what is needed. target_mm: what a
# re-preparation aims at and stops at. max_mm: more is over-reduction to advise of.
# thickness_mm: the finished wall; the need is that thickness plus cement space plus
# adjustment allowance, summed when read. Every line names its source.
"""
_DECISION = ("k", "strip_delta_mm", "drag_mm", "cement_space_mm", "adjustment_mm")
_LISTS = (
    "methods",
    "materials",
    "required_sites",
    "positions",
    "span_limits",
    "charges",
)
# What the needs of a group have in common, in the order it is written.
_SHARED = ("material", "kinds", "cementation", "occlusal_surface", "classes")
_FIRST = ("site", "quantity", "thickness_mm", "min_mm", "target_mm", "max_mm")


def to_toml(rule_set: RuleSet) -> str:
    """Return a rule set as TOML; ``parse_toml`` reads it back with the same digest."""
    data: Any = rule_set.dump()
    parts = [_HEAD, _table({key: data[key] for key in ("name", "version")})]
    decision = {key: data["decision"][key] for key in _DECISION}
    parts.append(f"[decision]\n{_table(decision)}")
    for name in _LISTS:
        parts += [f"[[{name}]]\n{_table(line)}" for line in data.get(name, ())]
    # An empty list has no table to show for it, and some lists may not be left out.
    empty = [name for name in _LISTS if data.get(name) == []]
    parts[1] += "".join(f"{name} = []\n" for name in empty)
    parts += list(_groups(data["needs"]))
    return "\n".join(parts)


def _groups(needs: Sequence[dict[str, Any]]) -> Iterator[str]:
    def shared(need: dict[str, Any]) -> list[Any]:
        return [need.get(key) for key in _SHARED]

    for _key, lines in groupby(needs, key=shared):
        group = list(lines)
        head = {key: group[0][key] for key in _SHARED if key in group[0]}
        rows = "".join(f"  {_inline(_own(need))},\n" for need in group)
        yield f"[[groups]]\n{_table(head)}needs = [\n{rows}]\n"


def _own(need: dict[str, Any]) -> dict[str, Any]:
    """Return what a need says apart from its group, place and lengths first."""
    later = [key for key in need if key not in (*_SHARED, *_FIRST)]
    return {key: need[key] for key in (*_FIRST, *later) if key in need}


def _table(row: dict[str, Any]) -> str:
    return "".join(f"{key} = {_value(key, value)}\n" for key, value in row.items())


def _inline(row: dict[str, Any]) -> str:
    pairs = ", ".join(f"{key} = {_value(key, value)}" for key, value in row.items())
    return f"{{ {pairs} }}"


def _value(key: str, value: object) -> str:
    if isinstance(value, dict):
        return _inline(value)
    if isinstance(value, list):
        return f"[{', '.join(_value('', each) for each in value)}]"
    if isinstance(value, str) and (key == "k" or key.endswith(("_mm", "_mm2"))):
        value = Decimal(value)
    # The writer quotes and escapes; it is asked for one value at a time because it
    # would spread every need over ten lines.
    return tomli_w.dumps({"x": value}).removeprefix("x = ").rstrip("\n")

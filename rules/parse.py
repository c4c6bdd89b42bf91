"""TOML or JSON values -> RuleSet, collecting every fault with its path.

The shipped form groups needs under a material; the canonical form lists them flat.
Both are read here, so a laboratory's copy and the stored payload parse alike.
"""

import tomllib
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import Any, TypeVar

from rules.errors import Fault, InvalidRuleSet
from rules.lines import (
    Allowances,
    read_material,
    read_method,
    read_need,
    read_position,
    read_required,
)
from rules.reader import Faults, Read, at, length, text
from rules.requirements import Material, Need, RuleSet
from rules.terms import Method

__all__ = ["parse_rule_set", "parse_toml"]

Line = TypeVar("Line")


def _(text: str) -> str:
    return text


_DECISION: dict[str, Read] = {
    "k": length("0", "5", 4),
    "strip_delta_mm": length("0", "1", 4),
    "drag_mm": length("0", "1", 4),
    "cement_space_mm": length("0", "1", 4),
    "adjustment_mm": length("0", "1", 4),
}
_HEAD: dict[str, Read] = {"name": text(80), "version": text(40)}
_LISTS = {"materials": 100, "methods": 20, "required_sites": 200, "positions": 200}
# A set of 100 materials with every site, kind and cementation stays below this.
_NEEDS = 5000


def parse_toml(document: str) -> RuleSet:
    """Return the rule set written in a TOML text.

    Raises:
        InvalidRuleSet: with every fault, or with the one fault of broken TOML.
    """
    try:
        data = tomllib.loads(document, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        fault = Fault("", _("This is not TOML: {reason}."), {"reason": str(error)})
        raise InvalidRuleSet([fault]) from error
    return parse_rule_set(data)


def parse_rule_set(data: object) -> RuleSet:
    """Return the rule set in a mapping (TOML document or canonical JSON payload).

    Lengths may be numbers or strings, in mm.

    Raises:
        InvalidRuleSet: ``faults`` holds every fault with its pointer.
    """
    faults = Faults()
    row = faults.fields(
        data,
        "",
        required={
            **_HEAD,
            "decision": _read_decision,
            **{key: _list(limit) for key, limit in _LISTS.items()},
        },
        optional={"needs": _list(_NEEDS), "groups": _list(_NEEDS)},
    )
    materials = _lines(faults, row, "materials", read_material)
    methods = _lines(faults, row, "methods", read_method)
    required = _lines(faults, row, "required_sites", read_required)
    positions = _lines(faults, row, "positions", read_position)
    _check_materials(faults, materials)
    _check_methods(faults, [default.method for default in methods])
    decision: dict[str, Decimal] = row.get("decision", {})
    needs = _needs(faults, row, materials, decision)
    if faults.items:
        raise InvalidRuleSet(faults.items)
    return RuleSet(
        name=row["name"],
        version=row["version"],
        k=decision["k"],
        strip_delta_mm=decision["strip_delta_mm"],
        drag_mm=decision["drag_mm"],
        cement_space_mm=decision["cement_space_mm"],
        adjustment_mm=decision["adjustment_mm"],
        materials=tuple(materials),
        methods=tuple(methods),
        needs=tuple(needs),
        required_sites=tuple(required),
        positions=tuple(positions),
    )


def _read_decision(faults: Faults, value: object, pointer: str) -> dict[str, Any]:
    return faults.fields(value, pointer, required=_DECISION, optional={})


def _list(limit: int) -> Read:
    return lambda faults, value, pointer: faults.sequence(value, pointer, at_most=limit)


def _lines(
    faults: Faults,
    row: dict[str, Any],
    key: str,
    read: Callable[[Faults, object, str], Line | None],
) -> list[Line]:
    found = (
        read(faults, item, at(f"/{key}", index))
        for index, item in enumerate(row.get(key, ()))
    )
    return [line for line in found if line is not None]


def _check_materials(faults: Faults, materials: Sequence[Material]) -> None:
    seen: set[str] = set()
    for material in materials:
        if material.key in seen:
            faults.add(
                "/materials",
                _("The material “{key}” stands twice."),
                key=material.key,
            )
        seen.add(material.key)


def _check_methods(faults: Faults, methods: Sequence[Method]) -> None:
    for method in Method:
        wanted = 0 if method is Method.STRIP else 1
        if methods.count(method) != wanted:
            faults.add(
                "/methods",
                _("The method “{method}” needs exactly one standard uncertainty."),
                method=method.value,
            )


def _needs(
    faults: Faults,
    row: dict[str, Any],
    materials: Sequence[Material],
    decision: dict[str, Decimal],
) -> list[Need]:
    by_key = {material.key: material for material in materials}
    # With a faulty decision the sums cannot be built; zero lets the lines be read.
    allowances = Allowances(
        decision.get("cement_space_mm", Decimal(0)),
        decision.get("adjustment_mm", Decimal(0)),
    )
    found: list[tuple[str, Need]] = []
    for pointer, item in _need_items(faults, row):
        need = read_need(faults, item, pointer, by_key, allowances)
        if need is not None:
            found.append((pointer, need))
    _check_conflicts(faults, found)
    return [need for _pointer, need in found]


def _need_items(faults: Faults, row: dict[str, Any]) -> Iterator[tuple[str, object]]:
    """Yield every need with its pointer, a group's fields merged into its lines.

    A group's line may name several ``sites`` that share its numbers.
    """
    for index, item in enumerate(row.get("needs", ())):
        yield at("/needs", index), item
    for index, group in enumerate(row.get("groups", ())):
        pointer = at("/groups", index)
        lines = group.get("needs") if isinstance(group, dict) else None
        if not isinstance(lines, list):
            faults.add(pointer, _("A group holds a list of needs."))
            continue
        shared = {key: value for key, value in group.items() if key != "needs"}
        for place, line in enumerate(lines):
            path = at(at(pointer, "needs"), place)
            if not isinstance(line, dict):
                yield path, line
                continue
            merged = {**shared, **line}
            sites = merged.pop("sites", None)
            if not isinstance(sites, list):
                yield path, merged
                continue
            yield from ((path, {**merged, "site": site}) for site in sites)


def _check_conflicts(faults: Faults, needs: Sequence[tuple[str, Need]]) -> None:
    """Refuse two lines that would answer the same question equally precisely."""
    places: dict[tuple[object, ...], list[tuple[str, Need]]] = {}
    for pointer, need in needs:
        place = (need.material, need.site, need.quantity, need.precision)
        rivals = places.setdefault(place, [])
        for other, rival in rivals:
            if _rivals(need, rival):
                faults.add(
                    pointer, _("This line and {other} answer the same."), other=other
                )
                break
        rivals.append((pointer, need))


def _rivals(one: Need, two: Need) -> bool:
    pairs = (
        (one.cementation, two.cementation),
        (one.occlusal_surface, two.occlusal_surface),
    )
    return (
        not set(one.kinds).isdisjoint(two.kinds)
        and all(a is None or b is None or a is b for a, b in pairs)
        and (
            not (one.classes and two.classes)
            or not set(one.classes).isdisjoint(two.classes)
        )
    )

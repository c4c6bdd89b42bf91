"""TOML or JSON values -> RuleSet, collecting every fault with its path.

The shipped form groups needs under a material; the canonical form lists them flat.
Both are read here, so a laboratory's copy and the stored payload parse alike.
"""

import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any, TypeVar

from rules.coherence import (
    Placed,
    check_charges,
    check_materials,
    check_methods,
    check_needs,
    check_span_limits,
)
from rules.errors import Fault, InvalidRuleSet
from rules.lines import (
    read_charge,
    read_material,
    read_method,
    read_position,
    read_required,
    read_span_limit,
    words,
)
from rules.need_lines import Surroundings, need_items, read_need
from rules.reader import Faults, Read, at, length
from rules.requirements import Material, Need, RuleSet
from rules.toml_lines import placed

__all__ = ["LARGEST_TOML", "parse_rule_set", "parse_toml"]

Line = TypeVar("Line")


def _(text: str) -> str:
    return text


# Bytes. The shipped set with all its sources takes about an eighth of it.
LARGEST_TOML = 1_000_000
_DECISION: dict[str, Read] = {
    "k": length("0", "5", 4),
    "strip_delta_mm": length("0", "1", 4),
    "drag_mm": length("0", "1", 4),
    "cement_space_mm": length("0", "1", 4),
    "adjustment_mm": length("0", "1", 4),
}
_HEAD: dict[str, Read] = {"name": words(80), "version": words(40)}
_LISTS = {"materials": 100, "methods": 20, "required_sites": 200, "positions": 200}
_MORE_LISTS = {"span_limits": 1000, "charges": 1000}
# A set of 100 materials with every site, kind and cementation stays below this.
_NEEDS = 5000
# The reader of TOML takes memory by the square of a dotted name's parts: one name may
# fill a megabyte. No name of a rule set has more than two parts; a sentence with this
# many full stops in a row, a word between each two, is none either.
_LONG_NAME = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){16}"""
)
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)$")


def parse_toml(document: str) -> RuleSet:
    """Return the rule set written in a TOML text of at most 1 MB.

    Raises:
        InvalidRuleSet: with every fault and the line each stands on, or with the one
            fault of a text that is too long or no TOML.
    """
    if _bytes(document) > LARGEST_TOML:
        fault = Fault("", _("This text is larger than 1 MB: no rule set needs that."))
        raise InvalidRuleSet([fault])
    if found := _LONG_NAME.search(document):
        line = document.count("\n", 0, found.start()) + 1
        raise InvalidRuleSet(
            [
                Fault(
                    "", _("A name has too many parts: write it without dots."), {}, line
                )
            ]
        )
    try:
        data = tomllib.loads(document, parse_float=Decimal)
    # Beside its own error tomllib lets through what numbers too long for int or
    # Decimal raise, and Python's refusal of lists nested a thousand deep.
    except (ValueError, ArithmeticError, RecursionError) as error:
        raise InvalidRuleSet([_no_toml(document, error)]) from error
    try:
        return parse_rule_set(data)
    except InvalidRuleSet as error:
        raise InvalidRuleSet(placed(document, error.faults)) from None


def _bytes(document: str) -> int:
    if len(document) > LARGEST_TOML:
        return len(document)
    return len(document.encode(errors="replace"))


def _no_toml(document: str, error: Exception) -> Fault:
    if not isinstance(error, tomllib.TOMLDecodeError):
        return Fault("", _("This is not TOML: a number is too long or lists too deep."))
    found = _AT_LINE.search(str(error))
    line = int(found.group(1)) if found else document.count("\n") + 1
    reason = _AT_LINE.sub("", str(error)).strip()
    return Fault("", _("This is not TOML: {reason}."), {"reason": reason}, line)


def parse_rule_set(data: object) -> RuleSet:
    """Return the rule set in a mapping (TOML document or canonical JSON payload).

    Lengths may be numbers or strings, in mm.

    Raises:
        InvalidRuleSet: ``faults`` holds every fault with its pointer.
    """
    faults = Faults()
    more = {**_MORE_LISTS, "needs": _NEEDS, "groups": _NEEDS}
    row = faults.fields(
        data,
        "",
        required={
            **_HEAD,
            "decision": _read_decision,
            **{key: _list(limit) for key, limit in _LISTS.items()},
        },
        optional={key: _list(limit) for key, limit in more.items()},
    )
    materials = _lines(faults, row, "materials", read_material)
    methods = _bare(_lines(faults, row, "methods", read_method))
    required = _bare(_lines(faults, row, "required_sites", read_required))
    positions = _bare(_lines(faults, row, "positions", read_position))
    spans = _lines(faults, row, "span_limits", read_span_limit)
    charges = _lines(faults, row, "charges", read_charge)
    named = _named(row)
    check_materials(faults, materials, named)
    check_methods(faults, methods)
    check_span_limits(faults, spans, named)
    check_charges(faults, charges, named)
    decision: dict[str, Decimal] = row.get("decision", {})
    needs = _needs(faults, row, _bare(materials), decision)
    if faults.items:
        raise InvalidRuleSet(faults.items)
    return RuleSet(
        name=row["name"],
        version=row["version"],
        **decision,
        materials=_inheriting(_bare(materials)),
        methods=methods,
        needs=needs,
        required_sites=required,
        positions=positions,
        span_limits=_bare(spans),
        charges=_bare(charges),
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
) -> Placed[Line]:
    pointers = [(at(f"/{key}", i), item) for i, item in enumerate(row.get(key, ()))]
    found = [(pointer, read(faults, item, pointer)) for pointer, item in pointers]
    return [(pointer, line) for pointer, line in found if line is not None]


def _bare(lines: Placed[Line]) -> tuple[Line, ...]:
    return tuple(line for _pointer, line in lines)


def _named(row: dict[str, Any]) -> frozenset[str]:
    """Return every material key that stands in the list, faulty lines included."""
    items = [item for item in row.get("materials", ()) if isinstance(item, dict)]
    return frozenset(i["key"] for i in items if isinstance(i.get("key"), str))


def _inheriting(materials: Sequence[Material]) -> tuple[Material, ...]:
    """Return the materials; a product under a provisional class is provisional."""
    provisional = {m.key for m in materials if m.provisional}
    return tuple(
        replace(m, provisional=True) if m.under in provisional else m for m in materials
    )


def _needs(
    faults: Faults,
    row: dict[str, Any],
    materials: Sequence[Material],
    decision: dict[str, Decimal],
) -> tuple[Need, ...]:
    # With a faulty decision the sums cannot be built; zero lets the lines be read.
    around = Surroundings(
        {material.key: material for material in materials},
        _named(row),
        decision.get("cement_space_mm", Decimal(0)),
        decision.get("adjustment_mm", Decimal(0)),
    )
    found: list[tuple[str, Need]] = []
    for pointer, item in need_items(faults, row):
        need = read_need(faults, item, pointer, around)
        if need is not None:
            found.append((pointer, need))
    check_needs(faults, found)
    return _bare(found)

"""Reading the needs of a rule set: flat lines, or grouped under shared fields."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from rules.lines import words
from rules.reader import Faults, Read, at, choice, choices, length, shown
from rules.requirements import Alternative, Material, Need
from rules.terms import (
    Cementation,
    Kind,
    OcclusalSurface,
    Position,
    Quantity,
    Role,
    Site,
    ToothClass,
)

__all__ = ["Surroundings", "need_items", "read_need"]


def _(text: str) -> str:
    return text


_PLACES = frozenset({*(site.value for site in Site), *(role.value for role in Role)})
# What is measured at a place; everywhere else it is clearance, or without an
# antagonist the reduction to the planned plane.
_MEASURED = {
    Site.FINISH_LINE: (Quantity.WIDTH,),
    Site.IMPLANT_PLATFORM: (Quantity.CLEARANCE,),
    Role.SCREWED_PLATFORM: (Quantity.CLEARANCE,),
    Site.FACIAL_SURFACE: (Quantity.REDUCTION,),
    Site.FACIAL_WALL: (Quantity.REDUCTION,),
    Site.LINGUAL_WALL: (Quantity.REDUCTION,),
    Site.MESIAL_WALL: (Quantity.REDUCTION,),
    Site.DISTAL_WALL: (Quantity.REDUCTION,),
}
_ELSEWHERE = (Quantity.CLEARANCE, Quantity.REDUCTION)
# More figures for one need than any table of sources holds.
_ALTERNATIVES = 20
_LENGTH, _SOURCE, _NOTE = length("0", "20", 4), words(400), words(800)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a need is read against.

    ``materials`` are those without a fault, ``named`` every key that stands in the
    list, so that one faulty material does not put all its needs at fault. The
    allowances, in mm, are added to a thickness to make a need.
    """

    materials: Mapping[str, Material]
    named: Collection[str]
    cement_space_mm: Decimal
    adjustment_mm: Decimal


def _place(faults: Faults, value: object, pointer: str) -> str:
    if not isinstance(value, str) or value not in _PLACES:
        faults.add(
            pointer, _("“{value}” is no site and no cusp role."), value=shown(value)
        )
    return str(value)


def _alternatives(
    faults: Faults, value: object, pointer: str
) -> tuple[Alternative, ...]:
    items = faults.sequence(value, pointer, at_most=_ALTERNATIVES) or []
    found = []
    for index, item in enumerate(items):
        before = len(faults.items)
        row = faults.fields(
            item,
            at(pointer, index),
            required={"min_mm": _LENGTH, "source": _SOURCE},
            optional={"note": _NOTE},
        )
        if len(faults.items) == before:
            found.append(Alternative(**row))
    return tuple(found)


_NEED: dict[str, Read] = {
    "material": words(60),
    "kinds": choices(Kind, at_least=1),
    "site": _place,
    "quantity": choice(Quantity),
    "target_mm": _LENGTH,
    "source": _SOURCE,
}
_NEED_OPTIONS: dict[str, Read] = {
    "min_mm": _LENGTH,
    "max_mm": _LENGTH,
    "thickness_mm": _LENGTH,
    "cementation": choice(Cementation),
    "occlusal_surface": choice(OcclusalSurface),
    "classes": choices(ToothClass),
    "positions": choices(Position),
    "note": _NOTE,
    "alternatives": _alternatives,
}


def need_items(faults: Faults, row: dict[str, Any]) -> Iterator[tuple[str, object]]:
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


def read_need(
    faults: Faults, item: object, pointer: str, around: Surroundings
) -> Need | None:
    """Read one need; a group's own fields are already merged into ``item``."""
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_NEED, optional=_NEED_OPTIONS)
    _check_material(faults, row, pointer, around)
    _check_quantity(faults, row, pointer)
    _check_lengths(faults, row, item, pointer, around)
    if len(faults.items) > before:
        return None
    return Need(**row)


def _check_material(
    faults: Faults, row: dict[str, Any], pointer: str, around: Surroundings
) -> None:
    key = row.get("material")
    material = around.materials.get(key or "")
    if key is not None and key not in around.named:
        faults.add(
            at(pointer, "material"),
            _("“{value}” is not a material of this rule set."),
            value=shown(key),
        )
    if material is None:
        return
    offered = {
        "cementation": material.cementations,
        "occlusal_surface": material.occlusal_surfaces,
    }
    for condition, choosable in offered.items():
        if condition in row and row[condition] not in choosable:
            faults.add(
                at(pointer, condition),
                _("“{material}” is not offered with “{value}”."),
                material=material.key,
                value=row[condition],
            )


def _check_quantity(faults: Faults, row: dict[str, Any], pointer: str) -> None:
    """Refuse a line that no reading would ever be held against."""
    site, quantity = row.get("site"), row.get("quantity")
    if site is None or quantity is None:
        return
    if quantity not in _MEASURED.get(site, _ELSEWHERE):
        faults.add(
            at(pointer, "quantity"),
            _("No {quantity} is measured at “{site}”."),
            quantity=quantity.value,
            site=site,
        )


def _check_lengths(
    faults: Faults,
    row: dict[str, Any],
    item: object,
    pointer: str,
    around: Surroundings,
) -> None:
    """Fill in ``min_mm`` from a thickness and check the order of the lengths."""
    if not isinstance(item, dict):
        return
    if ("min_mm" in item) is ("thickness_mm" in item):
        faults.add(pointer, _("State either min_mm or thickness_mm, one of the two."))
        return
    if "thickness_mm" in row:
        allowance = around.cement_space_mm + around.adjustment_mm
        row["min_mm"] = row["thickness_mm"] + allowance
    target = row.get("target_mm")
    if target is None:
        return
    if target < row.get("min_mm", target):
        faults.add(at(pointer, "target_mm"), _("The target cannot be below the need."))
    if row.get("max_mm", target) < target:
        faults.add(at(pointer, "max_mm"), _("The most cannot be below the target."))

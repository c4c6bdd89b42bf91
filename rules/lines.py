"""Reading single lines of a rule set: material, method, need, required, position.

Each function returns None where the line has a fault, which is then noted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from rules.reader import Faults, Read, at, choice, choices, flag, length, shown, text
from rules.requirements import (
    NON_WORKING,
    WORKING,
    Material,
    MethodDefault,
    Need,
    PositionRule,
    RequiredSites,
)
from rules.terms import (
    Arch,
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Relation,
    Role,
    Site,
    ToothClass,
)

__all__ = [
    "Allowances",
    "read_material",
    "read_method",
    "read_need",
    "read_position",
    "read_required",
]


def _(text: str) -> str:
    return text


_PLACES = frozenset({*(site.value for site in Site), *(role.value for role in Role)})
_POSITIONS = frozenset({*(p.value for p in Position), WORKING, NON_WORKING})
_SOURCE, _NOTE = text(400), text(800)
_LENGTH = length("0", "20", 4)


@dataclass(frozen=True, slots=True)
class Allowances:
    """What is added to a thickness to make a need, in mm."""

    cement_space_mm: Decimal
    adjustment_mm: Decimal


def _place(faults: Faults, value: object, pointer: str) -> str:
    if not isinstance(value, str) or value not in _PLACES:
        faults.add(
            pointer, _("“{value}” is no site and no cusp role."), value=shown(value)
        )
    return str(value)


def _position_names(faults: Faults, value: object, pointer: str) -> tuple[str, ...]:
    items = faults.sequence(value, pointer, at_most=len(_POSITIONS)) or []
    for index, item in enumerate(items):
        if not isinstance(item, str) or item not in _POSITIONS:
            faults.add(
                at(pointer, index),
                _("“{value}” is no jaw position."),
                value=shown(item),
            )
    return tuple(str(item) for item in items)


_MATERIAL: dict[str, Read] = {
    "key": text(60),
    "label": text(80),
    "cementations": choices(Cementation, at_least=1),
}
_METHOD: dict[str, Read] = {
    "method": choice(Method),
    "u_mm": length("0.0001", "5", 4),
    "source": _SOURCE,
}
_NEED: dict[str, Read] = {
    "material": text(60),
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
}
_SCOPE: dict[str, Read] = {"arch": choice(Arch), "relations": choices(Relation)}


def read_material(faults: Faults, item: object, pointer: str) -> Material | None:
    """Read one material; the first cementation and surface are the usual ones."""
    before = len(faults.items)
    row = faults.fields(
        item,
        pointer,
        required=_MATERIAL,
        optional={"occlusal_surfaces": choices(OcclusalSurface), "provisional": flag},
    )
    return Material(**row) if len(faults.items) == before else None


def read_method(faults: Faults, item: object, pointer: str) -> MethodDefault | None:
    """Read the default uncertainty of a point method."""
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_METHOD, optional={})
    if row.get("method") is Method.STRIP:
        faults.add(
            at(pointer, "method"),
            _("A strip gives an interval: it has no standard uncertainty."),
        )
    return MethodDefault(**row) if len(faults.items) == before else None


def read_required(faults: Faults, item: object, pointer: str) -> RequiredSites | None:
    """Read a line that says which sites must be read on which units."""
    before = len(faults.items)
    row = faults.fields(
        item,
        pointer,
        required={"sites": choices(Site, at_least=1), "source": _SOURCE},
        optional={**_SCOPE, "kinds": choices(Kind), "classes": choices(ToothClass)},
    )
    return RequiredSites(**row) if len(faults.items) == before else None


def read_position(faults: Faults, item: object, pointer: str) -> PositionRule | None:
    """Read a line that says in which jaw positions sites are read."""
    before = len(faults.items)
    row = faults.fields(
        item,
        pointer,
        required={"sites": choices(Site, at_least=1), "source": _SOURCE},
        optional={**_SCOPE, "required": _position_names, "advised": _position_names},
    )
    return PositionRule(**row) if len(faults.items) == before else None


def read_need(
    faults: Faults,
    item: object,
    pointer: str,
    materials: Mapping[str, Material],
    allowances: Allowances,
) -> Need | None:
    """Read one need; a group's own fields are already merged into ``item``."""
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_NEED, optional=_NEED_OPTIONS)
    if len(faults.items) == before:
        _check_conditions(faults, row, pointer, materials)
        _build_minimum(faults, row, pointer, allowances)
    return Need(**row) if len(faults.items) == before else None


def _check_conditions(
    faults: Faults,
    row: dict[str, Any],
    pointer: str,
    materials: Mapping[str, Material],
) -> None:
    material = materials.get(row["material"])
    if material is None:
        faults.add(
            at(pointer, "material"),
            _("“{value}” is not a material of this rule set."),
            value=row["material"],
        )
        return
    offered = {
        "cementation": material.cementations,
        "occlusal_surface": material.occlusal_surfaces,
    }
    for key, words in offered.items():
        if key in row and row[key] not in words:
            faults.add(
                at(pointer, key),
                _("“{material}” is not offered with “{value}”."),
                material=material.key,
                value=row[key],
            )


def _build_minimum(
    faults: Faults, row: dict[str, Any], pointer: str, allowances: Allowances
) -> None:
    """Fill in ``min_mm`` from a thickness and check the order of the lengths."""
    thickness = row.get("thickness_mm")
    if (thickness is None) is ("min_mm" not in row):
        faults.add(pointer, _("State either min_mm or thickness_mm, one of the two."))
        return
    if thickness is not None:
        row["min_mm"] = (
            thickness + allowances.cement_space_mm + allowances.adjustment_mm
        )
    if row["target_mm"] < row["min_mm"]:
        faults.add(at(pointer, "target_mm"), _("The target cannot be below the need."))
    if row.get("max_mm", row["target_mm"]) < row["target_mm"]:
        faults.add(at(pointer, "max_mm"), _("The most cannot be below the target."))

"""Reading single lines of a rule set: material, method, position, span, charge.

Each function returns None where the line has a fault, which is then noted. Needs are
read by ``rules.need_lines``.
"""

import re
from collections.abc import Callable
from typing import Any

from rules.reader import Faults, Read, at, choice, choices, flag, length, shown
from rules.requirements import (
    NON_WORKING,
    WORKING,
    Charge,
    Material,
    MethodDefault,
    PositionRule,
    RequiredSites,
    SpanLimit,
)
from rules.terms import (
    Arch,
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Region,
    Relation,
    Site,
    ToothClass,
)

__all__ = [
    "MOST_UNITS",
    "read_charge",
    "read_material",
    "read_method",
    "read_position",
    "read_required",
    "read_span_limit",
    "words",
]


def _(text: str) -> str:
    return text


# A span of a whole arch.
MOST_UNITS = 16
_POSITIONS = frozenset({*(p.value for p in Position), WORKING, NON_WORKING})
# Control characters, half of a surrogate pair, and what turns the reading direction:
# none of them can be stored, printed or trusted in a line of text.
_UNFIT = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def words(at_most: int) -> Read:
    """Read a line of text that says something: not blank, nothing invisible in it."""

    def read(faults: Faults, value: object, pointer: str) -> str | None:
        found = faults.text(value, pointer, at_most=at_most)
        if found is not None and not found.strip():
            faults.add(pointer, _("Blanks alone say nothing: write it out."))
        elif found is not None and _UNFIT.search(found):
            faults.add(
                pointer,
                _("Write one line of text without control characters."),
            )
        return found

    return read


def _whole(least: int, most: int) -> Read:
    read = length(str(least), str(most), 0)

    def whole(faults: Faults, value: object, pointer: str) -> int | None:
        found = read(faults, value, pointer)
        return None if found is None else int(found)

    return whole


_SOURCE, _NOTE = words(400), words(800)
# A unit of a case keeps its material's key: longer, and no case could name it.
_KEY = words(40)


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
    "key": _KEY,
    "label": words(80),
    "cementations": choices(Cementation, at_least=1),
}
_MATERIAL_OPTIONS: dict[str, Read] = {
    "occlusal_surfaces": choices(OcclusalSurface),
    "provisional": flag,
    "under": _KEY,
    "instructions": _SOURCE,
    "iso_6872_class": _whole(1, 5),
    "iso_22674_type": _whole(0, 5),
    "strength_source": _SOURCE,
}
_METHOD: dict[str, Read] = {
    "method": choice(Method),
    "u_mm": length("0.0001", "5", 4),
    "source": _SOURCE,
}
_SCOPE: dict[str, Read] = {"arch": choice(Arch), "relations": choices(Relation)}
_SITES: dict[str, Read] = {"sites": choices(Site, at_least=1), "source": _SOURCE}
_UNITS = _whole(2, MOST_UNITS)
_SPAN: dict[str, Read] = {
    "material": _KEY,
    "region": choice(Region),
    "units_from": _UNITS,
    "units_to": _UNITS,
    "source": _SOURCE,
}
_SPAN_OPTIONS: dict[str, Read] = {
    "cantilever": flag,
    "allowed": flag,
    "connector_mm2": length("0.01", "100"),
    # The eighth tooth of a quadrant is the last.
    "last_place": _whole(1, 8),
    "note": _NOTE,
}
# Longer than any laboratory promises work for; a typing slip is more likely.
_CHARGE: dict[str, Read] = {
    "material": _KEY,
    "days": _whole(0, 365),
    "charge": words(200),
}


def _row(
    faults: Faults,
    item: object,
    pointer: str,
    required: dict[str, Read],
    optional: dict[str, Read],
    check: Callable[[Faults, dict[str, Any], str], None] | None = None,
) -> dict[str, Any] | None:
    before = len(faults.items)
    row = faults.fields(item, pointer, required=required, optional=optional)
    if check is not None:
        check(faults, row, pointer)
    return row if len(faults.items) == before else None


def read_material(faults: Faults, item: object, pointer: str) -> Material | None:
    """Read one material; the first cementation and surface are the usual ones."""
    row = _row(faults, item, pointer, _MATERIAL, _MATERIAL_OPTIONS, _check_strength)
    return None if row is None else Material(**row)


def _check_strength(faults: Faults, row: dict[str, Any], pointer: str) -> None:
    stated = {"iso_6872_class", "iso_22674_type"} & row.keys()
    if stated and "strength_source" not in row:
        faults.add(
            at(pointer, "strength_source"),
            _("State where class or type comes from."),
        )


def read_method(faults: Faults, item: object, pointer: str) -> MethodDefault | None:
    """Read the default uncertainty of a point method."""
    row = _row(faults, item, pointer, _METHOD, {}, _check_method)
    return None if row is None else MethodDefault(**row)


def _check_method(faults: Faults, row: dict[str, Any], pointer: str) -> None:
    if row.get("method") is Method.STRIP:
        faults.add(
            at(pointer, "method"),
            _("A strip gives an interval: it has no standard uncertainty."),
        )


def read_required(faults: Faults, item: object, pointer: str) -> RequiredSites | None:
    """Read a line that says which sites must be read on which units."""
    scope = {**_SCOPE, "kinds": choices(Kind), "classes": choices(ToothClass)}
    row = _row(faults, item, pointer, _SITES, scope)
    return None if row is None else RequiredSites(**row)


def read_position(faults: Faults, item: object, pointer: str) -> PositionRule | None:
    """Read a line that says in which jaw positions sites are read."""
    names = {"required": _position_names, "advised": _position_names}
    row = _row(faults, item, pointer, _SITES, {**_SCOPE, **names})
    return None if row is None else PositionRule(**row)


def read_span_limit(faults: Faults, item: object, pointer: str) -> SpanLimit | None:
    """Read how far a material reaches in a region."""
    row = _row(faults, item, pointer, _SPAN, _SPAN_OPTIONS, _check_units)
    return None if row is None else SpanLimit(**row)


def _check_units(faults: Faults, row: dict[str, Any], pointer: str) -> None:
    if row.get("units_to", MOST_UNITS) < row.get("units_from", 0):
        faults.add(
            at(pointer, "units_to"),
            _("The most units cannot be below the least."),
        )


def read_charge(faults: Faults, item: object, pointer: str) -> Charge | None:
    """Read what a change to a material costs."""
    row = _row(faults, item, pointer, _CHARGE, {"kinds": choices(Kind)})
    return None if row is None else Charge(**row)

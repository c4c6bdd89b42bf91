"""Rows that come and go: adding teeth and readings, and the rows a unit must have.

Works on the flat texts of a form, so that a server round trip does the same with
and without JavaScript. Nothing that was typed is dropped but by the person.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from cases.forms.instrument_fields import FIELDS, Instruments, usual_instruments
from cases.forms.reading_rows import PRESET, READING_FIELDS, listed_places, reading_flat
from cases.forms.rows import row_numbers
from rules.requirements import RuleSet
from rules.teeth import (
    PERMANENT_TEETH,
    arch_order,
    faces,
    quantity_at,
    sites_for,
)
from rules.terms import Antagonist, Kind, Method, Quantity, Relation, Site

__all__ = ["BRIDGE", "add_units", "change", "completed", "flat_of", "units_flat"]

Flat = dict[str, str]

# Chosen in the panel that adds teeth: ends become retainers, the rest pontics.
BRIDGE = "bridge"
_ACTION = re.compile(
    r"(add-reading|add-antagonist|remove-unit)-([0-9]{1,4})"
    r"|(remove-reading|remove-antagonist)-([0-9]{1,4})-([0-9]{1,4})",
    re.ASCII,
)
_SIMPLE = (
    "tooth",
    "kind",
    "material",
    "occlusal_surface",
    "cementation",
    "relation",
    "antagonist",
    "span",
    "shade",
    "finish_line",
    "retention",
    "abutment",
)
_LENGTHS = ("base_width_mm", "convergence_deg", "dentine_mm")


def flat_of(data: Mapping[str, Any]) -> Flat:
    """Return the texts of a form body; the last of a repeated field counts."""
    return {key: str(data.get(key) or "") for key in data}


def _next(flat: Mapping[str, Any], prefix: str) -> int:
    return max(row_numbers(flat, prefix), default=-1) + 1


def _put(flat: Flat, prefix: str, values: Mapping[str, object]) -> None:
    for name, value in values.items():
        flat[f"{prefix}-{name}"] = str(value)


def _remove(flat: Flat, prefix: str) -> None:
    for key in [key for key in flat if key.startswith(f"{prefix}-")]:
        del flat[key]


def units_flat(units: Sequence[Mapping[str, Any]]) -> Flat:
    """Return units in the shape of the check as the texts of the editor."""
    flat: Flat = {}
    for number, unit in enumerate(units):
        prefix = f"units-{number}"
        _put(flat, prefix, {k: unit[k] for k in _SIMPLE if unit.get(k)})
        if unit.get("planned_plane"):
            flat[f"{prefix}-planned_plane"] = "on"
        for site in unit.get("not_applicable") or ():
            flat[f"{prefix}-left_out-{site}"] = "on"
        _put(flat, prefix, {k: _mm(unit[k]) for k in _LENGTHS if unit.get(k)})
        for wall, height in (unit.get("wall_heights_mm") or {}).items():
            flat[f"{prefix}-wall_heights_mm-{wall}"] = _mm(height)
        for row, facing in enumerate(unit.get("antagonists") or ()):
            _put(flat, f"{prefix}-antagonists-{row}", facing)
        for row, reading in enumerate(unit.get("readings") or ()):
            _put(flat, f"{prefix}-readings-{row}", reading_flat(reading))
    return flat


def _mm(value: object) -> str:
    return reading_flat({"value_mm": value})["value_mm"]


def _is_blank(
    flat: Mapping[str, str], prefix: str, fields: Sequence[str], preset: Sequence[str]
) -> bool:
    typed = [name for name in fields if name not in preset]
    return not any(flat.get(f"{prefix}-{name}", "").strip() for name in typed)


def _places(flat: Mapping[str, str], prefix: str) -> dict[int, tuple[str, str]]:
    return {
        row: (
            flat.get(f"{prefix}-readings-{row}-site", ""),
            flat.get(f"{prefix}-readings-{row}-position", ""),
        )
        for row in row_numbers(flat, f"{prefix}-readings")
    }


def completed(flat: Flat, rule_set: RuleSet, instruments: Instruments = ()) -> Flat:
    """Return the texts with a row for every required place of every unit.

    Blank rows for places the unit no longer has go; rows with figures stay. A new
    row names the instrument last used, or the only one that fits.
    """
    flat = dict(flat)
    for number in row_numbers(flat, "units"):
        prefix = f"units-{number}"
        for name, usual in (("relation", "normal"), ("antagonist", "natural")):
            flat[f"{prefix}-{name}"] = flat.get(f"{prefix}-{name}") or usual
        _complete_readings(flat, prefix, rule_set)
        _complete_instruments(flat, f"{prefix}-readings", instruments)
        _complete_antagonists(flat, prefix)
    return flat


def _complete_instruments(flat: Flat, prefix: str, instruments: Instruments) -> None:
    """Name an instrument in blank rows that were not asked for one yet."""
    for row in row_numbers(flat, prefix):
        at = f"{prefix}-{row}"
        asked = any(f"{at}-{name}" in flat for name in FIELDS)
        if not asked and _is_blank(flat, at, READING_FIELDS, PRESET):
            method = flat.get(f"{at}-method", "")
            _put(flat, at, usual_instruments(flat, prefix, method, instruments))


def _complete_readings(flat: Flat, prefix: str, rule_set: RuleSet) -> None:
    tooth, kind = flat.get(f"{prefix}-tooth", ""), flat.get(f"{prefix}-kind", "")
    relation = flat[f"{prefix}-relation"]
    wanted = listed_places(rule_set, tooth, kind, relation)
    known = _sites(tooth, kind, relation)
    for row, place in _places(flat, prefix).items():
        at = f"{prefix}-readings-{row}"
        blank = _is_blank(flat, at, READING_FIELDS, PRESET)
        # Wanted or not, a blank row is only kept where it can still be filled.
        if blank and (
            place[0] not in known or not _positions_fit(place, tooth, relation)
        ):
            _remove(flat, at)
    method = _usual_method(flat, prefix)
    have = set(_places(flat, prefix).values())
    for site, position in wanted:
        if (site, position) not in have:
            row = _next(flat, f"{prefix}-readings")
            _put(
                flat,
                f"{prefix}-readings-{row}",
                {"site": site, "position": position, "method": method},
            )


def _sites(tooth: str, kind: str, relation: str) -> set[str]:
    if tooth not in PERMANENT_TEETH or kind not in set(Kind):
        return set()
    if relation not in set(Relation):
        return set()
    return {s.value for s in sites_for(tooth, Kind(kind), Relation(relation))}


def _positions_fit(place: tuple[str, str], tooth: str, relation: str) -> bool:
    quantity = quantity_at(
        Site(place[0]), tooth, Relation(relation), positioned=bool(place[1])
    )
    return (quantity is Quantity.CLEARANCE) == bool(place[1])


def _usual_method(flat: Mapping[str, str], prefix: str) -> str:
    """Return the method of the unit's first row: one instrument at a time."""
    for row in row_numbers(flat, f"{prefix}-readings"):
        if method := flat.get(f"{prefix}-readings-{row}-method"):
            return method
    return Method.STRIP.value


def _complete_antagonists(flat: Flat, prefix: str) -> None:
    if flat[f"{prefix}-antagonist"] != Antagonist.PREPARED:
        return
    if row_numbers(flat, f"{prefix}-antagonists"):
        return
    tooth = flat.get(f"{prefix}-tooth", "")
    facing = [
        other
        for number in row_numbers(flat, "units")
        if (other := flat.get(f"units-{number}-tooth", "")) in PERMANENT_TEETH
        and tooth in PERMANENT_TEETH
        and faces(tooth, other)
    ]
    for row, other in enumerate(facing or [""]):
        _put(
            flat,
            f"{prefix}-antagonists-{row}",
            {"tooth": other, "kind": Kind.CROWN.value},
        )


def change(flat: Flat, action: str) -> Flat | None:
    """Return the texts after an action of the page; None for no such action."""
    found = _ACTION.fullmatch(action)
    if found is None:
        return None
    flat = dict(flat)
    what, unit = found[1] or found[3], found[2] or found[4]
    prefix = f"units-{unit}"
    if what == "remove-unit":
        _remove(flat, prefix)
    elif what == "remove-reading":
        _remove(flat, f"{prefix}-readings-{found[5]}")
    elif what == "remove-antagonist":
        _remove(flat, f"{prefix}-antagonists-{found[5]}")
    elif what == "add-antagonist":
        row = _next(flat, f"{prefix}-antagonists")
        _put(flat, f"{prefix}-antagonists-{row}", {"kind": Kind.CROWN.value})
    else:
        _add_reading(flat, prefix)
    return flat


def _add_reading(flat: Flat, prefix: str) -> None:
    site = flat.pop(f"{prefix}-add-site", "")
    position = flat.pop(f"{prefix}-add-position", "")
    tooth, relation = flat.get(f"{prefix}-tooth", ""), flat.get(f"{prefix}-relation")
    if site in set(Site) and tooth in PERMANENT_TEETH and relation in set(Relation):
        how = Relation(relation)
        positioned = quantity_at(Site(site), tooth, how, positioned=bool(position))
        if positioned is not Quantity.CLEARANCE:
            position = ""
    row = _next(flat, f"{prefix}-readings")
    _put(
        flat,
        f"{prefix}-readings-{row}",
        {"site": site, "position": position, "method": _usual_method(flat, prefix)},
    )


def add_units(flat: Flat, *, teeth: Sequence[str], kind: str, material: str) -> Flat:
    """Return the texts with a unit for each tooth; a bridge shares one span."""
    flat = dict(flat)
    have = {flat.get(f"units-{n}-tooth") for n in row_numbers(flat, "units")}
    ordered = sorted(
        {t for t in teeth if t in PERMANENT_TEETH} - have,
        key=lambda t: (t[0] in "34", arch_order(t)),
    )
    span = _free_span(flat) if kind == BRIDGE else ""
    for index, tooth in enumerate(ordered):
        end = index in (0, len(ordered) - 1)
        made = (Kind.RETAINER if end else Kind.PONTIC) if kind == BRIDGE else kind
        _put(
            flat,
            f"units-{_next(flat, 'units')}",
            {
                "tooth": tooth,
                "kind": str(made),
                "material": material,
                "relation": Relation.NORMAL.value,
                "antagonist": Antagonist.NATURAL.value,
                "span": span,
            },
        )
    return flat


def _free_span(flat: Mapping[str, str]) -> str:
    used = {flat.get(f"units-{n}-span") for n in row_numbers(flat, "units")}
    return next((str(n) for n in range(1, 5) if str(n) not in used), "")

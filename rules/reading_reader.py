"""Reading one measurement of a request: keys by method, position by quantity."""

from decimal import Decimal
from typing import Any

from rules.reader import Faults, Read, at, choice, flag, shown
from rules.readings import MAXIMUM_MM, MINIMUM_SCAN_MM, Basis, Reading
from rules.teeth import contact_surface, is_anterior, quantity_at, sites_for
from rules.terms import Kind, Method, Position, Quantity, Relation, Side, Site

__all__ = ["STRIP_KEYS", "read_reading"]


def _(text: str) -> str:
    return text


STRIP_KEYS = ("passes_mm", "drags_mm", "held_mm")
_LENGTHS = (*STRIP_KEYS, "value_mm", "u_mm", "delta_mm")
_ZERO = Decimal(0)
# A smaller u would switch the guard band off.
_LEAST_U, _MOST_U = Decimal("0.001"), Decimal(5)
_MOST_DELTA = Decimal(1)
_MOST_MOUNTINGS = 99


def _raw(faults: Faults, value: object, pointer: str) -> object:
    """Keep a value for later: its range depends on the method."""
    return value


def _mounting_number(faults: Faults, value: object, pointer: str) -> int:
    number = value if isinstance(value, int) and not isinstance(value, bool) else 0
    if 1 <= number <= _MOST_MOUNTINGS:
        return number
    faults.add(
        pointer,
        _("“{value}” is no mounting number: write a whole number from 1 to {most}."),
        value=shown(value),
        most=str(_MOST_MOUNTINGS),
    )
    return 0


_REQUIRED: dict[str, Read] = {"site": choice(Site), "method": choice(Method)}
_OPTIONAL: dict[str, Read] = {
    "position": choice(Position),
    "basis": choice(Basis),
    "side": choice(Side),
    "mounting_number": _mounting_number,
    "stale": flag,
    "delta_mm": _raw,
    **dict.fromkeys((*STRIP_KEYS, "value_mm", "u_mm"), _raw),
}


def read_reading(
    faults: Faults,
    item: object,
    pointer: str,
    *,
    tooth: str | None,
    kind: Kind | None,
    relation: Relation | None,
) -> Reading | None:
    """Read one measurement; what is not known of the unit (None) is not checked."""
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_REQUIRED, optional=_OPTIONAL)
    method, site = row.get("method"), row.get("site")
    numbers: dict[str, Decimal] = {}
    if method is Method.STRIP:
        numbers = _strip(faults, row, pointer)
    elif method is not None:
        numbers = _point(faults, row, pointer, method)
    if site is not None and tooth and kind and relation and isinstance(item, dict):
        if site not in sites_for(tooth, kind, relation):
            _misplaced(faults, at(pointer, "site"), site, tooth, kind, relation)
        else:
            stated = "position" in item
            quantity = quantity_at(site, tooth, relation, positioned=stated)
            _position(faults, row, pointer, quantity, relation, stated=stated)
            _method(faults, method, numbers, pointer, quantity)
    _origin(faults, row, pointer)
    if len(faults.items) > before:
        return None
    fields = {key: value for key, value in row.items() if key not in _LENGTHS}
    return Reading(**{**fields, **numbers})


def _origin(faults: Faults, row: dict[str, Any], pointer: str) -> None:
    """A mounting number belongs to readings on models."""
    if "mounting_number" in row and row.get("basis", Basis.MODEL) is not Basis.MODEL:
        faults.add(
            at(pointer, "mounting_number"),
            _("Only readings on models have a mounting number: leave it out."),
        )


def _strip(faults: Faults, row: dict[str, Any], pointer: str) -> dict[str, Decimal]:
    for key in ("value_mm", "u_mm"):
        if key in row:
            faults.add(
                at(pointer, key),
                _(
                    "A strip has no {key}: state passes_mm (slid freely), drags_mm "
                    "or held_mm."
                ),
                key=key,
            )
    stated = {
        key: faults.number(
            row[key],
            at(pointer, key),
            # Nothing is thinner than no strip, so "0 was held" would be empty.
            minimum=Decimal("0.01") if key == "held_mm" else _ZERO,
            maximum=MAXIMUM_MM,
        )
        for key in STRIP_KEYS
        if key in row
    }
    if not stated:
        faults.add(
            pointer,
            _(
                "A strip reading needs at least one of passes_mm (slid freely), "
                "drags_mm, held_mm."
            ),
        )
    numbers = {key: value for key, value in stated.items() if value is not None}
    _in_order(faults, numbers, pointer)
    return numbers | _delta(faults, row, pointer)


def _delta(faults: Faults, row: dict[str, Any], pointer: str) -> dict[str, Decimal]:
    """Read the thickness tolerance of the strips that were used."""
    if "delta_mm" not in row:
        return {}
    found = faults.number(
        row["delta_mm"],
        at(pointer, "delta_mm"),
        minimum=_ZERO,
        maximum=_MOST_DELTA,
        places=4,
    )
    return {} if found is None else {"delta_mm": found}


def _in_order(faults: Faults, numbers: dict[str, Decimal], pointer: str) -> None:
    keys = [key for key in STRIP_KEYS if key in numbers]
    for thinner, thicker in zip(keys, keys[1:], strict=False):
        if numbers[thinner] >= numbers[thicker]:
            faults.add(
                at(pointer, thicker),
                _(
                    "Strips out of order: {thicker} {high} must be thicker than "
                    "{thinner} {low}. Measure again."
                ),
                thicker=thicker,
                high=f"{numbers[thicker]:f}",
                thinner=thinner,
                low=f"{numbers[thinner]:f}",
            )


def _point(
    faults: Faults, row: dict[str, Any], pointer: str, method: Method
) -> dict[str, Decimal]:
    for key in (*STRIP_KEYS, "delta_mm"):
        if key in row:
            faults.add(
                at(pointer, key),
                _("{key} belongs to a strip; {method} states value_mm."),
                key=key,
                method=method.value,
            )
    if "value_mm" not in row:
        faults.add(
            at(pointer, "value_mm"),
            _("value_mm is missing: {method} states one length in mm."),
            method=method.value,
        )
        return {}
    least = MINIMUM_SCAN_MM if method is Method.SCAN else _ZERO
    value = faults.number(
        row["value_mm"], at(pointer, "value_mm"), minimum=least, maximum=MAXIMUM_MM
    )
    found = {"value_mm": value}
    if "u_mm" in row:
        found["u_mm"] = faults.number(
            row["u_mm"],
            at(pointer, "u_mm"),
            minimum=_LEAST_U,
            maximum=_MOST_U,
            places=4,
        )
    return {key: number for key, number in found.items() if number is not None}


def _misplaced(
    faults: Faults,
    pointer: str,
    site: Site,
    tooth: str,
    kind: Kind,
    relation: Relation,
) -> None:
    known = ", ".join(sites_for(tooth, kind, relation))
    params = {"site": site.value, "tooth": tooth, "kind": kind.value, "known": known}
    if not known:
        return
    if site is Site.FACIOINCISAL_SURFACE and is_anterior(tooth):
        faults.add(
            pointer,
            _(
                "Tooth {tooth} meets its antagonist by its {contact} here: "
                "{site} is read on lower teeth, and on upper ones in crossbite."
            ),
            contact=contact_surface(tooth, relation).value,
            **params,
        )
        return
    faults.add(
        pointer,
        _("Tooth {tooth} as {kind} has no {site}. Sites there: {known}."),
        **params,
    )


def _position(
    faults: Faults,
    row: dict[str, Any],
    pointer: str,
    quantity: Quantity,
    relation: Relation,
    *,
    stated: bool,
) -> None:
    """A clearance names its jaw position; reductions and widths have none."""
    if stated is (quantity is Quantity.CLEARANCE):
        return
    if not stated:
        message = _("A clearance needs its jaw position: state one of {known}.")
    elif relation is Relation.NO_ANTAGONIST and quantity is Quantity.REDUCTION:
        message = _(
            "Without an antagonist the reduction to the planned plane is read: leave "
            "the position out."
        )
    else:
        message = _("{site} is a {quantity} and has no jaw position: leave it out.")
    faults.add(
        at(pointer, "position"),
        message,
        known=", ".join(Position),
        site=row["site"].value,
        quantity=quantity.value,
    )


def _method(
    faults: Faults,
    method: Method | None,
    numbers: dict[str, Decimal],
    pointer: str,
    quantity: Quantity,
) -> None:
    """An index measures no clearance; only a clearance can be negative."""
    if quantity is Quantity.CLEARANCE and method is Method.INDEX_PROBE:
        faults.add(
            at(pointer, "method"),
            _("An index measures reduction, never clearance: use another method."),
        )
    if quantity is not Quantity.CLEARANCE and numbers.get("value_mm", _ZERO) < 0:
        faults.add(
            at(pointer, "value_mm"),
            _("A {quantity} cannot be negative."),
            quantity=quantity.value,
        )

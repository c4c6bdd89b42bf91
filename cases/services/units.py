"""Units and readings between JSON and rows, checked by the rule core.

The shape is that of ``POST /api/v1/check`` (design section 6), with what a
prescription says on top: shade, finish line and abutment of a unit; note and
instrument of a reading. Whose reading it is and whether it is stale is never
entered: the portal knows it.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from cases.enums import Basis, UOrigin
from cases.errors import Invalid, InvalidField
from cases.models import Case, Prescription, Reading, Unit
from cases.selectors.instruments import reading_figures
from cases.tenancy import Actor
from rules.errors import Fault, InvalidPayload
from rules.payload import parse_check, parse_units
from rules.readings import parse_mm
from rules.requirements import RuleSet

__all__ = [
    "UNIT_TEXTS",
    "checked_units",
    "core_unit",
    "invalid_from",
    "judged_reading_json",
    "reading_json",
    "store_readings",
    "stored_connectors",
    "store_units",
    "unit_json",
    "with_figures",
]

UNIT_TEXTS = {"shade": 40, "finish_line": 20, "abutment": 60}
READING_EXTRAS = ("note", "instrument")
_KNOWN_HERE = ("side", "stale")
_LOOKED_UP = (UOrigin.STUDY, UOrigin.INSTRUMENT)
_LENGTHS = ("passes_mm", "drags_mm", "held_mm", "value_mm")
_UNIT_KEYS = (
    "occlusal_surface",
    "cementation",
    "span",
    "relation",
    "antagonist",
    "retention",
)
_UNIT_NUMBERS = ("base_width_mm", "convergence_deg", "dentine_mm")


def invalid_from(faults: Iterable[Fault]) -> Invalid:
    """Return the rule core's faults as the error services raise."""
    return Invalid(
        *(
            InvalidField(f.pointer, f.message, tuple(sorted(f.params.items())))
            for f in faults
        )
    )


def _extras(units: Sequence[Any], pointer: str) -> list[InvalidField]:
    faults: list[InvalidField] = []
    for i, unit in enumerate(units):
        if not isinstance(unit, Mapping):
            continue
        for key, limit in UNIT_TEXTS.items():
            value = unit.get(key, "")
            if not isinstance(value, str) or len(value) > limit:
                faults.append(
                    InvalidField(
                        f"{pointer}/{i}/{key}",
                        "Enter at most {limit} characters of text.",
                        (("limit", str(limit)),),
                    )
                )
        readings = unit.get("readings", [])
        for j, reading in enumerate(readings if isinstance(readings, list) else []):
            faults += _reading_extras(reading, f"{pointer}/{i}/readings/{j}")
    return faults


def _reading_extras(reading: Any, at: str) -> list[InvalidField]:
    if not isinstance(reading, Mapping):
        return []
    faults: list[InvalidField] = []
    faults += [
        InvalidField(f"{at}/{key}", "This is not entered here: leave it out.")
        for key in _KNOWN_HERE
        if key in reading
    ]
    instrument = reading.get("instrument", "")
    if not isinstance(instrument, str) or len(instrument) > 10:
        faults.append(
            InvalidField(f"{at}/instrument", "Choose an instrument from your list.")
        )
    note = reading.get("note", "")
    if not isinstance(note, str) or len(note) > 200:
        faults.append(
            InvalidField(f"{at}/note", "Enter at most 200 characters of text.")
        )
    return faults


def core_unit(unit: Mapping[str, Any]) -> dict[str, Any]:
    """Return the unit without what only the prescription says."""
    core = {key: value for key, value in unit.items() if key not in UNIT_TEXTS}
    if isinstance(core.get("readings"), list):
        core["readings"] = [
            {k: v for k, v in reading.items() if k not in READING_EXTRAS}
            if isinstance(reading, Mapping)
            else reading
            for reading in core["readings"]
        ]
    return core


def checked_units(
    units: Any,
    *,
    rule_set: RuleSet,
    pointer: str = "/units",
    actor: Actor | None = None,
    connectors: Sequence[Any] = (),
) -> list[dict[str, Any]]:
    """Return the units once every value in them and in the connectors can be used.

    With an actor the readings come with the figures of the instruments they name
    and of the actor's own repeatability studies.

    Raises:
        Invalid: every fault with its pointer; nothing was stored.
    """
    if not isinstance(units, list):
        raise Invalid.one(pointer, "Enter a list of units.")
    faults = _extras(units, pointer)
    core = [core_unit(u) if isinstance(u, Mapping) else u for u in units]
    try:
        if connectors:
            body = {"units": core, "connectors": list(connectors)}
            parse_check(body, rule_set=rule_set)
        elif core:
            parse_units(core, rule_set=rule_set, pointer=pointer)
    except InvalidPayload as error:
        raise Invalid(*faults, *invalid_from(error.faults).fields) from error
    if faults:
        raise Invalid(*faults)
    found = [dict(unit) for unit in units]
    if actor is None:
        return found
    return with_figures(found, actor=actor, rule_set=rule_set, pointer=pointer)


def with_figures(
    units: Sequence[Mapping[str, Any]],
    *,
    actor: Actor,
    rule_set: RuleSet,
    pointer: str = "/units",
) -> list[dict[str, Any]]:
    """Return the units, each reading with what its instrument or study adds.

    Raises:
        Invalid: instruments that cannot be named, with their pointers.
    """
    places = [
        (i, j) for i, unit in enumerate(units) for j in range(len(unit["readings"]))
    ]
    written = [units[i]["readings"][j] for i, j in places]
    try:
        figures = reading_figures(actor=actor, readings=written, rule_set=rule_set)
    except Invalid as error:
        raise Invalid(*(_placed(f, places, pointer) for f in error.fields)) from error
    found = [{**unit, "readings": list(unit["readings"])} for unit in units]
    for (i, j), reading in zip(places, figures, strict=True):
        found[i]["readings"][j] = reading
    return found


def _placed(
    fault: InvalidField, places: Sequence[tuple[int, int]], pointer: str
) -> InvalidField:
    """Point from the flat list of readings back to the unit's."""
    _empty, index, *rest = fault.pointer.split("/")
    i, j = places[int(index)]
    place = "/".join([f"{pointer}/{i}/readings/{j}", *rest])
    return InvalidField(place, fault.message, fault.params)


def _mm(value: Any) -> Decimal | None:
    if value is None or value == "":
        return None
    return parse_mm(value, minimum=Decimal(-20), maximum=Decimal(20), places=4)


def _number(value: Any) -> Decimal | None:
    if value is None or value == "":
        return None
    return parse_mm(value, minimum=Decimal(0), maximum=Decimal(90))


def store_units(
    prescription: Prescription, units: Sequence[Mapping[str, Any]]
) -> list[Unit]:
    """Replace the draft units of a prescription by these, in order."""
    Unit.objects.filter(prescription=prescription).delete()
    return Unit.objects.bulk_create(
        Unit(
            prescription=prescription,
            case_id=prescription.case_id,
            position=position,
            tooth=str(unit["tooth"]),
            kind=unit["kind"],
            material=unit["material"],
            occlusal_surface=unit.get("occlusal_surface") or "",
            cementation=unit.get("cementation") or "",
            span=unit.get("span") or "",
            relation=unit.get("relation") or "normal",
            antagonist=unit.get("antagonist") or "natural",
            antagonists=unit.get("antagonists") or [],
            planned_plane=bool(unit.get("planned_plane", False)),
            not_applicable=list(unit.get("not_applicable") or []),
            wall_heights_mm={
                wall: str(_mm(height))
                for wall, height in (unit.get("wall_heights_mm") or {}).items()
            },
            **{key: _number(unit.get(key)) for key in _UNIT_NUMBERS},
            retention=unit.get("retention") or "",
            abutment=unit.get("abutment", ""),
            shade=unit.get("shade", ""),
            finish_line=unit.get("finish_line", ""),
        )
        for position, unit in enumerate(units, start=1)
    )


def stored_connectors(connectors: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return checked connectors as they are stored and signed: lengths as text."""
    return [
        {
            "between": list(one["between"]),
            **{key: f"{_number(one[key]):.2f}" for key in ("height_mm", "width_mm")},
        }
        for one in connectors
    ]


def store_readings(
    *,
    case: Case,
    actor: Actor,
    round_number: int,
    units: Sequence[Mapping[str, Any]],
    at: datetime,
    submitted_at: datetime | None,
) -> list[Reading]:
    """Store the readings inside the units as rows of a round."""
    return Reading.objects.bulk_create(
        Reading(
            case=case,
            round=round_number,
            tooth=str(unit["tooth"]),
            site=reading["site"],
            position=reading.get("position") or "",
            method=reading["method"],
            **{key: _mm(reading.get(key)) for key in (*_LENGTHS, "u_mm", "delta_mm")},
            u_origin=reading.get("u_origin") or "",
            instrument_id=reading.get("instrument") or None,
            instrument_label=reading.get("instrument_label", ""),
            basis=reading.get("basis") or _usual_basis(reading),
            mounting_number=reading.get("mounting_number"),
            side=actor.side,
            taken_by_id=actor.membership_id,
            taken_by_name=actor.name,
            taken_at=at,
            submitted_at=submitted_at,
            note=reading.get("note", ""),
        )
        for unit in units
        for reading in unit.get("readings", [])
    )


def _usual_basis(reading: Mapping[str, Any]) -> Basis:
    """Return what was measured where nobody said: only models have a mounting."""
    return Basis.MOUTH if reading.get("mounting_number") is None else Basis.MODEL


def reading_json(reading: Reading) -> dict[str, Any]:
    """Return a reading as it was entered, lengths as text ("1.50").

    What an instrument or a study added is left out: it is looked up again when the
    reading is entered again.
    """
    body = _measured(reading)
    if reading.u_mm is not None and reading.u_origin not in _LOOKED_UP:
        body["u_mm"] = f"{reading.u_mm:.4f}"
    if reading.instrument_id is not None:
        body["instrument"] = reading.instrument_id
    return body


def _measured(reading: Reading) -> dict[str, Any]:
    body: dict[str, Any] = {"site": reading.site, "method": reading.method}
    if reading.position:
        body["position"] = reading.position
    for key in _LENGTHS:
        value = getattr(reading, key)
        if value is not None:
            body[key] = f"{value:.2f}"
    return body


def judged_reading_json(reading: Reading) -> dict[str, Any]:
    """Return a reading as the check judges it: with its figures, side and basis."""
    body = {**_measured(reading), "basis": reading.basis, "side": reading.side}
    for key in ("u_mm", "delta_mm"):
        if (value := getattr(reading, key)) is not None:
            body[key] = f"{value:.4f}"
    if reading.mounting_number is not None:
        body["mounting_number"] = reading.mounting_number
    if reading.stale_at is not None:
        body["stale"] = True
    return body


def unit_json(unit: Unit, readings: Iterable[Reading]) -> dict[str, Any]:
    """Return a unit with its readings in the shape of the check, as judged."""
    body: dict[str, Any] = {
        "tooth": unit.tooth,
        "kind": unit.kind,
        "material": unit.material,
    }
    for key in _UNIT_KEYS:
        if value := getattr(unit, key):
            body[key] = value
    if unit.antagonists:
        body["antagonists"] = unit.antagonists
    if unit.planned_plane:
        body["planned_plane"] = True
    if unit.not_applicable:
        body["not_applicable"] = list(unit.not_applicable)
    if unit.wall_heights_mm:
        body["wall_heights_mm"] = dict(unit.wall_heights_mm)
    for key in _UNIT_NUMBERS:
        if (number := getattr(unit, key)) is not None:
            body[key] = f"{number:.2f}"
    own = [r for r in readings if r.tooth == unit.tooth]
    body["readings"] = [judged_reading_json(r) for r in own]
    return body

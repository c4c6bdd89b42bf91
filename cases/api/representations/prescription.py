"""Prescription, units and readings as JSON.

A draft is told in the shape in which it is written, so that a client may read it,
change it and send it back.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cases.api.representations.values import iso, mm, numbers, signature_json
from cases.services.units import UNIT_TEXTS, reading_json, unit_json

if TYPE_CHECKING:
    from cases.models import Prescription, Reading, Unit
    from cases.selectors.cases import CaseDetail

__all__ = [
    "draft_json",
    "draft_units",
    "prescription_fields",
    "prescription_json",
    "reading_row",
]

_TEXTS = ("shade", "notes", "occlusal_scheme", "disinfection", "jaw_record")
_LENGTHS = ("passes_mm", "drags_mm", "held_mm", "value_mm")


def prescription_fields(prescription: "Prescription") -> dict[str, str]:
    """Return what a prescription says beside its units."""
    return {name: getattr(prescription, name) for name in _TEXTS}


def _unit(unit: "Unit") -> dict[str, Any]:
    body = unit_json(unit, ())
    del body["readings"]
    for key in UNIT_TEXTS:
        if value := getattr(unit, key):
            body[key] = value
    return body


def _draft_reading(reading: "Reading") -> dict[str, Any]:
    body = {**reading_json(reading), "basis": reading.basis}
    if reading.mounting_number is not None:
        body["mounting_number"] = reading.mounting_number
    if reading.note:
        body["note"] = reading.note
    return body


def draft_units(
    units: Sequence["Unit"], readings: Sequence["Reading"]
) -> list[dict[str, Any]]:
    """Return units as they are written in a draft, lengths as text ("1.50")."""
    return [
        {
            **_unit(unit),
            "readings": [_draft_reading(r) for r in readings if r.tooth == unit.tooth],
        }
        for unit in units
    ]


def draft_json(detail: "CaseDetail") -> dict[str, Any] | None:
    """Return the unsigned revision in preparation."""
    if detail.draft is None:
        return None
    return {
        "revision": detail.draft.revision,
        "prescription": prescription_fields(detail.draft),
        "wanted_on": iso(detail.draft.wanted_on),
        "appointment_at": iso(detail.draft.appointment_at),
        "units": [
            numbers(unit)
            for unit in draft_units(detail.draft_units, detail.draft_readings)
        ],
        "connectors": detail.draft.connectors,
    }


def prescription_json(detail: "CaseDetail") -> dict[str, Any] | None:
    """Return the signed revision in force."""
    prescription = detail.prescription
    if prescription is None:
        return None
    return {
        "revision": prescription.revision,
        **prescription_fields(prescription),
        "connectors": prescription.connectors,
        "units": [numbers(_unit(unit)) for unit in detail.units],
        "submitted_at": iso(prescription.submitted_at),
        "signature": signature_json(prescription.signature),
    }


def reading_row(reading: "Reading") -> dict[str, Any]:
    """Return a submitted reading with who took it, when and on what."""
    return {
        "tooth": reading.tooth,
        "site": reading.site,
        "position": reading.position or None,
        "method": reading.method,
        **{key: mm(getattr(reading, key)) for key in _LENGTHS},
        "u_mm": mm(reading.u_mm, 4),
        "basis": reading.basis,
        "mounting_number": reading.mounting_number,
        "delta_mm": mm(reading.delta_mm, 4),
        "u_origin": reading.u_origin,
        "instrument": reading.instrument_label,
        "stale_at": iso(reading.stale_at),
        "note": reading.note,
        "round": reading.round,
        "side": reading.side,
        "taken_by": reading.taken_by_name,
        "taken_at": iso(reading.taken_at),
        "superseded_at": iso(reading.superseded_at),
    }

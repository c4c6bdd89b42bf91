"""Exactly what is signed, as JSON with a schema number.

Nothing here identifies a patient: the identity enters as a commitment
SHA-256(salt, values), so that erasing it leaves every signature verifiable.
Lengths are text in millimetres ("1.50").
"""

from collections.abc import Sequence
from typing import Any

from cases.canonical import commitment
from cases.models import (
    Attachment,
    Case,
    Flag,
    PatientIdentity,
    Prescription,
    Reading,
    Unit,
)
from cases.services.units import judged_reading_json, unit_json

__all__ = ["SCHEMA", "answer_content", "patient_commitment", "prescription_content"]

SCHEMA = 1


def patient_commitment(case: Case) -> str:
    """Return the commitment of the patient's identity of a case."""
    patient = PatientIdentity.objects.get(case=case)
    values = {
        "reference": patient.reference,
        "initials": patient.initials,
        "age_band": patient.age_band,
    }
    return commitment(patient.salt, values)


def _unit(unit: Unit, readings: Sequence[Reading]) -> dict[str, Any]:
    body = unit_json(unit, ())
    body["shade"] = unit.shade
    body["finish_line"] = unit.finish_line
    body["abutment"] = unit.abutment
    body["readings"] = [
        {**judged_reading_json(r), "round": r.round, "instrument": r.instrument_label}
        for r in readings
        if r.tooth == unit.tooth
    ]
    return body


def prescription_content(
    *,
    case: Case,
    prescription: Prescription,
    units: Sequence[Unit],
    readings: Sequence[Reading],
    attachments: Sequence[Attachment] = (),
) -> dict[str, Any]:
    """Return the content of a prescription revision as the clinician signs it."""
    return {
        "schema": SCHEMA,
        "purpose": "prescription",
        "case": case.code,
        "revision": prescription.revision,
        "round": case.round,
        "clinic": {"code": case.clinic.code, "name": case.clinic.name},
        "laboratory": {"code": case.laboratory.code, "name": case.laboratory.name},
        "prescriber": {
            "name": case.prescriber.name,
            "licence_number": case.prescriber.licence_number,
        },
        "patient": patient_commitment(case),
        "wanted_on": (
            prescription.wanted_on.isoformat() if prescription.wanted_on else None
        ),
        "shade": prescription.shade,
        "notes": prescription.notes,
        "occlusal_scheme": prescription.occlusal_scheme,
        "disinfection": prescription.disinfection,
        "jaw_record": prescription.jaw_record,
        "units": [_unit(unit, readings) for unit in units],
        "connectors": prescription.connectors,
        "attachments": sorted(a.sha256 for a in attachments),
        "rule_set": case.rule_set_digest,
    }


def answer_content(
    *,
    flag: Flag,
    case: Case,
    kind: str,
    parameters: dict[str, Any],
    grounds: str,
    consent: bool,
    prescription: dict[str, Any] | None,
) -> dict[str, Any]:
    """Return the content of an answer; a changed prescription stands in it whole."""
    return {
        "schema": SCHEMA,
        "purpose": "answer",
        "case": case.code,
        "flag": flag.code,
        "question": {"reasons": flag.reasons, "text": flag.text, "sites": flag.sites},
        "revision": case.revision,
        "round": case.round,
        "rule_set": case.rule_set_digest,
        "patient": patient_commitment(case),
        "kind": kind,
        "parameters": parameters,
        "grounds": grounds,
        "consent": consent,
        "prescription": prescription,
    }

"""The body of a draft, and a draft from a body: new, or changed in part."""

from collections.abc import Mapping
from typing import Any

from cases.api.documented import reference
from cases.api.fields import Body, nested, passed_on
from cases.api.representations.prescription import draft_units, prescription_fields
from cases.api.scalars import day, moment, text
from cases.errors import Invalid, InvalidField
from cases.lifecycle import CaseState
from cases.selectors.cases import CaseDetail
from cases.services.drafts import DraftInput, PatientInput, PrescriptionInput
from rules.payload import MAX_UNITS

__all__ = ["CREATE", "PATCH", "changed_draft", "new_draft"]

_PATIENT = Body(
    {"reference": text(40, needed=True), "initials": text(6), "age_band": text(10)}
)
_PRESCRIPTION = Body(
    {
        "shade": text(40),
        "notes": text(4000),
        "occlusal_scheme": text(60),
        "disinfection": text(60),
        "jaw_record": text(60),
    }
)
# What is not in the body of a change stays as it was.
KEEP: Any = object()
_UNIT = reference("DraftUnit")
_CONNECTOR = reference("Connector")

CREATE = Body(
    {
        "laboratory": text(10, needed=True),
        "patient": nested(_PATIENT, needed=True),
        "prescription": nested(_PRESCRIPTION, default={}),
        "units": passed_on(_UNIT, at_most=MAX_UNITS),
        "wanted_on": day(),
        "appointment_at": moment(),
        "prescriber": text(254),
        "connectors": passed_on(_CONNECTOR, at_most=MAX_UNITS),
    }
)
PATCH = Body(
    {
        "patient": nested(_PATIENT, default=KEEP),
        "prescription": nested(_PRESCRIPTION, default=KEEP),
        "units": passed_on(_UNIT, at_most=MAX_UNITS, default=KEEP),
        "wanted_on": day(default=KEEP),
        "appointment_at": moment(default=KEEP),
        "prescriber": text(254),
        "connectors": passed_on(_CONNECTOR, at_most=MAX_UNITS, default=KEEP),
    }
)


def new_draft(values: Mapping[str, Any]) -> DraftInput:
    """Return the draft of a new case."""
    return DraftInput(
        patient=PatientInput(**values["patient"]),
        prescription=PrescriptionInput(**values["prescription"]),
        units=values["units"],
        wanted_on=values["wanted_on"],
        appointment_at=values["appointment_at"],
        prescriber_email=values["prescriber"],
        connectors=values["connectors"],
    )


def _before(detail: CaseDetail) -> dict[str, Any]:
    """Return the draft as it stands; without one, the revision sent back.

    The readings of a revision sent back are kept by the case; a correction lists
    only new ones.
    """
    source = detail.draft or detail.prescription
    units = detail.draft_units if detail.draft else detail.units
    dates = detail.draft or detail.case
    return {
        "patient": {
            "reference": detail.patient.reference,
            "initials": detail.patient.initials,
            "age_band": detail.patient.age_band,
        },
        "prescription": prescription_fields(source) if source else {},
        "units": draft_units(units, detail.draft_readings),
        "wanted_on": dates.wanted_on,
        "appointment_at": dates.appointment_at,
        "prescriber": detail.case.prescriber.email,
        "connectors": source.connectors if source else [],
    }


def changed_draft(detail: CaseDetail, values: Mapping[str, Any]) -> DraftInput:
    """Return the draft with what the body states in place of what was there.

    Raises:
        Invalid: another patient or prescriber for a case that was sent already.
    """
    stated = {key: value for key, value in values.items() if value is not KEEP}
    if not stated["prescriber"]:
        del stated["prescriber"]
    before = _before(detail)
    if detail.case.state == CaseState.INCOMPLETE:
        faults = [
            InvalidField(f"/{name}", "A case that was sent keeps this; leave it out.")
            for name in ("patient", "prescriber")
            if name in stated and stated[name] != before[name]
        ]
        if faults:
            raise Invalid(*faults)
    return new_draft({**before, **stated})

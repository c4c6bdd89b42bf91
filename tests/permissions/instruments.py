"""Instruments and repeatability studies of clinic A."""

from typing import Any

from cases import clock
from cases.services import instruments, instruments_studies
from cases.tenancy import acting
from tests.permissions.shape import Row, Target
from tests.personas import Personas

__all__ = ["ROWS"]

VALUES = "1.50 1.52 1.49 1.51 1.50 1.53 1.48 1.50 1.51 1.50"


def caliper_of_a(personas: Personas) -> Target:
    """Name a caliper of clinic A; the fields change it or say why it goes."""
    actor = personas.assistant.actor
    fields: dict[str, Any] = {
        "kind": "caliper",
        "label": "Caliper 3",
        "resolution_mm": "0.1",
        "u_mm": "",
        "most_uses": "",
        "note": "",
    }
    with acting(actor):
        made = instruments.instrument_save(
            actor=actor, code=None, strips=[], at=clock.now(), **fields
        )
    return Target(
        kwargs={"code": made.code},
        data={"label": "Caliper 4", "reason": "Bent.", "seen": "0"},
    )


def strip_fields(personas: Personas) -> Target:
    """Fill the form of a strip set."""
    return Target(
        data={"kind": "strips", "label": "Strips", "strips-0-nominal_mm": "1.5"}
    )


def study_of_a(personas: Personas) -> Target:
    """Name a study of clinic A."""
    actor = personas.assistant.actor
    with acting(actor):
        made = instruments_studies.study_record(
            actor=actor,
            method="silicone_caliper",
            instrument=None,
            object_note="Gauge block 1.50",
            reference_mm="1.5",
            values=VALUES.split(),
            at=clock.now(),
        )
    return Target(kwargs={"code": made.code})


def study_fields(personas: Personas) -> Target:
    """Fill the form of a study."""
    return Target(
        data={
            "method": "cast_caliper",
            "object_note": "Gauge block 1.50",
            "values": VALUES,
        }
    )


# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("instruments", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("instrument_new", "GET", "200 200 200 200 200 200 200 403 302"),
    Row(
        "instrument_new",
        "POST",
        "302 302 302 302 302 302 302 403 302",
        strip_fields,
    ),
    Row(
        "instrument_edit",
        "GET",
        "200 200 200 404 404 404 404 403 302",
        caliper_of_a,
    ),
    Row(
        "instrument_edit",
        "POST",
        "302 302 302 404 404 404 404 403 302",
        caliper_of_a,
    ),
    Row(
        "instrument_use",
        "POST",
        "302 302 302 404 404 404 404 403 302",
        caliper_of_a,
    ),
    Row(
        "instrument_retire",
        "GET",
        "200 200 200 404 404 404 404 403 302",
        caliper_of_a,
    ),
    Row(
        "instrument_retire",
        "POST",
        "302 302 302 404 404 404 404 403 302",
        caliper_of_a,
    ),
    Row("studies", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("study_new", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("study_new", "POST", "302 302 302 302 302 302 302 403 302", study_fields),
    Row("study", "GET", "200 200 200 404 404 404 404 403 302", study_of_a),
    Row("study_withdraw", "POST", "302 302 302 404 404 404 404 403 302", study_of_a),
)

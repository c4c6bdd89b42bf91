"""A changed prescription: the next revision, signed with the answer."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from cases.errors import Invalid
from cases.models import Answer, Case, Prescription, Unit
from cases.services.checks import readings_in_force, rule_set_for
from cases.services.content import prescription_content
from cases.services.units import UNIT_TEXTS, checked_units, unit_json

__all__ = ["changed_content", "new_revision"]

# What holds for a whole bridge, and what one tooth has for itself.
_SPAN_KEYS = ("material", "occlusal_surface", "cementation")
_OWN_KEYS = (*UNIT_TEXTS, "retention")


def _changed_units(case: Case, changes: Mapping[str, Mapping[str, str]]) -> list[Unit]:
    """Return unsaved units of the next revision; a bridge changes as a whole."""
    current = Prescription.objects.get(case=case, revision=case.revision)
    units = list(Unit.objects.filter(prescription=current).order_by("position"))
    by_tooth = {unit.tooth: unit for unit in units}
    for tooth, keys in changes.items():
        if tooth not in by_tooth:
            raise Invalid.one(
                f"/changes/{tooth}", "Choose a tooth of this prescription."
            )
        for key, value in keys.items():
            if key not in (*_SPAN_KEYS, *_OWN_KEYS) or not isinstance(value, str):
                raise Invalid.one(
                    f"/changes/{tooth}/{key}",
                    "Only material, occlusal surface, cementation, shade, finish line, "
                    "abutment and retention can change.",
                )
            if len(value) > UNIT_TEXTS.get(key, 40):
                raise Invalid.one(
                    f"/changes/{tooth}/{key}",
                    "Enter at most {limit} characters of text.",
                    limit=str(UNIT_TEXTS.get(key, 40)),
                )
        for key in _OWN_KEYS:
            setattr(by_tooth[tooth], key, keys.get(key, getattr(by_tooth[tooth], key)))
        span = by_tooth[tooth].span
        for unit in units:
            if unit is by_tooth[tooth] or (span and unit.span == span):
                _set(unit, keys)
    checked_units(
        [unit_json(unit, ()) for unit in units],
        rule_set=rule_set_for(case.rule_set_digest),
        pointer="/changes",
    )
    return units


def _set(unit: Unit, keys: Mapping[str, str]) -> None:
    if "material" in keys:
        # The old material's surface and cementation say nothing of the new one.
        unit.material = keys["material"]
        unit.occlusal_surface = unit.cementation = ""
    unit.occlusal_surface = keys.get("occlusal_surface", unit.occlusal_surface)
    unit.cementation = keys.get("cementation", unit.cementation)


def _next(case: Case) -> Prescription:
    current = Prescription.objects.get(case=case, revision=case.revision)
    return Prescription(
        case=case,
        revision=case.revision + 1,
        shade=current.shade,
        notes=current.notes,
        occlusal_scheme=current.occlusal_scheme,
        disinfection=current.disinfection,
        jaw_record=current.jaw_record,
        connectors=current.connectors,
        wanted_on=case.wanted_on,
        appointment_at=case.appointment_at,
    )


def changed_content(
    *, case: Case, changes: Mapping[str, Mapping[str, str]]
) -> dict[str, Any]:
    """Return the content of the next revision with these changes; stores nothing.

    Raises:
        Invalid: a tooth, key or value that cannot be.
    """
    units = _changed_units(case, changes)
    return prescription_content(
        case=case,
        prescription=_next(case),
        units=units,
        readings=readings_in_force(case, round_number=case.round),
    )


def new_revision(*, case: Case, answer: Answer, at: datetime) -> Prescription:
    """Store the next revision, signed by the answer's signature.

    The caller saves ``revision`` of the case.
    """
    content = answer.signature.content["prescription"]
    prescription = _next(case)
    prescription.content = content
    prescription.content_sha256 = answer.signature.content_sha256
    prescription.signature = answer.signature
    prescription.submitted_at = at
    prescription.save()
    units = _changed_units(case, answer.parameters["changes"])
    for unit in units:
        unit.pk = None
        unit._state.adding = True
        unit.prescription = prescription
        unit.submitted_at = at
    Unit.objects.bulk_create(units)
    case.revision = prescription.revision
    return prescription

"""The frozen content of a work order: all the document prints but identity.

Canonical JSON of this is what the printed digest is of, and what is attached
inside the PDF. Lengths in the check are JSON numbers in millimetres.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from cases.models import Answer, Case, Organisation, Prescription, Signature, Unit
from cases.selectors.grounds import site_grounds
from cases.services.checks import readings_in_force, rule_set_for
from cases.services.content import patient_commitment
from cases.services.units import judged_reading_json
from rules.requirements import Material, RuleSet

__all__ = ["SCHEMA", "work_order_content"]

SCHEMA = 1


def _organisation(row: Organisation) -> dict[str, str]:
    return {"code": row.code, "name": row.name, "address": row.address}


def _signature(row: Signature | None) -> dict[str, str] | None:
    if row is None:
        return None
    return {
        "name": row.printed_name,
        "role": row.role,
        "signed_for": row.signed_for,
        "meaning": row.meaning,
        "method": row.method,
        "signed_at": row.signed_at.isoformat(),
        "content_sha256": row.content_sha256,
    }


def _named(material: Material | None) -> dict[str, str]:
    """Return a product's own name and instructions for use, as the set says them."""
    if material is None:  # pragma: no cover -- every unit was checked under the set
        return {}
    return {
        "material_label": material.label,
        "instructions": material.instructions,
    }


def _units(case: Case, prescription: Prescription) -> list[dict[str, Any]]:
    readings = readings_in_force(case, round_number=case.round)
    rule_set = rule_set_for(case.rule_set_digest)
    return [
        {
            "tooth": unit.tooth,
            "kind": unit.kind,
            "material": unit.material,
            **_named(rule_set.material(unit.material)),
            "occlusal_surface": unit.occlusal_surface,
            "cementation": unit.cementation,
            "span": unit.span,
            "relation": unit.relation,
            "antagonist": unit.antagonist,
            "shade": unit.shade or prescription.shade,
            "finish_line": unit.finish_line,
            "retention": unit.retention,
            "abutment": unit.abutment,
            "readings": [
                {
                    **judged_reading_json(r),
                    "round": r.round,
                    "mounting_number": r.mounting_number,
                    "instrument": r.instrument_label,
                    "taken_by": r.taken_by_name,
                    "taken_at": r.taken_at.isoformat(),
                }
                for r in readings
                if r.tooth == unit.tooth
            ],
        }
        for unit in Unit.objects.filter(prescription=prescription).order_by("position")
    ]


def _grounds(case: Case) -> list[dict[str, Any]]:
    """Return every site that is not plainly sufficient with its ground."""
    return [
        {
            "tooth": g.verdict.tooth,
            "site": g.verdict.site,
            "quantity": g.verdict.quantity,
            "verdict": g.verdict.verdict,
            "ground": g.coverage.kind,
            "answer_kind": g.coverage.answer.kind if g.coverage.answer else None,
            "answer": g.coverage.answer.code if g.coverage.answer else None,
            "given_by": g.coverage.given_by_name,
            "given_at": g.coverage.given_at.isoformat(),
        }
        for g in site_grounds(case)
        if g.coverage is not None
    ]


def _labels(rule_set: RuleSet, parameters: Mapping[str, Any]) -> dict[str, str]:
    """Return the names of the materials an answer changed to, by their keys."""
    keys = {
        key["material"]
        for key in (parameters.get("changes") or {}).values()
        if "material" in key
    }
    found = {key: rule_set.material(key) for key in sorted(keys)}
    return {key: row.label for key, row in found.items() if row is not None}


def _queries(case: Case) -> list[dict[str, Any]]:
    """Return every settled query with its last answer, oldest first."""
    rule_set = rule_set_for(case.rule_set_digest)
    answers = (
        Answer.objects.filter(case=case, flag__status="settled")
        .filter(declined_at__isnull=True)
        .select_related("flag", "signature", "countersignature")
        .order_by("answered_at", "id")
    )
    return [
        {
            "flag": answer.flag.code,
            "answer": answer.code,
            "reasons": answer.flag.reasons,
            "question": answer.flag.text,
            "sites": answer.flag.sites,
            "verified": answer.flag.verified,
            "material_labels": _labels(rule_set, answer.parameters),
            "raised_by": answer.flag.raised_by_name,
            "raised_at": answer.flag.raised_at.isoformat(),
            "kind": answer.kind,
            "parameters": answer.parameters,
            "grounds": answer.grounds,
            "consent": answer.consent,
            "signature": _signature(answer.signature),
            "countersignature": _signature(answer.countersignature),
        }
        for answer in answers
    ]


def work_order_content(
    *,
    case: Case,
    prescription: Prescription,
    number: int,
    order_code: str,
    released_by: str,
    at: datetime,
) -> dict[str, Any]:
    """Return the content to freeze for a work order."""
    check = case.current_check
    queries = _queries(case)
    return {
        "schema": SCHEMA,
        "work_order": {"code": order_code, "number": number},
        "case": case.code,
        "revision": case.revision,
        "round": case.round,
        "pan_number": case.pan_number,
        "laboratory": _organisation(case.laboratory),
        "clinic": {
            **_organisation(case.clinic),
            "tooth_system": case.clinic.tooth_system,
            "time_zone": case.clinic.time_zone,
        },
        "prescriber": {
            "name": case.prescriber.name,
            "licence_number": case.prescriber.licence_number,
        },
        "patient": patient_commitment(case),
        "wanted_on": case.wanted_on.isoformat() if case.wanted_on else None,
        "promised_on": case.promised_on.isoformat() if case.promised_on else None,
        "notes": prescription.notes,
        "occlusal_scheme": prescription.occlusal_scheme,
        "disinfection": prescription.disinfection,
        "jaw_record": prescription.jaw_record,
        "connectors": prescription.connectors,
        "units": _units(case, prescription),
        "check": {
            "verdict": check.verdict if check else None,
            "made_at": check.made_at.isoformat() if check else None,
            "result": check.result if check else None,
        },
        "grounds": _grounds(case),
        "queries": queries,
        "coping_enclosed": any(q["kind"] == "reduction_coping" for q in queries),
        "prescription_signature": _signature(prescription.signature),
        "released_by": released_by,
        "released_at": at.isoformat(),
    }

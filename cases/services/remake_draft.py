"""The new draft a remake opens: the old prescription again, readings taken anew."""

from collections.abc import Sequence
from datetime import datetime

from cases.errors import Conflict
from cases.models import Case, Membership, PatientIdentity, Prescription, Unit
from cases.services.partnerships import require_partners
from cases.tenancy import Actor

__all__ = ["remake_draft"]


def _prescribed(new: Case, old: Prescription, teeth: Sequence[str]) -> None:
    """Carry the prescription over, of these teeth only where some are named."""
    units = [
        unit
        for unit in Unit.objects.filter(prescription=old).order_by("position")
        if not teeth or unit.tooth in teeth
    ]
    kept = {unit.tooth for unit in units}
    prescription = Prescription.objects.create(
        case=new,
        revision=1,
        shade=old.shade,
        notes=old.notes,
        occlusal_scheme=old.occlusal_scheme,
        disinfection=old.disinfection,
        jaw_record=old.jaw_record,
        connectors=[c for c in old.connectors if kept.issuperset(c["between"])],
    )
    for unit in units:
        unit.pk = None
        unit._state.adding = True
        unit.prescription = prescription
        unit.case = new
        unit.submitted_at = None
    Unit.objects.bulk_create(units)


def remake_draft(
    case: Case, *, actor: Actor, teeth: Sequence[str] = (), at: datetime
) -> Case:
    """Return a new draft, linked to the case, with its prescription of these teeth.

    Raises:
        Conflict: the membership or the partnership with the laboratory has ended.
    """
    if not Membership.objects.filter(pk=actor.membership_id).exists():
        raise Conflict("Your membership has ended.")
    require_partners(clinic_id=case.clinic_id, laboratory_id=case.laboratory_id)
    new = Case.objects.create(
        clinic_id=case.clinic_id,
        laboratory_id=case.laboratory_id,
        prescriber_id=case.prescriber_id,
        created_by_id=actor.membership_id,
        rule_set_digest=case.rule_set_digest,
        remake_of=case,
        created_at=at,
        moved_at=at,
    )
    patient = PatientIdentity.objects.get(case=case)
    PatientIdentity.objects.create(
        case=new,
        reference=patient.reference,
        initials=patient.initials,
        age_band=patient.age_band,
    )
    _prescribed(new, Prescription.objects.get(case=case, revision=case.revision), teeth)
    return new

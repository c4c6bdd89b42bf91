"""What happened in the mouth: fit report, and a remake as a linked new case."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from cases.enums import AuditEvent
from cases.errors import Conflict, Invalid, InvalidField
from cases.lifecycle import CaseState, Command
from cases.models import (
    Case,
    FitReport,
    Membership,
    PatientIdentity,
    Prescription,
    Remake,
    Unit,
)
from cases.services.base import advance, begin, database_guards
from cases.services.bench import ATTRIBUTIONS, CAUSES, check_text
from cases.services.partnerships import require_partners
from cases.tenancy import Actor

__all__ = ["FINDINGS", "FitInput", "fit_report", "remake_open"]

FINDINGS = (
    "as_delivered",
    "restoration_adjusted",
    "opposing_adjusted",
    "provisionally_cemented",
    "perforated",
    "too_high",
    "margin_open",
    "contact_wrong",
    "shade_wrong",
)


@dataclass(frozen=True, slots=True)
class FitInput:
    """The report: fitted or not, findings, and how much was ground off (mm)."""

    fitted: bool
    findings: Sequence[str] = ()
    opposing_adjusted_mm: Decimal | None = None
    minutes: int | None = None
    coping_used: bool | None = None
    note: str = ""


def _validate(report: FitInput) -> None:
    faults = [
        InvalidField(f"/findings/{i}", "Choose from the list of findings.")
        for i, finding in enumerate(report.findings)
        if finding not in FINDINGS
    ]
    if not report.fitted and not report.findings and not report.note.strip():
        faults.append(InvalidField("/findings", "Say why it could not be fitted."))
    if "as_delivered" in report.findings and len(set(report.findings)) > 1:
        faults.append(
            InvalidField(
                "/findings", "“As delivered” stands alone: choose it or others."
            )
        )
    amount = report.opposing_adjusted_mm
    if amount is not None and "opposing_adjusted" not in report.findings:
        faults.append(
            InvalidField(
                "/opposing_adjusted_mm",
                "Tick “opposing tooth adjusted” too, or leave the amount empty.",
            )
        )
    if amount is not None and not Decimal(0) < amount <= Decimal(5):
        faults.append(
            InvalidField("/opposing_adjusted_mm", "Enter millimetres, up to 5.00.")
        )
    if report.minutes is not None and not 0 <= report.minutes <= 600:
        faults.append(InvalidField("/minutes", "Enter minutes from 0 to 600."))
    if faults:
        raise Invalid(*faults)


@transaction.atomic
def fit_report(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    report: FitInput,
    at: datetime,
) -> FitReport:
    """Report the fit; the case is fitted or not fitted."""
    case = begin(actor=actor, code=code, command=Command.FIT, version=version)
    _validate(report)
    stored = FitReport.objects.create(
        case=case,
        outcome="fitted" if report.fitted else "not_fitted",
        findings=sorted(set(report.findings)),
        opposing_adjusted_mm=report.opposing_adjusted_mm,
        minutes=report.minutes,
        coping_used=report.coping_used,
        note=report.note.strip(),
        reported_by_id=actor.membership_id,
        reported_by_name=actor.name,
        reported_at=at,
    )
    with database_guards():
        advance(
            case,
            command=Command.FIT,
            event=AuditEvent.FIT_REPORTED,
            actor=actor,
            at=at,
            target=CaseState.FITTED if report.fitted else CaseState.NOT_FITTED,
            content={"outcome": stored.outcome, "findings": stored.findings},
        )
    return stored


def _copy(case: Case, *, actor: Actor, at: datetime) -> Case:
    """Return a new draft with the old prescription carried over, readings not."""
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
    old = Prescription.objects.get(case=case, revision=case.revision)
    prescription = Prescription.objects.create(
        case=new,
        revision=1,
        shade=old.shade,
        notes=old.notes,
        occlusal_scheme=old.occlusal_scheme,
        disinfection=old.disinfection,
        jaw_record=old.jaw_record,
    )
    units = list(Unit.objects.filter(prescription=old).order_by("position"))
    for unit in units:
        unit.pk = None
        unit._state.adding = True
        unit.prescription = prescription
        unit.case = new
        unit.submitted_at = None
    Unit.objects.bulk_create(units)
    return new


@transaction.atomic
def remake_open(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    cause: str,
    attribution: str,
    note: str,
    at: datetime,
) -> Remake:
    """Record a remake and open the linked new draft; the old state stays."""
    case = begin(actor=actor, code=code, command=Command.REMAKE, version=version)
    faults = []
    if cause not in CAUSES:
        faults.append(InvalidField("/cause", "Choose a cause from the list."))
    if attribution not in ATTRIBUTIONS:
        faults.append(InvalidField("/attribution", "Choose from the list."))
    if faults:
        raise Invalid(*faults)
    check_text("/note", note or "-", message="Write a note.")
    remake = Remake.objects.create(
        case=case,
        new_case=_copy(case, actor=actor, at=at),
        cause=cause,
        detected_at="after_dispatch",
        attribution_clinic=attribution,
        note=note.strip(),
        recorded_by_id=actor.membership_id,
        recorded_at=at,
    )
    with database_guards():
        advance(
            case,
            command=Command.REMAKE,
            event=AuditEvent.REMAKE_OPENED,
            actor=actor,
            at=at,
            content={"cause": cause},
        )
    return remake

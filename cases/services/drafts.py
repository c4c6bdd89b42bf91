"""Drafts: what the clinic prepares before a clinician signs.

A draft belongs to the clinic alone. The same draft serves a new case and the
correction of one that came back incomplete (a new, unsigned revision).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction

from cases import policies
from cases.canonical import new_salt
from cases.enums import Role
from cases.errors import Invalid, InvalidField, NotFound
from cases.lifecycle import CaseState, Command
from cases.models import (
    Attachment,
    Case,
    CaseParty,
    Membership,
    Organisation,
    Partnership,
    PatientIdentity,
    Prescription,
    Reading,
    Unit,
    User,
)
from cases.services.base import begin
from cases.services.checks import digest_now, rule_set_for
from cases.services.texts import refuse_overrides
from cases.services.units import (
    checked_units,
    store_readings,
    store_units,
    stored_connectors,
)
from cases.tenancy import Actor

__all__ = [
    "DraftInput",
    "PatientInput",
    "PrescriptionInput",
    "case_create",
    "case_discard",
    "draft_revision",
    "draft_save",
]


@dataclass(frozen=True, slots=True)
class PatientInput:
    """The clinic's own reference of a patient; never a full name."""

    reference: str
    initials: str = ""
    age_band: str = ""


@dataclass(frozen=True, slots=True)
class PrescriptionInput:
    """What is to be made, beside the units."""

    shade: str = ""
    notes: str = ""
    occlusal_scheme: str = ""
    disinfection: str = ""
    jaw_record: str = ""


@dataclass(frozen=True, slots=True)
class DraftInput:
    """A whole draft; it replaces what was there.

    ``units`` have the shape of ``POST /api/v1/check`` with ``shade`` and
    ``finish_line`` on units, ``basis`` and ``note`` on readings.
    ``connectors`` of a bridge have the shape of the check's.
    ``prescriber_email`` empty: the acting clinician, else the only clinician.
    """

    patient: PatientInput
    prescription: PrescriptionInput = field(default_factory=PrescriptionInput)
    units: Sequence[Mapping[str, Any]] = ()
    wanted_on: date | None = None
    appointment_at: datetime | None = None
    prescriber_email: str = ""
    connectors: Sequence[Mapping[str, Any]] = ()


def _prescriber(*, actor: Actor, email: str) -> User:
    if not email and actor.role == Role.CLINICIAN:
        return User.objects.get(pk=actor.user_id)
    clinicians = User.objects.filter(
        pk__in=Membership.objects.filter(
            organisation_id=actor.organisation_id,
            role=Role.CLINICIAN,
            ended_at__isnull=True,
        ).values("user_id")
    )
    found = list(
        clinicians.filter(email=email.strip().lower()) if email else clinicians[:2]
    )
    if len(found) != 1:
        raise Invalid.one(
            "/prescriber", "Choose a clinician of your clinic as the prescriber."
        )
    return found[0]


def _laboratory(*, actor: Actor, code: str) -> Organisation:
    partner = (
        Partnership.objects.filter(
            clinic_id=actor.organisation_id,
            laboratory__code=code,
            accepted_at__isnull=False,
            ended_at__isnull=True,
        )
        .select_related("laboratory")
        .first()
    )
    if partner is None:
        raise Invalid.one(
            "/laboratory",
            "Choose a laboratory your clinic works with; a partnership must be "
            "asked for and accepted first.",
        )
    return partner.laboratory


def _collected(*questions: Callable[[], Any]) -> list[Any]:
    """Return every answer, or raise Invalid with the faults of all questions."""
    answers: list[Any] = []
    faults: list[InvalidField] = []
    for question in questions:
        try:
            answers.append(question())
        except Invalid as error:
            faults += error.fields
    if faults:
        raise Invalid(*faults)
    return answers


def _dates(
    draft: DraftInput, at: datetime, *, kept: Case | Prescription | None = None
) -> None:
    """Refuse new dates in the past; one that passed meanwhile waits for signing."""
    faults = []
    wanted = draft.wanted_on if not kept or draft.wanted_on != kept.wanted_on else None
    if wanted and wanted < at.date():
        faults.append(
            InvalidField("/wanted_on", "Enter a due date that is not in the past.")
        )
    seen = kept.appointment_at if kept else None
    if (
        draft.appointment_at
        and draft.appointment_at != seen
        and draft.appointment_at < at
    ):
        faults.append(
            InvalidField(
                "/appointment_at", "Enter an appointment that is not in the past."
            )
        )
    if faults:
        raise Invalid(*faults)


def _texts(draft: DraftInput) -> None:
    written = draft.prescription
    refuse_overrides(
        {
            "/patient/reference": draft.patient.reference,
            "/patient/initials": draft.patient.initials,
            "/prescription/shade": written.shade,
            "/prescription/notes": written.notes,
            "/prescription/occlusal_scheme": written.occlusal_scheme,
            "/prescription/disinfection": written.disinfection,
            "/prescription/jaw_record": written.jaw_record,
        }
    )


def draft_revision(case: Case) -> Prescription | None:
    """Return the unsigned revision being prepared, if there is one."""
    return Prescription.objects.filter(case=case, submitted_at__isnull=True).first()


def _units(actor: Actor, draft: DraftInput, digest: str) -> list[dict[str, Any]]:
    return checked_units(
        list(draft.units),
        rule_set=rule_set_for(digest),
        actor=actor,
        connectors=draft.connectors,
    )


def _write(
    case: Case,
    *,
    actor: Actor,
    draft: DraftInput,
    units: list[dict[str, Any]],
    at: datetime,
) -> None:
    prescription, _made = Prescription.objects.update_or_create(
        case=case,
        revision=case.revision + 1,
        submitted_at=None,
        defaults={
            "shade": draft.prescription.shade,
            "notes": draft.prescription.notes,
            "occlusal_scheme": draft.prescription.occlusal_scheme,
            "disinfection": draft.prescription.disinfection,
            "jaw_record": draft.prescription.jaw_record,
            "connectors": stored_connectors(draft.connectors),
            "wanted_on": draft.wanted_on,
            "appointment_at": draft.appointment_at,
        },
    )
    store_units(prescription, units)
    Reading.objects.filter(case=case, submitted_at__isnull=True).delete()
    store_readings(
        case=case,
        actor=actor,
        round_number=case.round,
        units=units,
        at=at,
        submitted_at=None,
    )


def _digest_for(*, actor: Actor, laboratory: str, at: datetime) -> str:
    """Return the digest a draft is read under; without a laboratory the shipped set's.

    Asked before the units are read: only its own set knows a laboratory's products.
    """
    try:
        return digest_now(_laboratory(actor=actor, code=laboratory), at=at)
    except Invalid:
        return ""


@transaction.atomic
def case_create(
    *, actor: Actor, laboratory: str, draft: DraftInput, at: datetime
) -> Case:
    """Store a new draft for a laboratory (by its code) and return the case.

    Raises:
        NotAllowed: only clinician and assistant prepare cases.
        Invalid: every field that cannot be used.
    """
    policies.require(actor, Command.EDIT_DRAFT)
    digest = _digest_for(actor=actor, laboratory=laboratory, at=at)
    _none, _fine, units, prescriber, lab = _collected(
        lambda: _dates(draft, at),
        lambda: _texts(draft),
        lambda: _units(actor, draft, digest),
        lambda: _prescriber(actor=actor, email=draft.prescriber_email),
        lambda: _laboratory(actor=actor, code=laboratory),
    )
    case = Case.objects.create(
        clinic_id=actor.organisation_id,
        laboratory=lab,
        prescriber=prescriber,
        created_by_id=actor.membership_id,
        rule_set_digest=rule_set_for(digest).digest,
        wanted_on=draft.wanted_on,
        appointment_at=draft.appointment_at,
        created_at=at,
        moved_at=at,
    )
    PatientIdentity.objects.create(
        case=case,
        reference=draft.patient.reference,
        initials=draft.patient.initials,
        age_band=draft.patient.age_band,
    )
    _write(case, actor=actor, draft=draft, units=units, at=at)
    return case


@transaction.atomic
def draft_save(
    *, actor: Actor, code: str, version: int | None, draft: DraftInput, at: datetime
) -> Case:
    """Replace the draft of a case (new, or sent back as incomplete).

    Raises:
        NotFound, NotAllowed, StaleVersion, IllegalTransition: as ever.
        Invalid: every field that cannot be used; nothing is stored.
    """
    case = begin(actor=actor, code=code, command=Command.EDIT_DRAFT, version=version)
    new = case.state == CaseState.DRAFT
    keeps = not new or not draft.prescriber_email
    if new:
        # The set in force at submission counts: a draft follows it.
        digest = digest_now(case.laboratory, at=at)
        case.rule_set_digest = rule_set_for(digest).digest
    _none, _fine, units, prescriber = _collected(
        lambda: _dates(draft, at, kept=draft_revision(case) or case),
        lambda: _texts(draft),
        lambda: _units(actor, draft, case.rule_set_digest),
        lambda: (
            case.prescriber
            if keeps
            else _prescriber(actor=actor, email=draft.prescriber_email)
        ),
    )
    case.version += 1
    fields = ["version"]
    if new:
        case.wanted_on = draft.wanted_on
        case.appointment_at = draft.appointment_at
        case.prescriber = prescriber
        fields += ["wanted_on", "appointment_at", "prescriber", "rule_set_digest"]
        PatientIdentity.objects.filter(case=case).update(
            reference=draft.patient.reference,
            initials=draft.patient.initials,
            age_band=draft.patient.age_band,
            salt=new_salt(),
        )
    case.save(update_fields=fields)
    _write(case, actor=actor, draft=draft, units=units, at=at)
    return case


@transaction.atomic
def case_discard(*, actor: Actor, code: str, version: int | None) -> list[str]:
    """Delete a draft that nobody else ever saw; return its storage keys.

    The caller removes the files after commit.
    """
    case = begin(actor=actor, code=code, command=Command.DISCARD, version=version)
    if case.state != CaseState.DRAFT:  # pragma: no cover -- the table allows no other
        raise NotFound
    attachments = Attachment.objects.filter(case=case)
    keys = list(attachments.values_list("storage_key", flat=True))
    for rows in (
        attachments,
        Reading.objects.filter(case=case),
        Unit.objects.filter(case=case),
        Prescription.objects.filter(case=case),
        PatientIdentity.objects.filter(case=case),
        CaseParty.objects.filter(case=case),
        Case.objects.filter(pk=case.pk),
    ):
        # One statement each: Django's cascade would ask tables the
        # application may not delete from.
        rows._raw_delete(rows.db)
    return keys

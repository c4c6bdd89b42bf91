"""Over the bench: submit, receive, send back as incomplete, resubmit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from cases.enums import AuditEvent
from cases.errors import Invalid, InvalidField
from cases.lifecycle import CaseState, Command
from cases.models import Attachment, Case, Prescription, Reading, Round, Unit
from cases.services.base import advance, begin, database_guards
from cases.services.checks import (
    CHECK_FIELDS,
    check_store,
    digest_now,
    readings_in_force,
    rule_set_for,
)
from cases.services.content import prescription_content
from cases.services.drafts import draft_revision
from cases.services.partnerships import require_partners
from cases.services.signing import SignatureInput, sign
from cases.services.units import checked_units, unit_json
from cases.tenancy import Actor

__all__ = [
    "case_incomplete",
    "case_receive",
    "case_resubmit",
    "case_submit",
    "submission_content",
]

CONTENTS = (
    "impression",
    "scan",
    "opposing",
    "jaw_record",
    "shade_photos",
    "disinfection_stated",
)


@dataclass(frozen=True, slots=True)
class _Pending:
    prescription: Prescription
    units: list[Unit]
    readings: list[Reading]
    attachments: list[Attachment]


def _pending(case: Case) -> _Pending:
    prescription = draft_revision(case)
    if prescription is None:
        raise Invalid.one("/units", "There is no draft to send. Edit the case first.")
    units = list(Unit.objects.filter(prescription=prescription).order_by("position"))
    if not units:
        raise Invalid.one("/units", "Enter at least one unit: choose a tooth.")
    drafts = list(
        Reading.objects.filter(case=case, submitted_at__isnull=True).order_by("id")
    )
    if not drafts and case.state == CaseState.DRAFT:
        raise Invalid.one(
            "/units/0/readings",
            "Enter at least one clearance reading; the laboratory cannot judge "
            "without one.",
        )
    attachments = list(Attachment.objects.filter(case=case, internal=False))
    return _Pending(prescription, units, drafts, attachments)


def _replaced(case: Case, drafts: Sequence[Reading]) -> list[Reading]:
    """Return submitted clinic readings that these drafts take the place of."""
    if case.state == CaseState.DRAFT:
        return []
    keys = {(r.tooth, r.site, r.position, r.basis) for r in drafts}
    return [
        r
        for r in readings_in_force(case, round_number=case.round)
        if r.side == "clinic" and (r.tooth, r.site, r.position, r.basis) in keys
    ]


def _use_set_in_force(case: Case, pending: _Pending, *, at: datetime) -> None:
    """Put a new case under the laboratory's set of the day; it keeps that one.

    Raises:
        Invalid: the units cannot be judged under it any more.
    """
    if case.submitted_at is not None:
        return
    rule_set = rule_set_for(digest_now(case.laboratory, at=at))
    if rule_set.digest != case.rule_set_digest:
        checked_units(
            [unit_json(unit, ()) for unit in pending.units], rule_set=rule_set
        )
        case.rule_set_digest = rule_set.digest


def _content(case: Case, pending: _Pending) -> dict[str, Any]:
    gone = {r.pk for r in _replaced(case, pending.readings)}
    kept = [
        r
        for r in readings_in_force(case, round_number=case.round)
        if r.pk not in gone and r.side == "clinic"
    ]
    return prescription_content(
        case=case,
        prescription=pending.prescription,
        units=pending.units,
        readings=[*kept, *pending.readings],
        attachments=pending.attachments,
    )


def submission_content(case: Case, *, at: datetime | None = None) -> dict[str, Any]:
    """Return exactly what submitting or resubmitting this case would sign.

    ``at`` says under which of the laboratory's rule sets a new case would go out;
    without it the one the draft was saved under.

    Raises:
        Invalid: the draft cannot be sent yet.
    """
    pending = _pending(case)
    if at is not None:
        _use_set_in_force(case, pending, at=at)
    return _content(case, pending)


def _send(
    case: Case,
    *,
    command: Command,
    event: AuditEvent,
    actor: Actor,
    signature: SignatureInput,
    at: datetime,
) -> Case:
    pending = _pending(case)
    wanted = pending.prescription.wanted_on
    if wanted and wanted < at.date():
        raise Invalid.one(
            "/wanted_on", "The due date has passed: edit the draft and enter a new one."
        )
    _use_set_in_force(case, pending, at=at)
    content = _content(case, pending)
    replaced = _replaced(case, pending.readings)
    signed = sign(
        actor=actor,
        case=case,
        purpose="prescription",
        target=case.code,
        content=content,
        signature=signature,
        at=at,
    )
    first = case.submitted_at is None
    prescription = pending.prescription
    prescription.content = content
    prescription.content_sha256 = signed.content_sha256
    prescription.signature = signed
    prescription.submitted_at = at
    prescription.save()
    for rows in (
        Unit.objects.filter(prescription=prescription),
        Reading.objects.filter(pk__in=[r.pk for r in pending.readings]),
        Attachment.objects.filter(case=case, submitted_at__isnull=True),
    ):
        rows.update(submitted_at=at)
    Reading.objects.filter(pk__in=[r.pk for r in replaced]).update(superseded_at=at)
    case.revision = prescription.revision
    case.wanted_on = prescription.wanted_on
    case.appointment_at = prescription.appointment_at
    fields = ["revision", "wanted_on", "appointment_at", *CHECK_FIELDS]
    if first:
        case.submitted_at = at
        fields.append("submitted_at")
        Round.objects.create(case=case, number=1, cause="submission", began_at=at)
    check_store(case, at=at)
    advance(
        case,
        command=command,
        event=event,
        actor=actor,
        at=at,
        fields=fields,
        content={
            "revision": case.revision,
            "content_sha256": signed.content_sha256,
            "verdict": case.verdict,
        },
    )
    return case


@transaction.atomic
def case_submit(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    signature: SignatureInput,
    at: datetime,
) -> Case:
    """Sign the draft as prescription and send it to the laboratory.

    Raises:
        Invalid: no unit or no reading yet.
        Conflict: the partnership with the laboratory has ended meanwhile.
        ReauthenticationRequired, Conflict: the signature is not usable.
    """
    case = begin(actor=actor, code=code, command=Command.SUBMIT, version=version)
    require_partners(clinic_id=case.clinic_id, laboratory_id=case.laboratory_id)
    with database_guards():
        return _send(
            case,
            command=Command.SUBMIT,
            event=AuditEvent.CASE_SUBMITTED,
            actor=actor,
            signature=signature,
            at=at,
        )


@transaction.atomic
def case_resubmit(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    signature: SignatureInput,
    at: datetime,
) -> Case:
    """Sign the corrected revision of an incomplete case and send it again."""
    case = begin(actor=actor, code=code, command=Command.RESUBMIT, version=version)
    with database_guards():
        case.missing = ""
        case = _send(
            case,
            command=Command.RESUBMIT,
            event=AuditEvent.CASE_RESUBMITTED,
            actor=actor,
            signature=signature,
            at=at,
        )
        case.save(update_fields=["missing"])
        return case


@transaction.atomic
def case_receive(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    contents: Sequence[str],
    pan_number: str,
    promised_on: date | None,
    at: datetime,
) -> Case:
    """Log parcel or files at the laboratory; its clock starts here."""
    case = begin(actor=actor, code=code, command=Command.RECEIVE, version=version)
    faults = [
        InvalidField(f"/contents/{i}", "Choose from the list of contents.")
        for i, item in enumerate(contents)
        if item not in CONTENTS
    ]
    if len(pan_number) > 20:
        faults.append(InvalidField("/pan_number", "Enter at most 20 characters."))
    if promised_on and promised_on < at.date():
        faults.append(
            InvalidField("/promised_on", "Enter a date that is not in the past.")
        )
    if faults:
        raise Invalid(*faults)
    case.contents_received = sorted(set(contents))
    case.pan_number = pan_number or case.pan_number
    case.promised_on = promised_on or case.promised_on
    case.received_at = case.received_at or at
    advance(
        case,
        command=Command.RECEIVE,
        event=AuditEvent.CASE_RECEIVED,
        actor=actor,
        at=at,
        fields=("contents_received", "pan_number", "promised_on", "received_at"),
        content={"contents": case.contents_received},
    )
    return case


@transaction.atomic
def case_incomplete(
    *, actor: Actor, code: str, version: int | None, missing: str, at: datetime
) -> Case:
    """Send the case back and say what is missing."""
    case = begin(actor=actor, code=code, command=Command.INCOMPLETE, version=version)
    if not missing.strip():
        raise Invalid.one("/missing", "Say what is missing, so that it can be sent.")
    case.missing = missing.strip()
    advance(
        case,
        command=Command.INCOMPLETE,
        event=AuditEvent.CASE_INCOMPLETE,
        actor=actor,
        at=at,
        fields=("missing",),
        content={"missing": case.missing},
    )
    return case

"""New readings: the laboratory's own, and the clinic's new records."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from cases.enums import AuditEvent
from cases.errors import Invalid, InvalidField
from cases.lifecycle import CaseState, Command
from cases.models import Case, Prescription, Reading, Round, Unit
from cases.selectors.check_catalog import digests_begun
from cases.services.base import advance, begin
from cases.services.checks import (
    CHECK_FIELDS,
    check_store,
    readings_in_force,
    rule_set_for,
)
from cases.services.texts import refuse_overrides
from cases.services.units import checked_units, store_readings, unit_json
from cases.tenancy import Actor
from rules.requirements import RuleSet

__all__ = [
    "case_recheck",
    "open_round",
    "provisional_lost",
    "readings_add",
    "records_send",
]

ReadingInput = Mapping[str, Any]


def _grouped(
    case: Case, readings: Sequence[ReadingInput], *, actor: Actor
) -> list[dict[str, Any]]:
    """Return the case's units with these readings in them, checked.

    Each reading names its ``tooth``; faults point at ``/readings/N/…``.
    """
    prescription = Prescription.objects.get(case=case, revision=case.revision)
    units = list(Unit.objects.filter(prescription=prescription).order_by("position"))
    places: dict[str, list[int]] = {unit.tooth: [] for unit in units}
    faults = []
    for index, reading in enumerate(readings):
        tooth = reading.get("tooth")
        if not isinstance(tooth, str) or tooth not in places:
            faults.append(
                InvalidField(
                    f"/readings/{index}/tooth", "Choose a tooth of this prescription."
                )
            )
        else:
            places[tooth].append(index)
    if faults:
        raise Invalid(*faults)
    bodies = []
    for unit in units:
        body = unit_json(unit, ())
        body["readings"] = [
            {k: v for k, v in readings[i].items() if k != "tooth"}
            for i in places[unit.tooth]
        ]
        bodies.append(body)
    try:
        return checked_units(
            bodies, rule_set=rule_set_for(case.rule_set_digest), actor=actor
        )
    except Invalid as error:
        raise Invalid(*(_moved(f, units, places) for f in error.fields)) from error


def _moved(
    fault: InvalidField, units: Sequence[Unit], places: Mapping[str, list[int]]
) -> InvalidField:
    """Point from the unit's reading back to the list the person sent."""
    parts = fault.pointer.split("/")
    if len(parts) < 5 or parts[3] != "readings":
        return fault
    index = places[units[int(parts[2])].tooth][int(parts[4])]
    rest = "/".join(["", "readings", str(index), *parts[5:]])
    return InvalidField(rest, fault.message, fault.params)


def open_round(
    case: Case, *, cause: str, remounted: bool, carries: bool, at: datetime
) -> Round:
    """Begin the next round; the caller saves ``round`` of the case."""
    last = Round.objects.get(case=case, number=case.round)
    case.round += 1
    return Round.objects.create(
        case=case,
        number=case.round,
        cause=cause,
        mounting_number=last.mounting_number + (1 if remounted else 0),
        carries_mouth_readings=carries,
        began_at=at,
    )


@transaction.atomic
def readings_add(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    readings: Sequence[ReadingInput],
    at: datetime,
) -> Case:
    """Add the laboratory's own readings and check the case again.

    Raises:
        Invalid: no reading, a tooth of another case, or a value that cannot be.
    """
    case = begin(actor=actor, code=code, command=Command.READINGS, version=version)
    if not readings:
        raise Invalid.one("/readings", "Enter at least one reading.")
    units = _grouped(case, readings, actor=actor)
    stored = store_readings(
        case=case,
        actor=actor,
        round_number=case.round,
        units=units,
        at=at,
        submitted_at=at,
    )
    check_store(case, at=at)
    advance(
        case,
        command=Command.READINGS,
        event=AuditEvent.READINGS_ADDED,
        actor=actor,
        at=at,
        fields=CHECK_FIELDS,
        content={"count": len(stored), "verdict": case.verdict},
    )
    return case


@transaction.atomic
def records_send(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    readings: Sequence[ReadingInput],
    sent: Sequence[str],
    note: str,
    at: datetime,
) -> Case:
    """Send what the answer asked for; a new round begins.

    ``sent`` ticks the physical records (impression, jaw_record …) that leave
    with the parcel or as files.

    Raises:
        Invalid: something that is due is missing.
    """
    case = begin(actor=actor, code=code, command=Command.RECORDS, version=version)
    faults = [
        InvalidField(
            "/sent",
            "Confirm that this goes out: {record}.",
            (("record", due.replace("_", " ")),),
        )
        for due in case.records_due
        if due != "readings" and due not in sent
    ]
    if "readings" in case.records_due and not readings:
        faults.append(
            InvalidField("/readings", "Enter the new readings of the preparation.")
        )
    if faults:
        raise Invalid(*faults)
    prepared = "readings" in case.records_due
    units = _grouped(case, readings, actor=actor)
    open_round(
        case,
        cause="new_records" if prepared else "new_jaw_record",
        remounted=True,
        carries=not prepared,
        at=at,
    )
    store_readings(
        case=case,
        actor=actor,
        round_number=case.round,
        units=units,
        at=at,
        submitted_at=at,
    )
    case.records_due = []
    check_store(case, at=at)
    advance(
        case,
        command=Command.RECORDS,
        event=AuditEvent.RECORDS_SENT,
        actor=actor,
        at=at,
        fields=("round", "records_due", *CHECK_FIELDS),
        content={"sent": sorted(sent), "note": note, "verdict": case.verdict},
    )
    return case


@transaction.atomic
def provisional_lost(
    *, actor: Actor, code: str, version: int | None, note: str, at: datetime
) -> Case:
    """Record that the provisional was lost or found high: readings are stale.

    Teeth may have moved since: a stale reading proves no sufficiency any more.

    Raises:
        Invalid: without a word on what happened.
    """
    case = begin(actor=actor, code=code, command=Command.PROVISIONAL, version=version)
    if not note.strip() or len(note) > 1000:
        raise Invalid.one("/note", "Say what happened and since when, briefly.")
    refuse_overrides({"/note": note})
    stale = [
        reading.pk
        for reading in readings_in_force(case, round_number=case.round)
        if reading.stale_at is None
    ]
    Reading.objects.filter(pk__in=stale).update(stale_at=at)
    check_store(case, at=at)
    advance(
        case,
        command=Command.PROVISIONAL,
        event=AuditEvent.READINGS_STALE,
        actor=actor,
        at=at,
        target=CaseState(case.state),
        fields=CHECK_FIELDS,
        content={"note": note.strip(), "count": len(stale), "verdict": case.verdict},
    )
    return case


def _own_set(case: Case, digest: str, *, at: datetime) -> RuleSet:
    rule_set = rule_set_for(digest)
    begun = digests_begun(case.laboratory, at=at)
    if rule_set.digest not in {d or rule_set_for("").digest for d in begun}:
        raise Invalid.one(
            "/rule_set",
            "Choose a rule set your laboratory has published and that has begun.",
        )
    return rule_set


@transaction.atomic
def case_recheck(
    *, actor: Actor, code: str, version: int | None, digest: str, at: datetime
) -> Case:
    """Check again under a rule set the laboratory works or has worked by.

    A recorded act: the timeline keeps both digests and both verdicts.

    Raises:
        Invalid: not such a set, or the case cannot be judged under it.
    """
    case = begin(actor=actor, code=code, command=Command.RECHECK, version=version)
    before = {"rule_set_before": case.rule_set_digest, "verdict_before": case.verdict}
    rule_set = _own_set(case, digest, at=at)
    prescription = Prescription.objects.get(case=case, revision=case.revision)
    units = Unit.objects.filter(prescription=prescription).order_by("position")
    checked_units([unit_json(unit, ()) for unit in units], rule_set=rule_set)
    case.rule_set_digest = rule_set.digest
    check_store(case, at=at)
    advance(
        case,
        command=Command.RECHECK,
        event=AuditEvent.CHECK_STORED,
        actor=actor,
        at=at,
        fields=CHECK_FIELDS,
        content={
            "rule_set": case.rule_set_digest,
            "verdict": case.verdict,
            **before,
        },
    )
    return case

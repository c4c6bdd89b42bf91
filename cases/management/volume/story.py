"""The life of a case from draft to fit, as far as it has come by the plan's last day."""

from datetime import UTC, datetime, timedelta

from cases.canonical import sha256_hex
from cases.enums import AuditEvent as E
from cases.lifecycle import CaseState as S
from cases.management.volume import story_outcome, story_query
from cases.management.volume.cuts import MEANING
from cases.management.volume.draw import Lot
from cases.management.volume.life import CLINIC, LABORATORY, Ink, Life
from cases.management.volume.samples import Sample
from cases.management.volume.story_cover import within_uncertainty
from cases.management.volume.story_order import release

__all__ = ["tell"]

_CONTENTS = '["disinfection_stated","impression","jaw_record","opposing"]'
_AGES = ("18-39", "40-64", "65+")


def tell(ink: Ink, lot: Lot) -> None:
    """Write everything of one case, and of the case that remade it."""
    remade = _lived(ink, lot, lot.sample, lot.way, lot.start, None)
    if remade is not None:
        again, sample, at = remade
        _lived(ink, lot, sample, "", at, again)


def _lived(
    ink: Ink, lot: Lot, sample: Sample, way: str, start: int, earlier: Life | None
) -> tuple[Life, Sample, int] | None:
    """Write one case; return itself, what is made again and from when, if it is."""
    if start > ink.plan.end_minute:
        return None
    life = Life(ink, lot, sample)
    at = _signed(life, start, earlier)
    at = _received(life, at + lot.steps[0])
    if at and way:
        at = story_query.asked(life, way, at + lot.steps[1])
    if at:
        at = _cleared(life, at + lot.steps[6])
    if at:
        at = release(life, at + lot.steps[7])
    if at and lot.internal and earlier is None:
        story_outcome.made_again_inside(life, at + lot.steps[8] // 2)
    if at:
        at = _dispatched(life, at + lot.steps[8])
    remade = None
    if at:
        remade = story_outcome.fitted(life, at, first=earlier is None)
    life.close()
    return None if remade is None else (life, *remade)


def _signed(life: Life, start: int, earlier: Life | None) -> int:
    """The assistant types, the clinician signs and sends; return when."""
    lot = life.lot
    life.created_at = start - 30
    day = datetime.fromtimestamp(start * 60, UTC).date()
    life.wanted_on = (day + timedelta(days=16)).isoformat()
    if earlier is not None:
        life.remake_of = str(earlier.pk)
    _identified(life, earlier)
    content = life.prescribed(1)
    signed = life.signed(lot.clinician, "prescription", MEANING, content, start)
    life.prescribe(content, signed.digest, signed.pk, start)
    life.prescription_signature = signed
    life.read(lot.clinic.assistant, start - 30, start)
    life.new_round("submission", 1, start)
    life.submitted_at = start
    life.judge(start)
    life.entry(
        *(E.CASE_SUBMITTED, start, lot.clinician, CLINIC, S.SUBMITTED),
        f'{{"content_sha256":"{signed.digest}","revision":1,'
        f'"verdict":"{life.verdict}"}}',
    )
    return start


def _identified(life: Life, earlier: Life | None) -> None:
    """Write whose case it is; a remake is of the same patient."""
    if earlier is None:
        life.ink.told += 1
        life.reference = f"{life.ink.plan.reference}-{life.ink.told:07d}"
    else:
        life.reference = earlier.reference
    age, salt = _AGES[int(life.lot.words[0] * len(_AGES))], life.sheets.salt()
    row = f"{life.pk}\t{life.reference}\t\t{age}\t{salt}"
    life.sheets.add("cases_patientidentity", row)
    values = f'{{"age_band":"{age}","initials":"","reference":"{life.reference}"}}'
    life.patient = sha256_hex(f"{salt}\n{values}".encode())


def _received(life: Life, at: int) -> int:
    """The laboratory logs the parcel; 0 when it has not arrived."""
    if life.late(at):
        return 0
    life.received_at, life.contents = at, _CONTENTS
    life.pan = str(100 + life.pk % 800)
    promised = datetime.fromtimestamp(at * 60, UTC).date() + timedelta(days=11)
    life.promised_on = promised.isoformat()
    who, told = life.lot.technician, f'{{"contents":{_CONTENTS}}}'
    life.entry(E.CASE_RECEIVED, at, who, LABORATORY, S.AT_CHECK, told)
    return at


def _cleared(life: Life, at: int) -> int:
    """The technician clears it, within uncertainty where it must be so."""
    if life.late(at):
        return 0
    within = "[]"
    who, sample = life.lot.technician, life.cut.sample
    if sample.short and not life.grounds:
        within = within_uncertainty(life, who, at)
    told = f'{{"within_uncertainty":{within}}}'
    life.entry(E.CASE_CLEARED, at, who, LABORATORY, S.CLEARED, told)
    return at


def _dispatched(life: Life, at: int) -> int:
    """The finished work leaves the laboratory."""
    if life.late(at):
        return 0
    told = '{"note":"By the usual round"}'
    life.entry(E.DISPATCHED, at, life.lot.technician, LABORATORY, S.DISPATCHED, told)
    return at

"""The answer table of design section 4 as data.

What each kind must say, what records it asks for, whether it covers the short
sites, makes a new revision, or waits for a countersignature. Where each leads
stands in ``cases.lifecycle.ANSWER_TARGETS``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from cases.errors import Invalid, InvalidField
from cases.lifecycle import AnswerKind
from cases.models import Flag
from cases.services.texts import refuse_overrides
from rules.terms import Referral

__all__ = ["REFERRALS", "ROWS", "AnswerInput", "Row", "validate"]

REFERRALS = tuple(referral.value for referral in Referral)


@dataclass(frozen=True, slots=True)
class AnswerInput:
    """What the clinician chose.

    ``changes`` (change of material or design): tooth → unit keys to change; a
    bridge changes as a whole, shade and finish line tooth by tooth. ``review_on`` and ``referral`` for a deferral.
    ``depth_mm``: site → how deep the re-preparation goes, as the check computed
    it, filled in by the service.
    """

    kind: AnswerKind
    grounds: str = ""
    consent: bool = False
    changes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    review_on: date | None = None
    referral: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """What one kind of answer needs and does."""

    needs_grounds: bool = False
    needs_consent: bool = False
    covers: bool = False
    countersigned: bool = False
    revises: bool = False
    remounts: bool = False
    records: tuple[str, ...] = ()


ROWS: dict[AnswerKind, Row] = {
    AnswerKind.RE_PREPARATION: Row(records=("readings", "impression", "jaw_record")),
    AnswerKind.RE_MEASURE: Row(remounts=True),
    AnswerKind.NEW_JAW_RECORD: Row(records=("jaw_record",)),
    AnswerKind.CHANGE_MATERIAL: Row(revises=True),
    AnswerKind.CHANGE_DESIGN: Row(revises=True),
    AnswerKind.REDUCTION_COPING: Row(covers=True, needs_grounds=True),
    AnswerKind.ADJUST_OPPOSING: Row(
        needs_grounds=True,
        needs_consent=True,
        records=("readings", "opposing_impression", "jaw_record"),
    ),
    AnswerKind.REFER: Row(needs_grounds=True),
    AnswerKind.ACCEPT_RISK: Row(
        needs_grounds=True, needs_consent=True, covers=True, countersigned=True
    ),
    AnswerKind.CANCEL: Row(needs_grounds=True),
}


# What the check bars is not signed either: it would be built on the wrong tooth.
_GUARDED = (AnswerKind.REDUCTION_COPING, AnswerKind.ADJUST_OPPOSING)


def _barred(kind: AnswerKind, flag: Flag) -> list[InvalidField]:
    """Return why the check holds this way out for impossible, where it does."""
    if kind not in _GUARDED:
        return []
    found = [option for option in flag.options if option["kind"] == kind]
    if not found or any(option["feasible"] for option in found):
        return []
    reasons = " ".join(reason for option in found for reason in option["reasons"])
    message = "This is not possible here: {reasons} Choose another way out."
    return [InvalidField("/kind", message, (("reasons", reasons),))]


def validate(answer: AnswerInput, *, flag: Flag, at: datetime) -> None:
    """Raise Invalid with everything the kind needs and the answer lacks."""
    row = ROWS[answer.kind]
    faults = _barred(answer.kind, flag)
    if row.needs_grounds and not answer.grounds.strip():
        faults.append(InvalidField("/grounds", "Write the grounds of this choice."))
    if len(answer.grounds) > 4000:
        faults.append(InvalidField("/grounds", "Write at most 4000 characters."))
    if row.needs_consent and not answer.consent:
        faults.append(
            InvalidField(
                "/consent", "Confirm that the patient was informed and consented."
            )
        )
    if row.revises and not answer.changes:
        faults.append(InvalidField("/changes", "Say what is to change on which tooth."))
    if row.covers and not flag.sites:
        faults.append(
            InvalidField("/kind", "This query names no site that could be covered.")
        )
    if answer.kind is AnswerKind.REFER:
        if answer.referral not in REFERRALS:
            faults.append(InvalidField("/referral", "Choose what comes first."))
        if answer.review_on is None or answer.review_on <= at.date():
            faults.append(
                InvalidField("/review_on", "Enter a review date in the future.")
            )
    if faults:
        raise Invalid(*faults)
    refuse_overrides({"/grounds": answer.grounds})

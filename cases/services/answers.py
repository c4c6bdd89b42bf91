"""The clinician's signed answer, and the laboratory's countersignature."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from cases.enums import AuditEvent, CoverageKind, FlagStatus
from cases.errors import Conflict, Invalid
from cases.lifecycle import ANSWER_TARGETS, AnswerKind, CaseState, Command
from cases.models import Answer, Case, Coverage, Flag
from cases.services.answer_table import REFERRALS, ROWS, AnswerInput, validate
from cases.services.base import advance, database_guards
from cases.services.checks import CHECK_FIELDS, check_store
from cases.services.content import answer_content, patient_commitment
from cases.services.flags import flagged_case
from cases.services.holds import leave_target, restore_order
from cases.services.readings import open_round
from cases.services.revisions import changed_content, new_revision
from cases.services.signing import SignatureInput, sign
from cases.tenancy import Actor

__all__ = [
    "REFERRALS",
    "ROWS",
    "AnswerInput",
    "answer_preview",
    "countersign_content",
    "flag_answer",
    "flag_countersign",
    "pending_answer",
]


def _depths(flag: Flag) -> dict[str, Any]:
    """Return tooth → site → depth interval the check computed, where offered."""
    return {
        option["tooth"]: option["depth_mm"]
        for option in flag.options
        if option["kind"] == "re_preparation" and option.get("depth_mm")
    }


def _parameters(answer: AnswerInput, flag: Flag) -> dict[str, Any]:
    body: dict[str, Any] = {}
    if answer.kind is AnswerKind.RE_PREPARATION:
        body["depth_mm"] = _depths(flag)
    if answer.changes:
        body["changes"] = {tooth: dict(keys) for tooth, keys in answer.changes.items()}
    if answer.kind is AnswerKind.REFER and answer.review_on:
        body["referral"] = answer.referral
        body["review_on"] = answer.review_on.isoformat()
    return body


def answer_preview(
    *, case: Case, flag: Flag, answer: AnswerInput, at: datetime
) -> dict[str, Any]:
    """Return exactly what this answer would sign; stores nothing.

    Raises:
        Invalid: the answer lacks what its kind needs.
        Conflict: the query is settled.
    """
    if flag.status != FlagStatus.OPEN:
        raise Conflict("This query has already been answered.")
    validate(answer, flag=flag, at=at)
    revised = None
    if ROWS[answer.kind].revises:
        revised = changed_content(case=case, changes=answer.changes)
    return answer_content(
        flag=flag,
        case=case,
        kind=answer.kind,
        parameters=_parameters(answer, flag),
        grounds=answer.grounds.strip(),
        consent=answer.consent,
        prescription=revised,
    )


def _cover(
    case: Case, *, flag: Flag, answer: Answer, actor: Actor, at: datetime
) -> None:
    Coverage.objects.bulk_create(
        Coverage(
            case=case,
            kind=CoverageKind.ANSWER,
            tooth=site["tooth"],
            site=site["site"],
            quantity=site["quantity"],
            revision=flag.revision,
            round=flag.round,
            rule_set_digest=flag.rule_set_digest,
            low_mm=site["low_mm"],
            high_mm=site["high_mm"],
            answer=answer,
            given_by_id=actor.membership_id,
            given_by_name=actor.name,
            given_at=at,
        )
        for site in flag.sites
    )


def _apply(case: Case, answer: Answer, *, at: datetime) -> list[str]:
    """Carry out what the settled answer means; return the case's fields to save."""
    kind = AnswerKind(answer.kind)
    row = ROWS[kind]
    fields = ["hold_targets"]
    case.hold_targets = [*case.hold_targets, ANSWER_TARGETS[kind].value]
    if row.records:
        case.records_due = sorted({*case.records_due, *row.records})
        fields.append("records_due")
    if kind is AnswerKind.REFER:
        case.review_on = date.fromisoformat(answer.parameters["review_on"])
        fields.append("review_on")
    if row.revises:
        new_revision(case=case, answer=answer, at=at)
        fields.append("revision")
    if row.remounts:
        open_round(case, cause="remount", remounted=True, carries=True, at=at)
        fields.append("round")
    if row.revises or row.remounts:
        check_store(case, at=at)
        fields += CHECK_FIELDS
    return fields


def _settle(flag: Flag, *, at: datetime) -> None:
    flag.status = FlagStatus.SETTLED
    flag.settled_at = at
    flag.save(update_fields=["status", "settled_at"])


@transaction.atomic
def flag_answer(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    answer: AnswerInput,
    signature: SignatureInput,
    at: datetime,
) -> Answer:
    """Sign the answer to a query and let the case go where it leads.

    Accepting a documented risk waits for the responsible technician.

    Raises:
        Invalid: the kind needs more than was said.
        Conflict: already answered, or what would be signed has changed.
        ReauthenticationRequired: no usable grant or credential.
    """
    case, flag = flagged_case(
        actor=actor, code=code, command=Command.ANSWER, version=version
    )
    content = answer_preview(case=case, flag=flag, answer=answer, at=at)
    signed = sign(
        actor=actor,
        case=case,
        purpose="answer",
        target=flag.code,
        content=content,
        signature=signature,
        at=at,
    )
    stored = Answer.objects.create(
        case=case,
        flag=flag,
        kind=answer.kind,
        parameters=content["parameters"],
        grounds=content["grounds"],
        consent=answer.consent,
        signature=signed,
        answered_at=at,
    )
    row = ROWS[answer.kind]
    with database_guards():
        if row.countersigned:
            flag.status = FlagStatus.COUNTERSIGN_DUE
            flag.save(update_fields=["status"])
            target, fields = CaseState.ON_HOLD, []
        else:
            _settle(flag, at=at)
            if row.covers:
                _cover(case, flag=flag, answer=stored, actor=actor, at=at)
            fields = _apply(case, stored, at=at)
            target = leave_target(case)
            restore_order(case, target=target, at=at)
        advance(
            case,
            command=Command.ANSWER,
            event=AuditEvent.ANSWER_SIGNED,
            actor=actor,
            at=at,
            target=target,
            fields=fields,
            content={
                "flag": flag.code,
                "kind": stored.kind,
                "content_sha256": signed.content_sha256,
            },
        )
    return stored


def countersign_content(*, case: Case, flag: Flag, answer: Answer) -> dict[str, Any]:
    """Return exactly what the responsible technician would countersign."""
    return {
        "schema": 1,
        "purpose": "countersign",
        "case": case.code,
        "flag": flag.code,
        "answer": answer.code,
        "answer_sha256": answer.signature.content_sha256,
        "sites": flag.sites,
        "patient": patient_commitment(case),
    }


def pending_answer(flag: Flag) -> Answer:
    """Return the answer that waits for its countersignature.

    Raises:
        Conflict: nothing waits.
    """
    answer = (
        Answer.objects.filter(flag=flag, declined_at__isnull=True)
        .select_related("signature")
        .order_by("-answered_at", "-id")
        .first()
    )
    if flag.status != FlagStatus.COUNTERSIGN_DUE or answer is None:
        raise Conflict("No countersignature is due on this query.")
    return answer


@transaction.atomic
def flag_countersign(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    accept: bool,
    reason: str,
    signature: SignatureInput | None,
    at: datetime,
) -> Answer:
    """The responsible technician accepts or declines a documented risk.

    Declined, the query is open again and the case stays on hold.

    Raises:
        Invalid: declining without a reason.
        ReauthenticationRequired: accepting without a usable signature.
    """
    case, flag = flagged_case(
        actor=actor, code=code, command=Command.COUNTERSIGN, version=version
    )
    answer = pending_answer(flag)
    fields: Sequence[str] = ()
    target = CaseState.ON_HOLD
    with database_guards():
        if accept:
            _accept(case, flag, answer, actor=actor, signature=signature, at=at)
            fields = _apply(case, answer, at=at)
            target = leave_target(case)
            restore_order(case, target=target, at=at)
        else:
            _decline(flag, answer, actor=actor, reason=reason, at=at)
        advance(
            case,
            command=Command.COUNTERSIGN,
            event=AuditEvent.COUNTERSIGNED
            if accept
            else AuditEvent.COUNTERSIGN_DECLINED,
            actor=actor,
            at=at,
            target=target,
            fields=fields,
            content={"flag": flag.code, "answer": answer.code, "reason": reason},
        )
    return answer


def _accept(
    case: Case,
    flag: Flag,
    answer: Answer,
    *,
    actor: Actor,
    signature: SignatureInput | None,
    at: datetime,
) -> None:
    answer.countersignature = sign(
        actor=actor,
        case=case,
        purpose="countersign",
        target=flag.code,
        content=countersign_content(case=case, flag=flag, answer=answer),
        signature=signature or SignatureInput(meaning=""),
        at=at,
    )
    answer.save(update_fields=["countersignature"])
    _settle(flag, at=at)
    _cover(case, flag=flag, answer=answer, actor=actor, at=at)


def _decline(
    flag: Flag, answer: Answer, *, actor: Actor, reason: str, at: datetime
) -> None:
    if not reason.strip():
        raise Invalid.one("/reason", "Say why the laboratory does not build this.")
    answer.declined_reason = reason.strip()
    answer.declined_by_name = actor.name
    answer.declined_at = at
    answer.save(update_fields=["declined_reason", "declined_by_name", "declined_at"])
    flag.status = FlagStatus.OPEN
    flag.save(update_fields=["status"])

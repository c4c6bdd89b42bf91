"""A case as JSON: whole, as a line of a list, or as the summary beside a part.

The whole case holds exactly what its version covers, so that 304 never hides what
somebody did: messages and files, which come without a new version, stand at their
own addresses.
"""

from typing import TYPE_CHECKING, Any

from cases import policies
from cases.api.representations.flags import flag_json
from cases.api.representations.prescription import (
    draft_json,
    prescription_json,
    reading_row,
)
from cases.api.representations.values import iso, mm
from cases.enums import FlagStatus
from cases.lifecycle import CaseState, Command, commands_for
from cases.tenancy import Actor

if TYPE_CHECKING:
    from cases.models import (
        Case,
        FitReport,
        Organisation,
        Remake,
        Round,
        WorkOrder,
    )
    from cases.selectors.cases import CaseDetail, CaseRow
    from cases.selectors.grounds import SiteGround

__all__ = ["case_json", "case_row", "commands_of", "remake_json", "summary"]


def _organisation(row: "Organisation") -> dict[str, str]:
    return {"code": row.code, "name": row.name}


def commands_of(actor: Actor, detail: "CaseDetail") -> list[str]:
    """Return what the actor may do with the case now, in alphabetical order."""
    state = CaseState(detail.case.state)
    found = {c for c in commands_for(state) if policies.can(actor, c)}
    statuses = {flag.status for flag in detail.flags}
    mine = {flag.status for flag in detail.flags if flag.origin == actor.side} & {
        FlagStatus.OPEN,
        FlagStatus.COUNTERSIGN_DUE,
    }
    if FlagStatus.OPEN not in statuses:
        found.discard(Command.ANSWER)
    if FlagStatus.COUNTERSIGN_DUE not in statuses:
        found.discard(Command.COUNTERSIGN)
    if not mine:
        found.discard(Command.WITHDRAW)
    if actor.is_clinic and state is not CaseState.AT_TRY_IN:
        found.discard(Command.FLAG)
    if actor.user_id != detail.case.prescriber_id:
        found.discard(Command.CANCEL)
    return sorted(command.value for command in found)


def summary(detail: "CaseDetail") -> dict[str, Any]:
    """Return where the case stands, to stand beside one of its parts."""
    return {
        "code": detail.case.code,
        "state": detail.case.state,
        "version": detail.case.version,
        "whose_move": detail.mover.value,
    }


def _dates(case: "Case") -> dict[str, Any]:
    return {
        "wanted_on": iso(case.wanted_on),
        "promised_on": iso(case.promised_on),
        "appointment_at": iso(case.appointment_at),
        "created_at": iso(case.created_at),
        "moved_at": iso(case.moved_at),
    }


def _site(ground: "SiteGround") -> dict[str, Any]:
    verdict, coverage = ground.verdict, ground.coverage
    answer = coverage.answer if coverage else None
    return {
        "tooth": verdict.tooth,
        "site": verdict.site,
        "quantity": verdict.quantity,
        "verdict": verdict.verdict,
        "need_mm": mm(verdict.need_mm),
        "low_mm": mm(verdict.low_mm),
        "high_mm": mm(verdict.high_mm),
        "fine": ground.fine,
        "clearable": ground.clearable,
        "ground": coverage.kind if coverage else None,
        "answer": answer.code if answer else None,
    }


def _round(row: "Round") -> dict[str, Any]:
    return {
        "number": row.number,
        "cause": row.cause,
        "mounting_number": row.mounting_number,
        "carries_mouth_readings": row.carries_mouth_readings,
        "began_at": iso(row.began_at),
    }


def _order(row: "WorkOrder") -> dict[str, Any]:
    return {
        "code": row.code,
        "number": row.number,
        "status": row.status,
        "revision": row.revision,
        "round": row.round,
        "content_sha256": row.content_sha256,
        "released_at": iso(row.released_at),
        "superseded_at": iso(row.superseded_at),
    }


def _fit(row: "FitReport") -> dict[str, Any]:
    return {
        "outcome": row.outcome,
        "findings": row.findings,
        "opposing_adjusted_mm": mm(row.opposing_adjusted_mm),
        "opposing_teeth": row.opposing_teeth,
        "minutes": row.minutes,
        "coping_used": row.coping_used,
        "note": row.note,
        "reported_by": row.reported_by_name,
        "reported_at": iso(row.reported_at),
    }


def remake_json(row: "Remake", actor: Actor) -> dict[str, Any]:
    """Return a remake; the new case is the clinic's to show, by sending it."""
    new = row.new_case if actor.is_clinic else None
    return {
        "id": row.pk,
        "internal": row.internal,
        "teeth": row.teeth,
        "cause": row.cause,
        "detected_at": row.detected_at,
        "attribution_clinic": row.attribution_clinic,
        "attribution_laboratory": row.attribution_laboratory,
        "note": row.note,
        "recorded_by": row.recorded_by_name,
        "recorded_at": iso(row.recorded_at),
        "new_case": new.code if new else None,
    }


def _standing(detail: "CaseDetail") -> dict[str, Any]:
    case = detail.case
    return {
        **_dates(case),
        "submitted_at": iso(case.submitted_at),
        "received_at": iso(case.received_at),
        "review_on": iso(case.review_on),
        "pan_number": case.pan_number,
        "contents_received": case.contents_received,
        "missing": case.missing,
        "charged_work": case.charged_work,
        "records_due": case.records_due,
        "held_from": case.held_from or None,
        "revision": case.revision,
        "round": case.round,
        "verdict": case.verdict or None,
        "rule_set": case.rule_set_digest,
    }


def case_json(actor: Actor, detail: "CaseDetail") -> dict[str, Any]:
    """Return the whole case as the actor may see it."""
    case = detail.case
    patient = detail.patient
    return {
        **summary(detail),
        "commands": commands_of(actor, detail),
        "clinic": _organisation(case.clinic),
        "laboratory": _organisation(case.laboratory),
        "prescriber": {
            "name": case.prescriber.name,
            "licence_number": case.prescriber.licence_number,
        },
        "patient": {
            "reference": patient.reference,
            "initials": patient.initials,
            "age_band": patient.age_band,
        },
        "remake_of": case.remake_of.code if case.remake_of else None,
        **_standing(detail),
        "prescription": prescription_json(detail),
        "draft": draft_json(detail) if actor.is_clinic else None,
        "readings": [reading_row(row) for row in detail.readings],
        "rounds": [_round(row) for row in detail.rounds],
        "sites": [_site(ground) for ground in detail.grounds],
        "gate": list(detail.gate),
        "flags": [flag_json(flag) for flag in detail.flags],
        "work_orders": [_order(row) for row in detail.work_orders],
        "fit_reports": [_fit(row) for row in detail.fit_reports],
        "remakes": [remake_json(row, actor) for row in detail.remakes],
    }


def case_row(row: "CaseRow") -> dict[str, Any]:
    """Return a line of the list."""
    case = row.case
    return {
        "code": case.code,
        "state": case.state,
        "version": case.version,
        "whose_move": row.mover.value,
        "clinic": _organisation(case.clinic),
        "laboratory": _organisation(case.laboratory),
        "prescriber": case.prescriber.name,
        "patient": row.patient,
        "teeth": row.teeth.split(),
        "verdict": case.verdict or None,
        "pan_number": case.pan_number,
        **_dates(case),
        "open_flags": row.open_flags,
        "countersign_due": row.countersign_due,
    }

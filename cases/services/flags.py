"""The technician's query, and the clinic's own request for a change."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from cases import lifecycle
from cases.enums import AuditEvent, FlagReason, FlagStatus, Side
from cases.errors import Conflict, Invalid, InvalidField, NotAllowed, NotFound
from cases.lifecycle import CaseState, Command
from cases.models import Case, Check, Flag, SiteVerdict
from cases.services.base import advance, begin, database_guards
from cases.services.checks import readings_in_force
from cases.services.content import patient_commitment
from cases.services.holds import HOLD_FIELDS, enter_hold, leave_target, restore_order
from cases.services.signing import SignatureInput, sign
from cases.services.texts import refuse_overrides
from cases.tenancy import Actor
from rules.teeth import row_cusps
from rules.terms import Site

__all__ = [
    "change_request",
    "change_request_content",
    "flag_raise",
    "flag_withdraw",
    "flagged_case",
]

VERIFY = (
    "Confirm that the die is seated and the mounting was verified against the jaw "
    "record: this query rests on a reading of the laboratory."
)
SHORT = ("insufficient", "undecided", "unmeasured")


@dataclass(frozen=True, slots=True)
class _Asked:
    reasons: list[str]
    text: str
    sites: list[dict[str, Any]]
    options: list[dict[str, Any]]


def flagged_case(
    *, actor: Actor, code: str, command: Command, version: int | None
) -> tuple[Case, Flag]:
    """Return the locked case and the flag with this code.

    Raises:
        NotFound, NotAllowed, StaleVersion, IllegalTransition: as ever.
    """
    found = (
        Flag.objects.filter(code=code, case__in=Case.objects.visible_to(actor))
        .values_list("case__code", flat=True)
        .first()
    )
    if found is None:
        raise NotFound
    case = begin(actor=actor, code=found, command=command, version=version)
    return case, Flag.objects.select_for_update().get(code=code)


def _millimetres(value: Any) -> str | None:
    return None if value is None else f"{value:.2f}"


def _sites(
    check: Check, wanted: Sequence[tuple[str, str]] | None
) -> list[dict[str, Any]]:
    rows = SiteVerdict.objects.filter(stored_check=check).order_by("id")
    found = [
        {
            "tooth": v.tooth,
            "site": v.site,
            "quantity": v.quantity,
            "verdict": v.verdict,
            "need_mm": _millimetres(v.need_mm),
            "low_mm": _millimetres(v.low_mm),
            "high_mm": _millimetres(v.high_mm),
        }
        for v in rows
        if (v.verdict in SHORT if wanted is None else (v.tooth, v.site) in wanted)
    ]
    named = {(site["tooth"], site["site"]) for site in found}
    if wanted is not None and named != set(wanted):
        raise Invalid.one("/sites", "Choose sites of the check of this case.")
    return found


def _rests_on_bench(case: Case, sites: Sequence[dict[str, Any]]) -> bool:
    """Tell whether the laboratory's own readings speak at any of these sites.

    A row is also read by its single cusps.
    """
    wanted = {(site["tooth"], site["site"]) for site in sites}
    wanted |= {
        (site["tooth"], cusp.value)
        for site in sites
        for cusp in row_cusps(Site(site["site"]), site["tooth"])
    }
    return any(
        reading.side == Side.LABORATORY and (reading.tooth, reading.site) in wanted
        for reading in readings_in_force(case, round_number=case.round)
    )


def _offered(check: Check, sites: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the check's options of every unit with a short site, with its tooth."""
    teeth = {site["tooth"] for site in sites}
    return [
        {"tooth": unit["tooth"], **option}
        for unit in check.result["units"]
        if unit["tooth"] in teeth
        for option in unit.get("options", [])
    ]


def _validated(
    *,
    case: Case,
    reasons: Sequence[str],
    text: str,
    sites: Sequence[tuple[str, str]] | None,
    verified: bool,
) -> _Asked:
    faults = [
        InvalidField(f"/reasons/{i}", "Choose a reason from the list.")
        for i, reason in enumerate(reasons)
        if reason not in FlagReason.values or reason == FlagReason.CHANGE_REQUEST
    ]
    if not reasons:
        faults.append(InvalidField("/reasons", "Choose at least one reason."))
    if not text.strip():
        faults.append(InvalidField("/text", "Write the question to the clinician."))
    elif len(text) > 4000:
        faults.append(InvalidField("/text", "Write at most 4000 characters."))
    if faults:
        raise Invalid(*faults)
    refuse_overrides({"/text": text})
    found: list[dict[str, Any]] = []
    options: list[dict[str, Any]] = []
    if FlagReason.CLEARANCE in reasons:
        check = case.current_check
        if check is None:  # pragma: no cover -- every submitted case was checked
            raise Conflict("The case has not been checked yet.")
        found = _sites(check, sites)
        if not found:
            raise Invalid.one(
                "/sites", "No site is short. Choose another reason for the query."
            )
        if not verified and _rests_on_bench(case, found):
            raise Invalid.one("/verified", VERIFY)
        options = _offered(check, found)
    return _Asked(sorted(set(reasons)), text.strip(), found, options)


def _create(
    *, case: Case, actor: Actor, asked: _Asked, at: datetime, **more: Any
) -> Flag:
    return Flag.objects.create(
        case=case,
        origin=actor.side,
        reasons=asked.reasons,
        text=asked.text,
        sites=asked.sites,
        options=asked.options,
        revision=case.revision,
        round=case.round,
        rule_set_digest=case.rule_set_digest,
        raised_by_id=actor.membership_id,
        raised_by_name=actor.name,
        raised_at=at,
        **more,
    )


@transaction.atomic
def flag_raise(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    reasons: Sequence[str],
    text: str,
    sites: Sequence[tuple[str, str]] | None,
    at: datetime,
    verified: bool = False,
) -> Flag:
    """Put the case on hold with one query to the clinician.

    ``sites`` None means every short site of the check. An active work order is
    suspended. At try-in the clinic may raise a flag too. ``verified``: die and
    mounting were checked against the jaw record, which is asked before the
    laboratory's own reading stops a case.

    Raises:
        Invalid: no reason, no text, or a clearance query without a short site.
    """
    case = begin(actor=actor, code=code, command=Command.FLAG, version=version)
    if actor.is_clinic and case.state != CaseState.AT_TRY_IN:
        raise Conflict("The clinic asks for a change by a signed change request.")
    asked = _validated(
        case=case, reasons=reasons, text=text, sites=sites, verified=verified
    )
    with database_guards():
        enter_hold(case)
        flag = _create(case=case, actor=actor, asked=asked, at=at, verified=verified)
        advance(
            case,
            command=Command.FLAG,
            event=AuditEvent.FLAG_RAISED,
            actor=actor,
            at=at,
            fields=HOLD_FIELDS,
            content={
                "flag": flag.code,
                "reasons": flag.reasons,
                "sites": flag.sites,
                "verified": verified,
            },
        )
    return flag


@transaction.atomic
def flag_withdraw(
    *, actor: Actor, code: str, version: int | None, reason: str, at: datetime
) -> Flag:
    """Take a query back; the case returns to the state it came from.

    Raises:
        NotAllowed: the other side raised it.
    """
    case, flag = flagged_case(
        actor=actor, code=code, command=Command.WITHDRAW, version=version
    )
    if flag.status not in (FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE):
        raise Conflict("This query is already settled.")
    if flag.origin != actor.side:
        raise NotAllowed("Only the side that asked can take a query back.")
    if not reason.strip():
        raise Invalid.one("/reason", "Say why the query is no longer needed.")
    flag.status = FlagStatus.WITHDRAWN
    flag.settled_at = at
    flag.withdrawn_reason = reason.strip()
    flag.save(update_fields=["status", "settled_at", "withdrawn_reason"])
    target = leave_target(case)
    with database_guards():
        restore_order(case, target=target, at=at)
        advance(
            case,
            command=Command.WITHDRAW,
            event=AuditEvent.FLAG_WITHDRAWN,
            actor=actor,
            at=at,
            target=target,
            content={"flag": flag.code, "reason": flag.withdrawn_reason},
        )
    return flag


def change_request_content(*, case: Case, text: str) -> dict[str, Any]:
    """Return exactly what a change request would sign."""
    return {
        "schema": 1,
        "purpose": "change_request",
        "case": case.code,
        "revision": case.revision,
        "round": case.round,
        "patient": patient_commitment(case),
        "text": text.strip(),
    }


@transaction.atomic
def change_request(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    text: str,
    signature: SignatureInput,
    at: datetime,
) -> Flag:
    """The clinician stops the work and asks for a change, signed.

    The case is on hold until the clinician answers with the change itself
    (material, design, new records, cancel) or withdraws.
    """
    case = begin(
        actor=actor, code=code, command=Command.CHANGE_REQUEST, version=version
    )
    lifecycle.next_state(CaseState(case.state), Command.CHANGE_REQUEST)
    if not text.strip():
        raise Invalid.one("/text", "Write what is to change.")
    refuse_overrides({"/text": text})
    signed = sign(
        actor=actor,
        case=case,
        purpose="change_request",
        target=case.code,
        content=change_request_content(case=case, text=text),
        signature=signature,
        at=at,
    )
    options = [
        {"tooth": unit["tooth"], **option}
        for unit in (case.current_check.result["units"] if case.current_check else [])
        for option in unit.get("options", [])
    ]
    asked = _Asked([FlagReason.CHANGE_REQUEST.value], text.strip(), [], options)
    with database_guards():
        enter_hold(case)
        flag = _create(case=case, actor=actor, asked=asked, at=at, signature=signed)
        advance(
            case,
            command=Command.CHANGE_REQUEST,
            event=AuditEvent.CHANGE_REQUESTED,
            actor=actor,
            at=at,
            fields=HOLD_FIELDS,
            content={"flag": flag.code, "content_sha256": signed.content_sha256},
        )
    return flag

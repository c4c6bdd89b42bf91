"""What a remake goes back to: the verdict on a site, and what let it be built.

The portal draws the lines when a remake is recorded; people correct them.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q

from cases.enums import Cause, FlagStatus
from cases.models import (
    Answer,
    Coverage,
    Remake,
    RemakeTrace,
    SiteVerdict,
    WorkOrder,
)
from cases.selectors.remakes import first_check, last_order
from cases.services.remake_parts import remake_units
from cases.tenancy import Actor

__all__ = [
    "EXPLAINED_BY_SHORTAGE",
    "remake_content",
    "trace_store",
    "traces_draw",
]

# Causes that missing room can explain: ground through, built too thin or left too high
# for want of room, broken where it was thin, or a risk that came true (common
# practice, no source). For others the portal draws no line; a person still may.
EXPLAINED_BY_SHORTAGE = frozenset(
    {
        Cause.PERFORATION,
        Cause.OCCLUSION_THIN,
        Cause.OCCLUSION_HIGH,
        Cause.FRACTURE,
        Cause.CLEARANCE_RISK_ACCEPTED,
    }
)
_FINE = ("sufficient", "not_applicable")


def _settled(answer: Answer) -> bool:
    if answer.declined_at is not None or answer.flag.status != FlagStatus.SETTLED:
        return False
    return answer.kind != "accept_risk" or answer.countersignature_id is not None


def _coverage(verdict: SiteVerdict, order: WorkOrder | None) -> Coverage | None:
    """Return what covered a site when the order was released."""
    if order is None or verdict.stored_check_id != order.based_on_id:
        return None
    check = order.based_on
    rows = (
        Coverage.objects.filter(
            case_id=verdict.case_id,
            tooth=verdict.tooth,
            site=verdict.site,
            quantity=verdict.quantity,
            low_mm=verdict.low_mm,
            high_mm=verdict.high_mm,
            revision=check.revision,
            round=check.round,
            rule_set_digest=check.rule_set_digest,
            given_at__lte=order.released_at,
        )
        .select_related("answer__flag")
        .order_by("-given_at", "-id")
    )
    return next((r for r in rows if r.answer is None or _settled(r.answer)), None)


def _answer(verdict: SiteVerdict) -> Answer | None:
    """Return the last signed answer to a query about this site's clearance."""
    answers = (
        Answer.objects.filter(case_id=verdict.case_id)
        .select_related("flag")
        .order_by("-answered_at", "-id")
    )
    for answer in answers:
        places = {(s["tooth"], s["site"]) for s in answer.flag.sites}
        # A query that names no site asks about all of them.
        named = not places or (verdict.tooth, verdict.site) in places
        if named and "clearance" in answer.flag.reasons and _settled(answer):
            return answer
    return None


def trace_store(
    remake: Remake,
    verdict: SiteVerdict,
    *,
    actor: Actor,
    automatic: bool,
    at: datetime,
) -> RemakeTrace:
    """Store the line from a remake to a verdict, with what let the site be built."""
    coverage = _coverage(verdict, last_order(remake.case))
    return RemakeTrace.objects.create(
        remake=remake,
        site_verdict=verdict,
        coverage=coverage,
        answer=coverage.answer if coverage else _answer(verdict),
        automatic=automatic,
        made_by_id=actor.membership_id,
        made_by_name=actor.name,
        made_at=at,
    )


def traces_draw(remake: Remake, *, actor: Actor, at: datetime) -> list[RemakeTrace]:
    """Draw the lines of a remake whose cause missing room can explain.

    They lead to the remade teeth's sites that were insufficient when the case was
    first sent, and to those that were not sufficient at the check it was built on.
    """
    case = remake.case
    if remake.cause not in EXPLAINED_BY_SHORTAGE:
        return []
    first, order = first_check(case), last_order(case)
    short = Q(stored_check=first, verdict="insufficient")
    if order is not None:
        short |= Q(stored_check=order.based_on) & ~Q(verdict__in=_FINE)
    teeth = remake.teeth or [unit.tooth for unit in remake_units(case)]
    verdicts = SiteVerdict.objects.filter(short, case=case, tooth__in=teeth)
    return [
        trace_store(remake, verdict, actor=actor, automatic=True, at=at)
        for verdict in verdicts.order_by("stored_check_id", "id")
    ]


def remake_content(remake: Remake, drawn: Sequence[RemakeTrace]) -> dict[str, Any]:
    """Return what the timeline keeps of a remake that was recorded."""
    return {
        "cause": remake.cause,
        "note": remake.note,
        "remake": remake.pk,
        "teeth": remake.teeth,
        "detected_at": remake.detected_at,
        "traces": [
            {
                "tooth": trace.site_verdict.tooth,
                "site": trace.site_verdict.site,
                "quantity": trace.site_verdict.quantity,
                "verdict": trace.site_verdict.verdict,
            }
            for trace in drawn
        ],
    }

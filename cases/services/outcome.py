"""What happened in the mouth: fit report, and a remake as a linked new case."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from cases.enums import AuditEvent, Detected, Finding
from cases.errors import (
    Conflict,
    IllegalTransition,
    Invalid,
    InvalidField,
    StaleVersion,
)
from cases.lifecycle import CaseState, Command
from cases.models import Case, FitReport, Remake
from cases.services.base import advance, begin, database_guards
from cases.services.remake_draft import remake_draft
from cases.services.remake_parts import (
    DETECTED_AFTER,
    RemakeDetails,
    remake_read,
    remake_units,
    text_faults,
)
from cases.services.remake_store import remake_store
from cases.services.remake_traces import remake_content, traces_draw
from cases.tenancy import Actor
from rules.teeth import ALL_TEETH, arch

__all__ = ["FINDINGS", "FitInput", "fit_refused", "fit_report", "remake_open"]

FINDINGS = tuple(Finding.values)
_ENDED = (CaseState.FITTED, CaseState.NOT_FITTED)


@dataclass(frozen=True, slots=True)
class FitInput:
    """The report: fitted or not, findings, what was ground off where (mm), minutes.

    ``opposing_teeth``: teeth of the opposing arch (ISO 3950) that were adjusted.
    """

    fitted: bool
    findings: Sequence[str] = ()
    opposing_adjusted_mm: Decimal | None = None
    minutes: int | None = None
    coping_used: bool | None = None
    note: str = ""
    opposing_teeth: Sequence[str] = ()


def _opposing_faults(case: Case, report: FitInput) -> list[InvalidField]:
    """Return what is wrong with where and by how much the other arch was adjusted."""
    faults = []
    said = Finding.OPPOSING_ADJUSTED in report.findings
    amount = report.opposing_adjusted_mm
    if amount is not None and not said:
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
    if report.opposing_teeth and not said:
        faults.append(
            InvalidField(
                "/opposing_teeth",
                "Tick “opposing tooth adjusted” too, or choose no tooth.",
            )
        )
    restored = {arch(unit.tooth) for unit in remake_units(case)}
    faults += [
        InvalidField(
            f"/opposing_teeth/{i}",
            "Choose teeth of the arch that faces the restoration.",
        )
        for i, tooth in enumerate(report.opposing_teeth)
        if tooth not in ALL_TEETH or not restored - {arch(tooth)}
    ]
    return faults


def _validate(case: Case, report: FitInput) -> None:
    faults = [
        InvalidField(f"/findings/{i}", "Choose from the list of findings.")
        for i, finding in enumerate(report.findings)
        if finding not in FINDINGS
    ]
    as_delivered = Finding.AS_DELIVERED in report.findings
    if not report.fitted and not report.findings and not report.note.strip():
        faults.append(InvalidField("/findings", "Say why it could not be fitted."))
    if as_delivered and len(set(report.findings)) > 1:
        faults.append(
            InvalidField(
                "/findings", "“As delivered” stands alone: choose it or others."
            )
        )
    if as_delivered and not report.fitted:
        faults.append(
            InvalidField(
                "/findings", "What was not fitted is not “as delivered”: say why."
            )
        )
    faults += _opposing_faults(case, report)
    if report.minutes is not None and not 0 <= report.minutes <= 600:
        faults.append(InvalidField("/minutes", "Enter minutes from 0 to 600."))
    faults += text_faults("/note", report.note)
    if faults:
        raise Invalid(*faults)


def fit_refused(*, actor: Actor, case: Case) -> Conflict | None:
    """Return why the fit of this case cannot be reported now; None when it can.

    Who comes second reads what was reported, when and by whom.
    """
    if case.state == CaseState.DISPATCHED:
        return None
    if case.state not in _ENDED:
        return IllegalTransition(
            "The work has not left the laboratory yet: the fit is reported once it is "
            "dispatched."
        )
    last = FitReport.objects.filter(case=case).order_by("-reported_at", "-id").first()
    if last is None:  # pragma: no cover -- these states are reached by a report
        return None
    local = last.reported_at.astimezone(ZoneInfo(actor.time_zone))
    words = [str(Finding(f).label) for f in last.findings if f in FINDINGS]
    told = "Fitted" if last.outcome == "fitted" else "Not fitted"
    return IllegalTransition(
        "{name} reported the fit already, on {day}: {what}. One delivery has one "
        "report; add what is missing as a message.",
        name=last.reported_by_name,
        day=f"{local:%Y-%m-%d %H:%M}",
        what=", ".join([told, *words]),
    )


def _begin_fit(*, actor: Actor, code: str, version: int | None) -> Case:
    """Return the case, locked, or say in words why its fit cannot be reported."""
    try:
        return begin(actor=actor, code=code, command=Command.FIT, version=version)
    except (IllegalTransition, StaleVersion) as refused:
        case = Case.objects.visible_to(actor).get(code=code)
        clearer = fit_refused(actor=actor, case=case)
        raise clearer or refused from refused


@transaction.atomic
def fit_report(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    report: FitInput,
    at: datetime,
) -> FitReport:
    """Report the fit; the case is fitted or not fitted.

    Raises:
        NotFound, NotAllowed, StaleVersion, Invalid: as ever.
        IllegalTransition: not dispatched yet, or reported already (says by whom).
    """
    case = _begin_fit(actor=actor, code=code, version=version)
    _validate(case, report)
    stored = FitReport.objects.create(
        case=case,
        outcome="fitted" if report.fitted else "not_fitted",
        findings=sorted(set(report.findings)),
        opposing_adjusted_mm=report.opposing_adjusted_mm,
        opposing_teeth=sorted(set(report.opposing_teeth)),
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
            content={
                "outcome": stored.outcome,
                "findings": stored.findings,
                "opposing_teeth": stored.opposing_teeth,
                "opposing_adjusted_mm": None
                if stored.opposing_adjusted_mm is None
                else f"{stored.opposing_adjusted_mm:.2f}",
            },
        )
    return stored


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
    detected_at: str = "",
    details: RemakeDetails | None = None,
) -> Remake:
    """Record a remake and open the linked new draft; the old state stays.

    ``attribution`` is the clinic's; the draft carries the remade teeth only. Lines to
    the verdicts and answers it may go back to are drawn at once.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as ever.
        Invalid: a cause that is not on the laboratory's list, teeth or files that are
            not the case's, part of a bridge, figures that cannot be.
    """
    case = begin(actor=actor, code=code, command=Command.REMAKE, version=version)
    parts = remake_read(
        case,
        cause=cause,
        detected_at=detected_at,
        detected_known=DETECTED_AFTER,
        attribution=attribution,
        note=note,
        details=details or RemakeDetails(),
        whole_spans=True,
    )
    new = remake_draft(case, actor=actor, teeth=parts.teeth, at=at)
    parts = replace(parts, detected_at=parts.detected_at or Detected.AFTER_DISPATCH)
    with remake_store(case, parts, actor=actor, new_case=new, at=at) as remake:
        drawn = traces_draw(remake, actor=actor, at=at)
        with database_guards():
            advance(
                case,
                command=Command.REMAKE,
                event=AuditEvent.REMAKE_OPENED,
                actor=actor,
                at=at,
                content=remake_content(remake, drawn),
            )
    return remake

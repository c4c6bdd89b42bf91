"""Reading cases: always as an actor, always from ``visible_to``."""

import base64
import binascii
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import DateField, Prefetch, Q, QuerySet, Value
from django.db.models.functions import Coalesce

from cases.enums import FlagStatus
from cases.errors import Invalid, NotFound
from cases.lifecycle import CaseState, Mover, whose_move
from cases.models import (
    Answer,
    Attachment,
    Case,
    Coverage,
    FitReport,
    Flag,
    Message,
    PatientIdentity,
    Prescription,
    Reading,
    Remake,
    Round,
    Unit,
    WorkOrder,
)
from cases.selectors.grounds import SiteGround, gate_reasons, site_grounds
from cases.tenancy import Actor

__all__ = [
    "CaseDetail",
    "CaseFilters",
    "CasePage",
    "CaseRow",
    "case_counts",
    "case_detail",
    "case_get",
    "case_page",
]

PAGE_SIZE = 50
MAX_PAGE_SIZE = 200


@dataclass(frozen=True, slots=True)
class CaseFilters:
    """What narrows a list; empty means everything the actor may see."""

    states: tuple[str, ...] = ()
    whose: str = ""
    clinic: str = ""
    verdict: str = ""
    due_before: date | None = None
    search: str = ""
    by_due: bool = False


@dataclass(frozen=True, slots=True)
class CaseRow:
    """One line of a list, complete: the template asks nothing more."""

    case: Case
    patient: str
    teeth: str
    mover: Mover
    open_flags: int
    countersign_due: bool


@dataclass(frozen=True, slots=True)
class CasePage:
    """Rows of one page and the cursor of the next (empty at the end)."""

    rows: tuple[CaseRow, ...]
    next_cursor: str


@dataclass(frozen=True, slots=True)
class CaseDetail:
    """Everything a case page or the API shows, read at once."""

    case: Case
    patient: PatientIdentity
    prescription: Prescription | None
    units: tuple[Unit, ...]
    draft: Prescription | None
    draft_units: tuple[Unit, ...]
    draft_readings: tuple[Reading, ...]
    readings: tuple[Reading, ...]
    rounds: tuple[Round, ...]
    flags: tuple[Flag, ...]
    messages: tuple[Message, ...]
    attachments: tuple[Attachment, ...]
    work_orders: tuple[WorkOrder, ...]
    fit_reports: tuple[FitReport, ...]
    remakes: tuple[Remake, ...]
    coverages: tuple[Coverage, ...]
    grounds: tuple[SiteGround, ...]
    gate: tuple[str, ...]
    mover: Mover

    @property
    def open_flag(self) -> Flag | None:
        """The oldest query that is not settled."""
        waiting = (FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE)
        return next((f for f in self.flags if f.status in waiting), None)

    @property
    def active_order(self) -> WorkOrder | None:
        """The work order in force."""
        return next((w for w in self.work_orders if w.status == "active"), None)


_RELATED = ("clinic", "laboratory", "prescriber", "current_check", "patient")


def case_get(*, actor: Actor, code: str) -> Case:
    """Return a case the actor may see.

    Raises:
        NotFound: absent, or another organisation's; the two look the same.
    """
    case = (
        Case.objects.visible_to(actor)
        .select_related(*_RELATED)
        .filter(code=code)
        .first()
    )
    if case is None:
        raise NotFound
    return case


def _states_of(mover: str, actor: Actor) -> Q:
    due = Flag.objects.filter(status=FlagStatus.COUNTERSIGN_DUE).values("case_id")
    plain = [s.value for s in CaseState if whose_move(s) == mover]
    found = Q(state__in=plain)
    if mover == Mover.CLINIC:
        return found & ~Q(state=CaseState.ON_HOLD, pk__in=due)
    if mover == Mover.LABORATORY:
        return found | Q(state=CaseState.ON_HOLD, pk__in=due)
    return found


def _filtered(actor: Actor, filters: CaseFilters) -> QuerySet[Case]:
    rows = Case.objects.visible_to(actor)
    if filters.states:
        rows = rows.filter(state__in=filters.states)
    if filters.whose:
        rows = rows.filter(_states_of(filters.whose, actor))
    if filters.clinic:
        rows = rows.filter(clinic__code=filters.clinic)
    if filters.verdict:
        rows = rows.filter(verdict=filters.verdict)
    if filters.due_before:
        rows = rows.filter(wanted_on__lte=filters.due_before)
    if text := filters.search.strip():
        # Equality only: row-level security takes the index from LIKE.
        rows = rows.filter(
            Q(code=text.upper()) | Q(pan_number=text) | Q(patient__reference=text)
        )
    return rows


# Cases nobody set a date for come last.
_NO_DAY = Value(date.max, output_field=DateField())
_DUE = Coalesce("promised_on", "wanted_on", _NO_DAY)


def _cursor(case: Case, *, by_due: bool) -> str:
    due = case.promised_on or case.wanted_on or date.max
    key = due.isoformat() if by_due else case.created_at.isoformat()
    return base64.urlsafe_b64encode(f"{key}|{case.pk}".encode()).decode()


def _after(cursor: str, *, by_due: bool) -> Q:
    refused = Invalid.one("/cursor", "Use a cursor this list gave you.")
    try:
        text = base64.urlsafe_b64decode(cursor.encode()).decode()
        stamp, _, pk = text.partition("|")
        number = int(pk)
        day = date.fromisoformat(stamp) if by_due else None
        when = None if by_due else datetime.fromisoformat(stamp)
    except (ValueError, binascii.Error) as error:
        raise refused from error
    if not 0 < number < 2**63 or (when is not None and when.tzinfo is None):
        raise refused
    if when is None:
        return Q(due_on__gt=day) | Q(due_on=day, pk__lt=number)
    return Q(created_at__lt=when) | Q(created_at=when, pk__lt=number)


def case_page(
    *, actor: Actor, filters: CaseFilters, cursor: str = "", limit: int = PAGE_SIZE
) -> CasePage:
    """Return one page of cases, newest first or by due date, by keyset."""
    limit = max(1, min(limit, MAX_PAGE_SIZE))
    by_due = filters.by_due
    rows = _filtered(actor, filters).alias(due_on=_DUE)
    if cursor:
        rows = rows.filter(_after(cursor, by_due=by_due))
    found = list(
        rows.select_related("clinic", "laboratory", "prescriber", "patient")
        .prefetch_related(
            Prefetch(
                "flags",
                Flag.objects.filter(
                    status__in=[FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE]
                ),
                to_attr="waiting_flags",
            ),
            Prefetch(
                "prescriptions",
                Prescription.objects.order_by("-revision").prefetch_related("units"),
                to_attr="all_prescriptions",
            ),
        )
        .order_by(*(("due_on", "-id") if by_due else ("-created_at", "-id")))[
            : limit + 1
        ]
    )
    more = len(found) > limit
    page = found[:limit]
    return CasePage(
        rows=tuple(_row(case) for case in page),
        next_cursor=_cursor(page[-1], by_due=by_due) if more else "",
    )


def _row(case: Case) -> CaseRow:
    flags: list[Flag] = case.waiting_flags  # type: ignore[attr-defined]  # -- to_attr of the prefetch
    prescriptions: list[Prescription] = case.all_prescriptions  # type: ignore[attr-defined]  # -- to_attr of the prefetch
    units = (
        sorted(prescriptions[0].units.all(), key=lambda u: u.position)
        if prescriptions
        else []
    )
    due = any(f.status == FlagStatus.COUNTERSIGN_DUE for f in flags)
    patient = getattr(case, "patient", None)
    return CaseRow(
        case=case,
        patient=patient.reference if patient else "",
        teeth=" ".join(unit.tooth for unit in units),
        mover=whose_move(CaseState(case.state), countersign_due=due),
        open_flags=len(flags),
        countersign_due=due,
    )


def case_counts(*, actor: Actor) -> dict[str, int]:
    """Return how many cases wait for each side."""
    return {
        mover.value: _filtered(actor, CaseFilters(whose=mover.value)).count()
        for mover in (Mover.CLINIC, Mover.LABORATORY)
    }


def case_detail(*, actor: Actor, code: str) -> CaseDetail:
    """Return everything about one case.

    Raises:
        NotFound: absent, or another organisation's.
    """
    case = case_get(actor=actor, code=code)
    prescriptions = list(
        Prescription.objects.filter(case=case)
        .select_related("signature")
        .order_by("-revision")
    )
    current = next((p for p in prescriptions if p.submitted_at), None)
    draft = next((p for p in prescriptions if not p.submitted_at), None)
    units = list(Unit.objects.filter(case=case).order_by("position"))
    readings = list(
        Reading.objects.filter(case=case).order_by("round", "taken_at", "id")
    )
    answers = (
        Answer.objects.select_related("signature", "countersignature")
        .prefetch_related("coverages")
        .order_by("answered_at", "id")
    )
    flags = tuple(
        Flag.objects.filter(case=case)
        .select_related("signature")
        .prefetch_related(Prefetch("answers", answers))
        .order_by("raised_at", "id")
    )
    messages = Message.objects.filter(case=case).prefetch_related("attachments")
    return CaseDetail(
        case=case,
        patient=case.patient,
        prescription=current,
        units=tuple(u for u in units if current and u.prescription_id == current.pk),
        draft=draft,
        draft_units=tuple(u for u in units if draft and u.prescription_id == draft.pk),
        draft_readings=tuple(r for r in readings if r.submitted_at is None),
        readings=tuple(r for r in readings if r.submitted_at is not None),
        rounds=tuple(Round.objects.filter(case=case).order_by("number")),
        flags=flags,
        messages=tuple(messages.order_by("written_at", "id")),
        attachments=tuple(Attachment.objects.filter(case=case).order_by("id")),
        work_orders=tuple(
            WorkOrder.objects.filter(case=case).order_by("-released_at", "-id")
        ),
        fit_reports=tuple(FitReport.objects.filter(case=case).order_by("id")),
        remakes=tuple(
            Remake.objects.filter(case=case).select_related("new_case").order_by("id")
        ),
        coverages=tuple(Coverage.objects.filter(case=case).order_by("id")),
        grounds=tuple(site_grounds(case)),
        gate=tuple(gate_reasons(case)) if case.submitted_at else (),
        mover=whose_move(
            CaseState(case.state),
            countersign_due=any(f.status == FlagStatus.COUNTERSIGN_DUE for f in flags),
        ),
    )

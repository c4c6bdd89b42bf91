"""Reading remakes: always as an actor, of a case the actor may see."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cases import policies
from cases.enums import Cause
from cases.errors import NotFound
from cases.models import (
    Attachment,
    AuditSettings,
    Case,
    Check,
    Remake,
    RemakeCause,
    RemakeLoss,
    RemakeStatement,
    RemakeTrace,
    SiteVerdict,
    WorkOrder,
)
from cases.selectors.cases import case_get
from cases.tenancy import Actor

__all__ = [
    "RemakeDetail",
    "cause_labels",
    "cause_list",
    "causes_offered",
    "first_check",
    "last_order",
    "loss_currency",
    "remake_get",
    "remake_list",
    "traceable",
]


@dataclass(frozen=True, slots=True)
class RemakeDetail:
    """A remake with all that hangs on it, as the actor may see it.

    ``statements`` and ``traces`` oldest first, withdrawn traces included; ``losses`` are
    the own side's, the latest counts. ``labels`` are words of own causes by code.
    ``sites`` are the verdicts it may go back to: of the checks with the numbers
    ``first`` (at submission) and ``built`` (the work order's), which may be the same.
    """

    case: Case
    remake: Remake
    statements: tuple[RemakeStatement, ...]
    evidence: tuple[Attachment, ...]
    traces: tuple[RemakeTrace, ...]
    losses: tuple[RemakeLoss, ...]
    labels: dict[str, str]
    first: int | None
    built: int | None
    sites: tuple[SiteVerdict, ...]

    @property
    def loss(self) -> RemakeLoss | None:
        """The figures of the own side that count."""
        return self.losses[-1] if self.losses else None

    @property
    def standing(self) -> tuple[RemakeTrace, ...]:
        """The lines nobody withdrew."""
        return tuple(t for t in self.traces if t.withdrawn_at is None)

    def said_by(self, side: str) -> tuple[RemakeStatement, ...]:
        """Return what one side stated, latest first."""
        return tuple(s for s in reversed(self.statements) if s.side == side)


def first_check(case: Case) -> Check | None:
    """Return the check of the case's first submission."""
    return Check.objects.filter(case=case, round=1).order_by("made_at", "id").first()


def last_order(case: Case) -> WorkOrder | None:
    """Return the work order that was built on, with its check."""
    return (
        WorkOrder.objects.filter(case=case)
        .select_related("based_on")
        .order_by("-released_at", "-id")
        .first()
    )


def traceable(first: Check | None, order: WorkOrder | None) -> list[SiteVerdict]:
    """Return every verdict a remake may go back to: at submission, and when built."""
    checks = {check.pk for check in (first, order.based_on if order else None) if check}
    return list(
        SiteVerdict.objects.filter(stored_check__in=checks)
        .select_related("stored_check")
        .order_by("stored_check_id", "id")
    )


def cause_labels(codes: Iterable[str]) -> dict[str, str]:
    """Return the words of laboratories' own causes among these, retired ones too."""
    own = set(codes) - set(Cause.values)
    if not own:
        return {}
    rows = RemakeCause.objects.filter(code__in=own)
    return dict(rows.values_list("code", "label"))


def causes_offered(*, actor: Actor, case: Case) -> list[tuple[str, str]]:
    """Return code and words of the causes the case's laboratory has added."""
    rows = RemakeCause.objects.filter(
        laboratory_id=case.laboratory_id, retired_at__isnull=True
    )
    return list(rows.order_by("label", "id").values_list("code", "label"))


def cause_list(*, actor: Actor) -> list[RemakeCause]:
    """Return the own laboratory's causes: those in use by name, then retired ones.

    Raises:
        NotAllowed: the actor does not manage a laboratory.
    """
    policies.require_right(actor, "remake_causes")
    rows = RemakeCause.objects.filter(
        laboratory_id=actor.organisation_id
    ).select_related("made_by__user")
    return sorted(rows, key=lambda r: (r.retired_at is not None, r.label.casefold()))


def loss_currency(*, actor: Actor) -> str:
    """Return the currency the actor's organisation counts in."""
    found = AuditSettings.objects.filter(organisation_id=actor.organisation_id).first()
    return str((found or AuditSettings()).currency)


def remake_list(*, actor: Actor, code: str) -> Sequence[Remake]:
    """Return the remakes of a case in the order they were recorded.

    Raises:
        NotFound: the case is absent, or another organisation's.
    """
    case = case_get(actor=actor, code=code)
    return list(
        Remake.objects.filter(case=case).select_related("new_case").order_by("id")
    )


def remake_get(*, actor: Actor, code: str, remake: int) -> RemakeDetail:
    """Return one remake of a case.

    Raises:
        NotFound: absent, another organisation's, or of another case.
    """
    case = case_get(actor=actor, code=code)
    found = (
        Remake.objects.filter(case=case, pk=remake).select_related("new_case").first()
    )
    if found is None:
        raise NotFound
    found.case = case
    traces = RemakeTrace.objects.filter(remake=found).select_related(
        "site_verdict__stored_check", "answer__flag", "answer__signature", "coverage"
    )
    first, order = first_check(case), last_order(case)
    return RemakeDetail(
        case=case,
        remake=found,
        statements=tuple(
            RemakeStatement.objects.filter(remake=found).order_by("made_at", "id")
        ),
        # What the other side keeps for itself has no row here.
        evidence=tuple(
            Attachment.objects.filter(
                case=case, pk__in=found.evidence.values("attachment_id")
            ).order_by("id")
        ),
        traces=tuple(traces.order_by("id")),
        losses=tuple(
            RemakeLoss.objects.filter(
                remake=found, organisation_id=actor.organisation_id
            ).order_by("made_at", "id")
        ),
        labels=cause_labels([found.cause]),
        first=first.pk if first else None,
        built=order.based_on_id if order else None,
        sites=tuple(traceable(first, order)),
    )

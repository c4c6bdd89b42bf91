"""Who is told about a rule set: the other managers, and the clinics it is for."""

from datetime import datetime
from typing import Any

from cases import outbox
from cases.models import Partnership, RuleSetDraft
from cases.selectors.rule_sets import other_managers
from cases.tenancy import Actor

__all__ = ["tell_managers", "tell_published"]


def _tell(
    draft: RuleSetDraft, *, kind: str, organisation_id: int, user: int, at: datetime
) -> None:
    payload: dict[str, Any] = {"user": user} if user else {}
    outbox.enqueue(
        kind=kind,
        organisation_id=organisation_id,
        case=None,
        dedupe_key=f"{kind}:{draft.code}:{draft.version}:{organisation_id}:{user}",
        payload=payload,
        at=at,
    )


def tell_managers(
    draft: RuleSetDraft, *, kind: str, actor: Actor, at: datetime
) -> None:
    """Tell every other manager of the laboratory."""
    for user in other_managers(actor=actor):
        _tell(draft, kind=kind, organisation_id=draft.laboratory_id, user=user, at=at)


def tell_published(draft: RuleSetDraft, *, actor: Actor, at: datetime) -> None:
    """Tell the other managers, and the clinics the laboratory works with now."""
    kind = "rule_set_published"
    tell_managers(draft, kind=kind, actor=actor, at=at)
    clinics = Partnership.objects.filter(
        laboratory_id=draft.laboratory_id,
        accepted_at__isnull=False,
        ended_at__isnull=True,
    )
    for clinic in clinics.order_by("clinic_id").values_list("clinic_id", flat=True):
        _tell(draft, kind=kind, organisation_id=clinic, user=0, at=at)

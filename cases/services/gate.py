"""The release gate in code: the friendly message before the database's refusal.

``clear`` and ``release`` both ask it.
"""

from collections.abc import Sequence
from datetime import datetime

from cases.enums import CoverageKind
from cases.errors import Conflict, Invalid
from cases.models import Case, Coverage, SiteVerdict
from cases.selectors.grounds import gate_reasons, site_grounds
from cases.tenancy import Actor

__all__ = ["cover_within_uncertainty", "require_open_gate"]


def require_open_gate(case: Case) -> None:
    """Raise Conflict with every reason while the gate is shut."""
    if reasons := gate_reasons(case):
        raise Conflict(
            "The case cannot go to the bench yet: {list}",
            reasons=tuple(reasons),
            list=" ".join(reasons),
        )


def cover_within_uncertainty(
    case: Case, *, sites: Sequence[tuple[str, str]], actor: Actor, at: datetime
) -> None:
    """Record that a technician clears these sites within measuring uncertainty.

    Only an undecided point reading at or above the need can be cleared so.

    Raises:
        Invalid: a site that cannot be cleared this way.
    """
    clearable: dict[tuple[str, str], list[SiteVerdict]] = {}
    for ground in site_grounds(case):
        if ground.clearable:
            key = (ground.verdict.tooth, ground.verdict.site)
            clearable.setdefault(key, []).append(ground.verdict)
    for index, key in enumerate(sites):
        if key not in clearable:
            raise Invalid.one(
                f"/within_uncertainty/{index}",
                "Only an undecided site whose reading is at or above the need can be "
                "cleared within measuring uncertainty.",
            )
    Coverage.objects.bulk_create(
        Coverage(
            case=case,
            kind=CoverageKind.UNCERTAINTY,
            tooth=verdict.tooth,
            site=verdict.site,
            quantity=verdict.quantity,
            revision=case.revision,
            round=case.round,
            rule_set_digest=case.rule_set_digest,
            low_mm=verdict.low_mm,
            high_mm=verdict.high_mm,
            given_by_id=actor.membership_id,
            given_by_name=actor.name,
            given_at=at,
        )
        for key in dict.fromkeys(sites)
        for verdict in clearable[key]
    )

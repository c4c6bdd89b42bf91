"""What a draft would change among the cases: progress and result."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock
from cases.enums import DraftStatus, ImpactStatus
from cases.errors import Invalid, NotFound
from cases.forms.vocabulary import site_words, tooth_number
from cases.selectors.check_catalog import own_rule_set
from cases.selectors.rule_sets import (
    ImpactCounts,
    impact_cases,
    impact_counts,
    impact_get,
)
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from rules.terms import Quantity, label

if TYPE_CHECKING:
    from cases.models import RuleSetDraft, RuleSetImpact, RuleSetImpactCase

__all__ = ["ImpactState", "impact", "impact_state"]

# The most sites shown of one case; a link leads to the rest.
_SITES = 6


@dataclass(frozen=True, slots=True)
class ImpactState:
    """How far a comparison is, what it found, and whether it still says something."""

    impact: "RuleSetImpact"
    counts: ImpactCounts
    running: bool
    stopped: bool
    edited: bool
    overtaken: bool

    @property
    def stale(self) -> bool:
        """Whether draft or set in force have changed since."""
        return self.edited or self.overtaken


@dataclass(frozen=True, slots=True)
class SiteChange:
    """One site whose verdict would change; an empty verdict: not judged."""

    where: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class CaseChange:
    """One case whose verdict would change."""

    row: "RuleSetImpactCase"
    patient: str
    sites: tuple[SiteChange, ...]
    more: int


def impact_state(
    found: "RuleSetImpact", draft: "RuleSetDraft", in_force: str
) -> ImpactState:
    """Return what a comparison is worth now; ``in_force`` is the digest of the set."""
    return ImpactState(
        impact=found,
        counts=impact_counts(impact=found),
        running=found.status == ImpactStatus.RUNNING,
        stopped=found.status == ImpactStatus.STOPPED,
        edited=found.digest != draft.digest,
        overtaken=found.against != in_force and draft.status != DraftStatus.PUBLISHED,
    )


def _sites(actor: Actor, sites: list[dict[str, str]]) -> tuple[SiteChange, ...]:
    found = []
    for site in sites:
        quantity = site.get("quantity", "")
        words = _(label(Quantity(quantity))) if quantity in set(Quantity) else quantity
        tooth = tooth_number(site["tooth"], actor.tooth_system)
        name = site_words(site["site"], site["tooth"])
        found.append(
            SiteChange(f"{tooth} {name}, {words}", site["before"], site["after"])
        )
    return tuple(found)


def _case(actor: Actor, row: "RuleSetImpactCase") -> CaseChange:
    patient = getattr(row.case, "patient", None)
    return CaseChange(
        row=row,
        patient=patient.reference if patient else row.case.code,
        sites=_sites(actor, row.sites[:_SITES]),
        more=max(0, len(row.sites) - _SITES),
    )


@require_safe
@acting_required
def impact(request: ActingRequest, code: str) -> HttpResponse:
    """Show how far a comparison has come; once done, the cases that would change."""
    found = impact_get(actor=request.actor, code=code)
    own = own_rule_set(actor=request.actor, at=clock.now())
    state = impact_state(found, found.draft, own.digest)
    context: dict[str, Any] = {"state": state, "draft": found.draft, "own": own}
    if not state.running:
        context |= _cases(request, found, state)
    if request.htmx and not request.htmx.boosted:
        return render(request, "rule_sets/parts/_impact.html", context)
    return render(request, "rule_sets/impact.html", context)


def _cases(
    request: ActingRequest, found: "RuleSetImpact", state: ImpactState
) -> dict[str, Any]:
    which = request.GET.get("which", "")
    after = request.GET.get("after", "")
    open_only = {"open": True, "past": False}.get(which)
    try:
        page = impact_cases(impact=found, is_open=open_only, cursor=after)
    except Invalid as error:
        raise NotFound from error
    chips = [
        (_("All"), "", state.counts.open + state.counts.past),
        (_("Open cases"), "open", state.counts.open),
        (_("Past cases"), "past", state.counts.past),
    ]
    query = f"?which={which}" if open_only is not None else "?"
    return {
        "cases": [_case(request.actor, row) for row in page.rows],
        "chips": [
            {
                "label": words,
                "href": f"?which={key}" if key else "?",
                "count": count,
                "current": key == (which if open_only is not None else ""),
            }
            for words, key, count in chips
        ],
        "first_href": query if after else "",
        "next_href": f"{query}&after={page.next_cursor}" if page.next_cursor else "",
    }

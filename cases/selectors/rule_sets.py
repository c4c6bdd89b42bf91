"""Rule sets of a laboratory: drafts, publications, differences, impact."""

import base64
import binascii
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, QuerySet

from cases import policies
from cases.enums import OrganisationKind, Role
from cases.errors import Invalid, NotFound
from cases.models import (
    Membership,
    Organisation,
    Partnership,
    RuleSetDraft,
    RuleSetImpact,
    RuleSetImpactCase,
    RuleSetPublication,
)
from cases.selectors.check_catalog import own_rule_set
from cases.tenancy import Actor
from rules.difference import differences
from rules.parse import parse_rule_set
from rules.requirements import RuleSet
from rules.terms import Message

__all__ = [
    "ImpactCounts",
    "ImpactPage",
    "draft_differences",
    "draft_get",
    "draft_list",
    "draft_rule_set",
    "impact_cases",
    "impact_counts",
    "impact_get",
    "impact_latest",
    "other_managers",
    "publication_list",
]

PAGE_SIZE = 50
MAX_PAGE_SIZE = 200


@dataclass(frozen=True, slots=True)
class ImpactPage:
    """Changed cases of one page and the cursor of the next (empty at the end)."""

    rows: tuple[RuleSetImpactCase, ...]
    next_cursor: str


@dataclass(frozen=True, slots=True)
class ImpactCounts:
    """How many cases would change: those still open, and those that ended."""

    open: int
    past: int


def other_managers(*, actor: Actor) -> list[int]:
    """Return the user ids of the laboratory's other managers who can sign in."""
    return list(
        Membership.objects.filter(
            organisation_id=actor.organisation_id,
            role=Role.LAB_MANAGER,
            ended_at__isnull=True,
            user__is_active=True,
        )
        .exclude(user_id=actor.user_id)
        .order_by("user_id")
        .values_list("user_id", flat=True)
    )


def draft_list(*, actor: Actor, ended: bool = False) -> QuerySet[RuleSetDraft]:
    """Return the laboratory's drafts, last edited first; ``ended``: those that are not
    worked on any more (published, discarded). Documents are not loaded.

    Raises:
        NotAllowed: the actor does not manage the laboratory.
    """
    policies.require_right(actor, "rule_sets")
    over = ["published", "discarded"]
    rows = RuleSetDraft.objects.filter(laboratory_id=actor.organisation_id)
    rows = rows.filter(status__in=over) if ended else rows.exclude(status__in=over)
    return rows.defer("document").order_by("-edited_at", "-pk")


def draft_get(*, actor: Actor, code: str) -> RuleSetDraft:
    """Return a draft of the laboratory.

    Raises:
        NotFound: absent, or another laboratory's.
        NotAllowed: the actor does not manage the laboratory.
    """
    draft = RuleSetDraft.objects.filter(
        laboratory_id=actor.organisation_id, code=code
    ).first()
    if draft is None:
        raise NotFound
    policies.require_right(actor, "rule_sets")
    return draft


def publication_list(
    *, actor: Actor, laboratory: str = ""
) -> QuerySet[RuleSetPublication]:
    """Return what a laboratory published, latest day first, with the coming ones.

    A laboratory asks for its own; a clinic names a laboratory it works with by its
    code.

    Raises:
        NotFound: no laboratory the actor may see has the code.
    """
    wanted = laboratory or actor.organisation_code
    row = Organisation.objects.filter(
        kind=OrganisationKind.LABORATORY, code=wanted
    ).first()
    if row is None:
        raise NotFound
    rows = RuleSetPublication.objects.filter(laboratory=row)
    if row.pk != actor.organisation_id:
        rows = _while_partners(rows, actor=actor, laboratory_id=row.pk)
    return rows.order_by("-effective_from", "-pk")


def _while_partners(
    rows: QuerySet[RuleSetPublication], *, actor: Actor, laboratory_id: int
) -> QuerySet[RuleSetPublication]:
    """Leave out what a laboratory published after it and the clinic parted."""
    ends = list(
        Partnership.objects.filter(
            laboratory_id=laboratory_id,
            clinic_id=actor.organisation_id,
            accepted_at__isnull=False,
        ).values_list("ended_at", flat=True)
    )
    if None in ends:
        return rows
    last = max((end for end in ends if end is not None), default=None)
    return rows.filter(published_at__lte=last) if last else rows.none()


def draft_rule_set(draft: RuleSetDraft) -> RuleSet:
    """Return the rule set a draft holds."""
    return parse_rule_set(draft.document)


def draft_differences(
    draft: RuleSetDraft, *, actor: Actor, at: datetime
) -> tuple[Message, ...]:
    """Return in words what a draft changes against the set in force now."""
    before = own_rule_set(actor=actor, at=at)
    return differences(before, draft_rule_set(draft))


def impact_get(*, actor: Actor, code: str) -> RuleSetImpact:
    """Return how far the comparison of a draft with the cases has come.

    Raises:
        NotFound: absent, or another laboratory's.
        NotAllowed: the actor does not manage the laboratory.
    """
    impact = (
        RuleSetImpact.objects.filter(laboratory_id=actor.organisation_id, code=code)
        .select_related("draft")
        .defer("document", "draft__document")
        .first()
    )
    if impact is None:
        raise NotFound
    policies.require_right(actor, "rule_sets")
    return impact


def impact_latest(*, draft: RuleSetDraft) -> RuleSetImpact | None:
    """Return the latest comparison of a draft, of whatever content it had then."""
    return (
        RuleSetImpact.objects.filter(draft=draft)
        .defer("document")
        .order_by("-started_at", "-pk")
        .first()
    )


def impact_counts(*, impact: RuleSetImpact) -> ImpactCounts:
    """Return how many open and past cases were found so far."""
    rows = RuleSetImpactCase.objects.filter(impact=impact)
    found = dict(
        rows.values_list("is_open").annotate(n=Count("pk")).order_by("is_open")
    )
    return ImpactCounts(open=found.get(True, 0), past=found.get(False, 0))


def impact_cases(
    *,
    impact: RuleSetImpact,
    is_open: bool | None = None,
    cursor: str = "",
    limit: int = PAGE_SIZE,
) -> ImpactPage:
    """Return one page of changed cases with case, clinic and patient, latest created
    first within each lane of the work; ``is_open`` None: open and past ones.

    Raises:
        Invalid: a cursor no list of this kind gave.
    """
    limit = max(1, min(limit, MAX_PAGE_SIZE))
    rows = RuleSetImpactCase.objects.filter(impact=impact)
    if is_open is not None:
        rows = rows.filter(is_open=is_open)
    if cursor:
        rows = rows.filter(pk__gt=_number(cursor))
    found = list(
        rows.select_related("case__clinic", "case__patient").order_by("pk")[: limit + 1]
    )
    page = tuple(found[:limit])
    more = _cursor(page[-1]) if len(found) > limit else ""
    return ImpactPage(rows=page, next_cursor=more)


def _cursor(row: RuleSetImpactCase) -> str:
    return base64.urlsafe_b64encode(str(row.pk).encode()).decode()


def _number(cursor: str) -> int:
    try:
        text = base64.urlsafe_b64decode(cursor.encode()).decode("ascii")
    except (ValueError, binascii.Error):
        text = ""
    if not (text.isdecimal() and len(text) <= 18):
        raise Invalid.one("/cursor", "Use a cursor this list gave you.")
    return int(text)

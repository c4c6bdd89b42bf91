"""Rule sets in force: the laboratory's list, a set to read, its TOML file."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock, policies
from cases.enums import DraftStatus
from cases.errors import Invalid, NotFound
from cases.selectors.check_catalog import rule_set_at
from cases.selectors.rule_sets import draft_list, other_managers, publication_list
from cases.services.checks import rule_set_for
from cases.views.access import ActingRequest, acting_required
from cases.views.editing import laboratories
from cases.views.rule_set_tables import rule_tables
from rules.difference import differences
from rules.loader import shipped_rule_set
from rules.toml_text import to_toml

if TYPE_CHECKING:
    from cases.models import RuleSetDraft, RuleSetPublication
    from rules.requirements import RuleSet

__all__ = ["Held", "held_sets", "rule_set", "rule_set_file", "rule_sets", "toml_answer"]


@dataclass(frozen=True, slots=True)
class Held:
    """One published set: from when until when it holds, and whether it does now."""

    publication: "RuleSetPublication"
    until: date | None
    now: bool

    @property
    def coming(self) -> bool:
        """Whether its day has not come."""
        return not self.now and self.until is None


@dataclass(frozen=True, slots=True)
class DraftRow:
    """One draft of the list, and whether the reader has to act."""

    draft: "RuleSetDraft"
    yours: bool


def held_sets(rows: Sequence["RuleSetPublication"], today: date) -> list[Held]:
    """Return published sets, latest day first, with what holds when."""
    found: list[Held] = []
    following: date | None = None
    for row in rows:
        if row.effective_from > today:
            found.append(Held(row, None, False))
            following = row.effective_from
            continue
        now = not any(each.now for each in found)
        # The one in force ends on a day only where another one is coming.
        found.append(Held(row, following, now))
        following = row.effective_from
    return found


@require_safe
@acting_required
def rule_sets(request: ActingRequest) -> HttpResponse:
    """Show the laboratory's sets; a clinic sees those of its laboratories."""
    actor = request.actor
    if actor.is_clinic:
        partners = [
            {"code": code, "name": name, "rule_set": rule_set_for(digest)}
            for code, (name, digest) in laboratories(actor).items()
        ]
        return render(request, "rule_sets/partners.html", {"partners": partners})
    at = clock.now()
    today = at.astimezone(ZoneInfo(actor.time_zone)).date()
    held = held_sets(list(publication_list(actor=actor)), today)
    manages = policies.can_manage(actor, "rule_sets")
    context: dict[str, Any] = {
        "manages": manages,
        "in_force": next((each for each in held if each.now), None),
        "rule_set": rule_set_at(actor=actor, at=at, laboratory=actor.organisation_code),
        "shipped": shipped_rule_set(),
        "coming": [each for each in held if each.coming],
        "earlier": [each for each in held if not each.now and not each.coming],
    }
    if manages:
        context["drafts"] = [
            DraftRow(row, _waits_for(row, actor.membership_id))
            for row in draft_list(actor=actor)
        ]
        context["discarded"] = [
            row
            for row in draft_list(actor=actor, ended=True)
            if row.status == DraftStatus.DISCARDED
        ]
        context["alone"] = not other_managers(actor=actor)
    return render(request, "rule_sets/list.html", context)


def _waits_for(draft: "RuleSetDraft", membership_id: int) -> bool:
    if draft.status == DraftStatus.PROPOSED:
        return draft.edited_by_id != membership_id
    return draft.status == DraftStatus.APPROVED


@dataclass(frozen=True, slots=True)
class Shown:
    """A set somebody may read: whose, what, since when."""

    rule_set: "RuleSet"
    held: Held | None
    before: "RuleSet | None"


def _shown(request: ActingRequest, laboratory: str, digest: str) -> Shown:
    """Return a published set of a laboratory, or the one it works by.

    Raises:
        NotFound: no such set, or no such laboratory for the reader.
    """
    actor, at = request.actor, clock.now()
    rows = list(publication_list(actor=actor, laboratory=laboratory))
    held = held_sets(rows, at.astimezone(ZoneInfo(actor.time_zone)).date())
    for place, each in enumerate(held):
        if each.publication.digest == digest:
            earlier = held[place + 1 : place + 2]
            before = rule_set_for(earlier[0].publication.digest) if earlier else None
            return Shown(rule_set_for(digest), each, before)
    try:
        now = rule_set_at(actor=actor, at=at, laboratory=laboratory)
    except Invalid as error:
        raise NotFound from error
    for known in (now, shipped_rule_set()):
        if known.digest == digest:
            return Shown(known, None, None)
    raise NotFound


@require_safe
@acting_required
def rule_set(request: ActingRequest, laboratory: str, digest: str) -> HttpResponse:
    """Show a whole set to read and to print."""
    shown = _shown(request, laboratory, digest)
    names = laboratories(request.actor) if request.actor.is_clinic else {}
    own = request.actor.organisation_name
    context = {
        "rule_set": shown.rule_set,
        "tables": rule_tables(shown.rule_set),
        "held": shown.held,
        "laboratory": laboratory,
        "laboratory_name": names[laboratory][0] if laboratory in names else own,
        "manages": policies.can_manage(request.actor, "rule_sets"),
        "changes": [
            message.text(_) for message in differences(shown.before, shown.rule_set)
        ]
        if shown.before
        else [],
        "before": shown.before,
    }
    return render(request, "rule_sets/set.html", context)


@require_safe
@acting_required
def rule_set_file(request: ActingRequest, laboratory: str, digest: str) -> HttpResponse:
    """Give a set as a TOML file."""
    return toml_answer(_shown(request, laboratory, digest).rule_set)


def toml_answer(rule_set: "RuleSet") -> HttpResponse:
    """Return a rule set as a file to keep; nothing a browser would run or show."""
    name = slugify(f"{rule_set.name} {rule_set.version}")[:80] or "rule-set"
    answer = HttpResponse(to_toml(rule_set), content_type="application/toml")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.toml"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer

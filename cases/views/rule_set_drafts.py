"""A rule set draft: begun as a copy or from a file, seen whole, compared in words."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock, policies
from cases.enums import DraftStatus
from cases.errors import Invalid
from cases.forms.rule_set_words import material_name, rule_fault
from cases.forms.rule_sets import CopyForm, ImportForm, ReturnForm
from cases.selectors.check_catalog import own_rule_set
from cases.selectors.rule_sets import (
    draft_get,
    draft_rule_set,
    impact_latest,
    other_managers,
    publication_list,
)
from cases.services import rule_sets as services
from cases.views.access import ActingRequest, acting_required
from cases.views.rule_set_impact import impact_state
from cases.views.rule_set_pages import both
from cases.views.rule_set_tables import rule_tables
from cases.views.rule_sets import toml_answer
from rules.difference import differences
from rules.loader import shipped_rule_set
from rules.need_changes import need_changes

if TYPE_CHECKING:
    from cases.models import RuleSetDraft
    from rules.requirements import RuleSet

__all__ = [
    "copy",
    "draft",
    "draft_context",
    "draft_differences",
    "draft_file",
    "draft_whole",
    "from_file",
]

# So many sentences stand on the draft's own page; all of them have a page.
_FIRST = 6


@both
@acting_required
def copy(request: ActingRequest) -> HttpResponse:
    """Begin a draft as a copy of a set."""
    actor, at = request.actor, clock.now()
    policies.require_right(actor, "rule_sets")
    own = own_rule_set(actor=actor, at=at)
    sources = _sources(request, own)
    wanted = request.GET.get("digest") or own.digest
    start = {"digest": wanted, "name": own.name, "label": ""}
    data = request.POST if request.method == "POST" else None
    form = CopyForm(data, sources=sources, initial=start)
    if data is None or not form.is_valid():
        status = 200 if data is None else 422
        return render(request, "rule_sets/copy.html", {"form": form}, status=status)
    try:
        made = services.draft_copy(actor=actor, at=at, **form.cleaned_data)
    except Invalid as error:
        form.place(error, {})
        return render(request, "rule_sets/copy.html", {"form": form}, status=422)
    messages.success(request, _("Copied. Nothing holds before it is published."))
    return redirect("rule_set_draft", code=made.code)


def _sources(request: ActingRequest, own: "RuleSet") -> list[tuple[str, str]]:
    shipped = shipped_rule_set()
    now = _("In force now: {name}, {label}").format(name=own.name, label=own.version)
    named = {own.digest: now}
    for row in publication_list(actor=request.actor):
        named.setdefault(row.digest, f"{row.name}, {row.label}")
    named.setdefault(
        shipped.digest,
        _("Shipped with Chairbench: {name}, {label}").format(
            name=shipped.name, label=shipped.version
        ),
    )
    return list(named.items())


@both
@acting_required
def from_file(request: ActingRequest) -> HttpResponse:
    """Begin a draft from a TOML file; every fault is listed with its line."""
    policies.require_right(request.actor, "rule_sets")
    if request.method != "POST":
        return render(request, "rule_sets/import.html", {"form": ImportForm()})
    form = ImportForm(request.POST, request.FILES)
    faults: list[dict[str, str]] = []
    if form.is_valid():
        try:
            made = services.draft_import(
                actor=request.actor, document=form.document(), at=clock.now()
            )
        except Invalid as error:
            faults = [_fault(one) for one in error.fields]
        else:
            messages.success(request, _("Brought in as a draft. Nothing holds yet."))
            return redirect("rule_set_draft", code=made.code)
    context = {"form": form, "faults": faults}
    return render(request, "rule_sets/import.html", context, status=422)


def _fault(fault: Any) -> dict[str, str]:
    """Return a fault of a file: its line, the key it stands at, what is wrong."""
    params = dict(fault.params)
    prefix = "Line {line}: "
    bare = replace(
        fault,
        message=fault.message.removeprefix(prefix),
        params=tuple(pair for pair in fault.params if pair[0] != "line"),
    )
    return {
        "line": params.get("line", ""),
        # The services name the version as their forms do; a file has its own word.
        "key": "/version" if fault.pointer == "/label" else fault.pointer,
        "text": rule_fault(bare),
    }


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """One material of a draft: how many lines it has, and how many say something new."""

    key: str
    name: str
    under: str
    lines: int
    spans: int
    changes: int
    fresh: bool


def _rows(before: "RuleSet", after: "RuleSet") -> list[MaterialRow]:
    found = []
    for material in after.materials:
        key = material.key
        mine = [need for need in after.needs if need.material == key]
        was = [need for need in before.needs if need.material == key]
        changes = need_changes(
            replace(before, needs=tuple(was)), replace(after, needs=tuple(mine))
        )
        found.append(
            MaterialRow(
                key=key,
                name=_(material.label),
                under=material_name(after, material.under) if material.under else "",
                lines=len(mine),
                spans=sum(line.material == key for line in after.span_limits),
                changes=len(list(changes)),
                fresh=before.material(key) is None,
            )
        )
    return found


@dataclass(frozen=True, slots=True)
class Standing:
    """What may be done with a draft now, and by whom."""

    editing: bool
    approves: bool
    own: bool
    alone: bool
    open: bool


def _standing(request: ActingRequest, found: "RuleSetDraft") -> Standing:
    own = found.edited_by_id == request.actor.membership_id
    proposed = found.status == DraftStatus.PROPOSED
    return Standing(
        editing=found.status == DraftStatus.EDITING,
        approves=proposed and not own,
        own=own,
        alone=not other_managers(actor=request.actor),
        open=found.status not in (DraftStatus.PUBLISHED, DraftStatus.DISCARDED),
    )


def draft_context(request: ActingRequest, found: "RuleSetDraft") -> dict[str, Any]:
    """Return what the draft's page shows."""
    own = own_rule_set(actor=request.actor, at=clock.now())
    rule_set = draft_rule_set(found)
    changes = [message.text(_) for message in differences(own, rule_set)]
    latest = impact_latest(draft=found)
    impact = impact_state(latest, found, own.digest) if latest else None
    return {
        "draft": found,
        "rule_set": rule_set,
        "own": own,
        "standing": _standing(request, found),
        "changes": changes[:_FIRST],
        "more_changes": max(0, len(changes) - _FIRST),
        "changes_count": len(changes),
        "impact": impact,
        "materials": _rows(own, rule_set),
        "return_form": ReturnForm(initial={"version": found.version}),
    }


@require_safe
@acting_required
def draft(request: ActingRequest, code: str) -> HttpResponse:
    """Show where a draft stands and what it changes."""
    found = draft_get(actor=request.actor, code=code)
    return render(request, "rule_sets/draft.html", draft_context(request, found))


@require_safe
@acting_required
def draft_whole(request: ActingRequest, code: str) -> HttpResponse:
    """Show the whole draft to read and to print."""
    found = draft_get(actor=request.actor, code=code)
    rule_set = draft_rule_set(found)
    context = {"draft": found, "rule_set": rule_set, "tables": rule_tables(rule_set)}
    return render(request, "rule_sets/draft_whole.html", context)


@require_safe
@acting_required
def draft_file(request: ActingRequest, code: str) -> HttpResponse:
    """Give a draft as a TOML file."""
    return toml_answer(draft_rule_set(draft_get(actor=request.actor, code=code)))


@require_safe
@acting_required
def draft_differences(request: ActingRequest, code: str) -> HttpResponse:
    """Show everything a draft changes against the set in force, in words."""
    found = draft_get(actor=request.actor, code=code)
    own = own_rule_set(actor=request.actor, at=clock.now())
    changes = [m.text(_) for m in differences(own, draft_rule_set(found))]
    context = {"draft": found, "own": own, "changes": changes}
    return render(request, "rule_sets/differences.html", context)

"""Chair check: readings called and typed while the patient is still numb.

No case is needed and nothing is stored. The same editor and the same core serve
the draft, so "make a case of this" carries everything over as it stands.
"""

from typing import Any

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from cases import policies
from cases.forms.guide import PLANNED
from cases.forms.unit_changes import change, flat_of
from cases.forms.unit_rows import UnitsEditor
from cases.lifecycle import Command
from cases.views.access import ActingRequest, acting_required
from cases.views.editing import (
    LISTS,
    editor_of,
    laboratories,
    laboratory_rules,
    quadrants,
)
from cases.views.guide import guide_address
from cases.views.verdicts import LiveVerdict, live_verdict

__all__ = ["chair"]

LIVE, REFRESH, CHECK = "live", "refresh", "check"


def _start(data: QueryDict) -> dict[str, str]:
    """Return what a plan brings along: the guide's own address says the unit."""
    stated = {name: data.get(name, "")[:60] for name in PLANNED}
    stated["kind"] = stated["kind"] or "crown"
    found = {f"units-0-{name}": value for name, value in stated.items() if value}
    return {**found, "laboratory": data.get("laboratory", "")[:60]}


def _plan_address(editor: UnitsEditor, laboratory: str) -> str:
    """Return where the plan of the same unit stands."""
    form = editor.units[0].form
    stated = {name: form.text(name) for name in PLANNED if name in form.fields}
    return guide_address(**stated, laboratory=laboratory)


def _texts(request: ActingRequest) -> tuple[dict[str, str], str]:
    """Return the texts of the form, and what was asked of the page."""
    if request.method != "POST":
        return _start(request.GET), REFRESH
    action = request.POST.get("do", CHECK)
    flat = flat_of(request.POST)
    # One tooth only: a hostile body cannot make the page a case of sixty.
    flat = {
        k: v for k, v in flat.items() if not k.startswith("units-") or "units-0-" in k
    }
    flat.setdefault("units-0-kind", "crown")
    changed = change(flat, action)
    return (flat, action) if changed is None else (changed, REFRESH)


def _begun(editor: UnitsEditor) -> bool:
    form = editor.units[0].form
    return bool(form.text("tooth") and form.text("material"))


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def chair(request: ActingRequest) -> HttpResponse:
    """Show the chair check, or judge what was typed; nothing is stored."""
    policies.require(request.actor, Command.EDIT_DRAFT)
    flat, action = _texts(request)
    partners = laboratories(request.actor)
    chosen = flat.get("laboratory") or (
        next(iter(partners)) if len(partners) == 1 else ""
    )
    rule_set = laboratory_rules(request.actor, chosen)
    editor = editor_of(flat, rule_set=rule_set, actor=request.actor)
    verdict: LiveVerdict | None = None
    if _begun(editor) or action == CHECK:
        verdict = live_verdict(editor)
    problems = editor.problems
    context: dict[str, Any] = {
        "editor": editor,
        "unit": editor.units[0],
        "verdict": verdict,
        "problems": problems if action == CHECK else (),
        "faults": problems,
        "begun": _begun(editor),
        "quadrants": quadrants(request.actor, chosen={editor.units[0].tooth}),
        "laboratories": [(code, name) for code, (name, _d) in partners.items()],
        "laboratory": chosen,
        "plan_url": _plan_address(editor, chosen),
        "lists": LISTS,
        "chair": True,
    }
    template = "cases/chair.html"
    if request.htmx:
        live = action == LIVE
        template = "cases/parts/_chair_live.html" if live else "cases/parts/_chair.html"
    refused = bool(problems) and action in (CHECK, LIVE)
    return render(request, template, context, status=422 if refused else 200)

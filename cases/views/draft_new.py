"""Begin a draft: laboratory, prescriber, patient; a chair check comes along."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases import clock, policies
from cases.canonical import new_secret
from cases.errors import Invalid, InvalidField
from cases.forms.core_words import people_text
from cases.forms.draft import StartForm, draft_input
from cases.forms.unit_changes import change, flat_of
from cases.forms.unit_rows import UnitsEditor
from cases.lifecycle import Command
from cases.services import drafts, idempotency
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.editing import (
    LISTS,
    editor_of,
    laboratories,
    laboratory_rules,
    own_address,
    prescribers,
)
from cases.views.verdicts import LiveVerdict, live_verdict

__all__ = ["new"]

CREATE, LIVE = "create", "live"
_ROUTE = "page:case_new"


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def new(request: ActingRequest) -> HttpResponse:
    """Show what a draft begins with, or begin it."""
    policies.require(request.actor, Command.EDIT_DRAFT)
    partners = laboratories(request.actor)
    action = request.POST.get("do", "") if request.method == "POST" else ""
    flat = flat_of(request.POST)
    flat = change(flat, action) or flat
    listed = [(code, name) for code, (name, _digest) in partners.items()]
    options: dict[str, Any] = {
        "laboratories": listed,
        "prescribers": prescribers(request.actor),
    }
    rules = laboratory_rules(request.actor, flat.get("laboratory", ""))
    editor = editor_of(flat, rule_set=rules, actor=request.actor)
    if action == CREATE:
        form = StartForm(request.POST, **options)
        code = _create(request.actor, form, editor)
        if code:
            messages.success(request, _("The draft is begun. It is saved as you go."))
            return redirect("case_edit_draft", code=code)
    else:
        form = StartForm(initial=_initial(request.actor, flat), **options)
    return _show(request, form, editor, action)


def _initial(actor: Actor, flat: dict[str, str]) -> dict[str, str]:
    typed = {name: flat[name] for name in StartForm.base_fields if flat.get(name)}
    usual = own_address(actor)
    return {"prescriber": usual, "once": new_secret()[:40], **typed}


def _create(actor: Actor, form: StartForm, editor: UnitsEditor) -> str:
    """Store the draft once and return its code; empty when something is refused."""
    units = editor.json()
    usable = [form.is_valid(), editor.is_valid()]
    if not all(usable):
        live_verdict(editor)
        return ""
    once, at = form.cleaned_data["once"], clock.now()
    try:
        with transaction.atomic():
            before = idempotency.key_claim(
                actor=actor, route=_ROUTE, key=once, body_sha256="", at=at
            )
            if before is not None:
                return before.body
            case = drafts.case_create(
                actor=actor,
                laboratory=form.cleaned_data["laboratory"],
                draft=draft_input(form.cleaned_data, units),
                at=at,
            )
            answer = idempotency.KeptAnswer(303, {}, case.code)
            idempotency.answer_keep(actor=actor, route=_ROUTE, key=once, answer=answer)
            return case.code
    except Invalid as error:
        _place(error, form, editor)
    return ""


def _place(error: Invalid, form: StartForm, editor: UnitsEditor) -> None:
    rest: list[InvalidField] = []
    for fault in error.fields:
        name = fault.pointer.strip("/")
        if name in form.fields:
            form.add_error(name, people_text(fault, system=editor.system))
        else:
            rest.append(fault)
    editor.add(Invalid(*rest))


def _show(
    request: ActingRequest, form: StartForm, editor: UnitsEditor, action: str
) -> HttpResponse:
    verdict: LiveVerdict | None = live_verdict(editor) if editor.units else None
    head = [
        {"href": f"#{bound.auto_id}", "text": f"{bound.label}: {error}"}
        for bound in form
        for error in bound.errors
    ]
    faults = editor.problems
    refused = action in (CREATE, LIVE) and bool(head or faults)
    context = {
        "start": form,
        "partners": laboratories(request.actor),
        "editor": editor,
        "verdict": verdict,
        "faults": faults,
        "problems": [*head, *faults] if action == CREATE else (),
        "lists": LISTS,
        "begun": bool(editor.units),
    }
    template = "cases/draft_new.html"
    if request.htmx:
        live = action == LIVE
        template = f"cases/parts/{'_chair_live' if live else '_new_units'}.html"
    return render(request, template, context, status=422 if refused else 200)

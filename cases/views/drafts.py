"""Drafts: edited with autosave, discarded; the signature comes after.

Every change of the page saves the whole draft, by htmx or by a button. What
cannot be used stores nothing and stays where it was typed.
"""

from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from cases import clock, lifecycle, policies, storage
from cases.errors import Invalid, StaleVersion
from cases.forms.commands import CommandForm
from cases.forms.core_words import people_text
from cases.forms.draft import AddUnitsForm
from cases.forms.unit_changes import add_units, change, flat_of
from cases.lifecycle import CaseState, Command
from cases.selectors.cases import case_detail, case_get
from cases.services import drafts
from cases.services.attachments import attachment_add
from cases.views.access import ActingRequest, acting_required
from cases.views.draft_sheet import Sheet
from cases.views.editing import LISTS, quadrants

__all__ = ["discard", "edit"]

LIVE, SAVE, SIGN, UPLOAD, ADD, KEEP = "live", "save", "sign", "upload", "add", "keep"


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def edit(request: ActingRequest, code: str) -> HttpResponse:
    """Show a draft, or save what was typed into it."""
    detail = case_detail(actor=request.actor, code=code)
    policies.require(request.actor, Command.EDIT_DRAFT)
    if request.method != "POST":
        lifecycle.next_state(CaseState(detail.case.state), Command.EDIT_DRAFT)
        return _show(request, Sheet(detail, request.actor), AddUnitsForm)
    action = request.POST.get("do", SAVE)
    sheet = Sheet(detail, request.actor, flat_of(request.POST))
    flat, add = _changed(request, sheet, action)
    if add is not None and not add.is_valid():
        return _show(request, sheet, add, status=422)
    sheet = Sheet(detail, request.actor, flat, instruments=sheet.instruments)
    saved = sheet.save(clock.now(), over=action == KEEP)
    refused = _upload(request, code) if saved and action == UPLOAD else []
    if saved and not refused and not request.htmx and action in (SAVE, SIGN, UPLOAD):
        if action == SIGN:
            name = "case_resubmit" if sheet.fixed else "case_submit"
            return redirect(name, code=code)
        messages.success(request, _("The draft is saved."))
        return redirect("case_edit_draft", code=code)
    if saved:
        sheet.detail = case_detail(actor=request.actor, code=code)
    return _show(request, sheet, AddUnitsForm, uploads=refused, action=action)


def _changed(
    request: ActingRequest, sheet: Sheet, action: str
) -> tuple[dict[str, str], AddUnitsForm | None]:
    """Return the texts after what was asked of the page; the form that adds teeth."""
    if action != ADD:
        return change(sheet.flat, action) or sheet.flat, None
    form = AddUnitsForm(request.POST, rule_set=sheet.rule_set)
    if not form.is_valid():
        return sheet.flat, form
    return add_units(sheet.flat, **form.cleaned_data), form


def _upload(request: ActingRequest, code: str) -> list[str]:
    """Attach the files; return what was refused, by name. The draft is saved."""
    files = request.FILES.getlist("files")
    refused = [] if files else [_("Choose a file first.")]
    for file in files:
        try:
            attachment_add(
                actor=request.actor,
                code=code,
                name=file.name or "",
                content=file.read(),
                internal=False,
                at=clock.now(),
            )
        except Invalid as error:
            told = people_text(error.fields[0], system=request.actor.tooth_system)
            refused.append(f"{file.name}: {told}")
    return refused


def _show(
    request: ActingRequest,
    sheet: Sheet,
    add: AddUnitsForm | type[AddUnitsForm],
    *,
    uploads: list[str] | None = None,
    action: str = "",
    status: int = 0,
) -> HttpResponse:
    form = add if isinstance(add, AddUnitsForm) else add(rule_set=sheet.rule_set)
    verdict = sheet.verdict()
    taken = {unit.tooth for unit in sheet.editor.units}
    faults = sheet.problems
    for error in uploads or ():
        faults.append({"href": "#id_files", "text": error})
    chosen = form.chosen if form.is_bound else set()
    context: dict[str, Any] = {
        "sheet": sheet,
        "case": sheet.detail.case,
        "detail": sheet.detail,
        "draft": sheet.form,
        "editor": sheet.editor,
        "add": form,
        "quadrants": quadrants(request.actor, chosen=chosen, taken=taken),
        "verdict": verdict,
        "faults": faults,
        "problems": [*faults, *_add_problems(form)],
        "uploads": uploads,
        "begun": bool(taken),
        "lists": LISTS,
    }
    template = "cases/draft.html"
    if request.htmx:
        live = action == LIVE
        template = (
            "cases/parts/_draft_live.html" if live else "cases/parts/_draft_units.html"
        )
    if uploads or form.errors:
        status = 422
    return render(request, template, context, status=status or sheet.status)


def _add_problems(form: AddUnitsForm) -> list[dict[str, str]]:
    return [
        {"href": f"#{bound.auto_id}", "text": str(error)}
        for bound in form
        for error in bound.errors
    ]


def _forget(keys: list[str]) -> None:
    for key in keys:
        storage.delete(key)


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def discard(request: ActingRequest, code: str) -> HttpResponse:
    """Ask, then delete a draft nobody else ever saw."""
    case = case_get(actor=request.actor, code=code)
    policies.require(request.actor, Command.DISCARD)
    lifecycle.next_state(CaseState(case.state), Command.DISCARD)
    form = CommandForm(request.POST or None, initial={"version": case.version})
    status, stale = 200, False
    if request.method == "POST" and form.is_valid():
        try:
            keys = drafts.case_discard(
                actor=request.actor, code=code, version=form.cleaned_data["version"]
            )
        except StaleVersion:
            form = CommandForm(initial={"version": case.version})
            status, stale = 412, True
        else:
            transaction.on_commit(partial(_forget, keys))
            messages.success(request, gettext_lazy("The draft is discarded."))
            return redirect("work")
    context = {"case": case, "form": form, "stale": stale}
    return render(request, "cases/discard.html", context, status=status)

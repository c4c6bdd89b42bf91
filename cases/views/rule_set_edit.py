"""Editing a draft's settings, span limits and charges."""

from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from cases import clock
from cases.errors import NotFound
from cases.forms.commands import LOOK
from cases.forms.rule_set_cells import body_of
from cases.forms.rule_set_rows import CHARGES, SPAN_LIMITS, RowsEditor
from cases.forms.rule_sets import SettingsForm
from cases.forms.vocabulary import term_choices
from cases.selectors.rule_sets import draft_get
from cases.services import rule_sets as services
from cases.views.access import ActingRequest, acting_required
from cases.views.rule_set_pages import (
    Page,
    both,
    looked,
    moved_on,
    save,
    show,
    version_of,
)
from rules.terms import Kind, Region

__all__ = ["charges", "settings", "span_limits"]


@both
@acting_required
def settings(request: ActingRequest, code: str) -> HttpResponse:
    """Edit name, version, decision rule and the methods' uncertainty."""
    draft = draft_get(actor=request.actor, code=code)
    if request.method != "POST":
        start = {**SettingsForm.stored(draft.document), "version": draft.version}
        form = SettingsForm(initial=start)
    else:
        form = SettingsForm(looked(request, draft))
    page = Page(draft, "rule_sets/settings.html", form, form["version"].value(), {})
    if request.method != "POST":
        return moved_on(request, draft) or show(request, page)
    if LOOK in request.POST:
        return show(request, page)

    def act() -> object:
        given = form.cleaned_data
        return services.draft_settings_save(
            actor=request.actor,
            code=code,
            version=given["version"],
            name=given["name"],
            label=given["label"],
            decision=form.decision(),
            methods=form.method_lines(),
            at=clock.now(),
        )

    target = reverse("rule_set_draft", args=[code])
    return save(request, page, act=act, target=target, done=_("Settings stored."))


def _rows_page(
    request: ActingRequest,
    draft: Any,
    editor: RowsEditor,
    template: str,
    context: dict[str, Any],
) -> Page:
    if request.method == "POST" and "add" in request.POST:
        editor.add()
    sent = looked(request, draft).get("version", "")
    version = sent if request.method == "POST" else draft.version
    return Page(draft, template, editor, version, context)


def _only_shows(request: ActingRequest) -> bool:
    """Whether a table was sent to be seen again: more rows, or the present version."""
    return "add" in request.POST or LOOK in request.POST


@both
@acting_required
def span_limits(request: ActingRequest, code: str, material: str) -> HttpResponse:
    """Edit how far one material reaches."""
    draft = draft_get(actor=request.actor, code=code)
    names = {row["key"]: row["label"] for row in draft.document["materials"]}
    if material not in names:
        raise NotFound
    stored = draft.document.get("span_limits", [])
    others = [row for row in stored if row["material"] != material]
    if request.method != "POST":
        mine = [row for row in stored if row["material"] == material]
        editor = RowsEditor.stored(mine, SPAN_LIMITS)
    else:
        editor = RowsEditor(body_of(request.POST), SPAN_LIMITS)
    editor.before = len(others)
    context = {
        "material": material,
        "material_name": _(names[material]),
        "regions": [("", "–"), *term_choices(Region)],
    }
    page = _rows_page(request, draft, editor, "rule_sets/span_limits.html", context)
    if request.method != "POST":
        return moved_on(request, draft) or show(request, page)
    if _only_shows(request):
        return show(request, page)
    lines = [{**line, "material": material} for line in editor.lines()]

    def act() -> object:
        return services.draft_span_limits_save(
            actor=request.actor,
            code=code,
            version=version_of(request.POST),
            span_limits=[*others, *lines],
            at=clock.now(),
        )

    target = reverse("rule_set_draft", args=[code])
    return save(request, page, act=act, target=target, done=_("Span limits stored."))


@both
@acting_required
def charges(request: ActingRequest, code: str) -> HttpResponse:
    """Edit what a change to a material costs: days and a sentence."""
    draft = draft_get(actor=request.actor, code=code)
    if request.method != "POST":
        editor = RowsEditor.stored(draft.document.get("charges", []), CHARGES)
    else:
        editor = RowsEditor(body_of(request.POST), CHARGES)
    materials = [(row["key"], _(row["label"])) for row in draft.document["materials"]]
    context = {"materials": [("", "–"), *materials], "kinds": term_choices(Kind)}
    page = _rows_page(request, draft, editor, "rule_sets/charges.html", context)
    if request.method != "POST":
        return moved_on(request, draft) or show(request, page)
    if _only_shows(request):
        return show(request, page)
    lines = editor.lines()

    def act() -> object:
        return services.draft_charges_save(
            actor=request.actor,
            code=code,
            version=version_of(request.POST),
            charges=lines,
            at=clock.now(),
        )

    target = reverse("rule_set_draft", args=[code])
    return save(request, page, act=act, target=target, done=_("Charges stored."))

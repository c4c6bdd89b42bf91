"""Editing the needs of one material, and how a thickness becomes a need."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock
from cases.errors import NotFound
from cases.forms.commands import LOOK
from cases.forms.rule_set_cells import body_of, length_of
from cases.forms.rule_set_lines import LinesEditor
from cases.forms.rule_set_words import built, place_choices
from cases.forms.vocabulary import Choices, term_choices
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
from rules.terms import (
    Cementation,
    Kind,
    OcclusalSurface,
    Position,
    Quantity,
    ToothClass,
)

__all__ = ["lines", "sum_of"]

_THICKNESS = "-thickness_mm"
# A thickness is entered as such and becomes a clearance; nobody measures it.
_MEASURED = [quantity for quantity in Quantity if quantity is not Quantity.THICKNESS]


def _offered() -> dict[str, Choices]:
    """Return what the cells of a line are chosen from."""
    return {
        "places": [("", "–"), *place_choices()],
        "quantities": [("", "–"), *term_choices(_MEASURED)],
        "kinds": term_choices(Kind),
        "cementations": [("", _("any")), *term_choices(Cementation)],
        "surfaces": [("", _("any")), *term_choices(OcclusalSurface)],
        "classes": term_choices(ToothClass),
        "positions": term_choices(Position),
    }


def _material(document: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    for row in document["materials"]:
        if row["key"] == key:
            found: Mapping[str, Any] = row
            return found
    raise NotFound


def _needs(document: Mapping[str, Any], material: str | None) -> list[dict[str, Any]]:
    return [need for need in document["needs"] if need["material"] == material]


def _stored(
    document: Mapping[str, Any], row: Mapping[str, Any], start: str
) -> LinesEditor:
    """Return the editor one begins with: own lines, those of the class, or blank ones."""
    decision = document["decision"]
    if own := _needs(document, row["key"]):
        return LinesEditor.stored(own, decision=decision)
    above = _needs(document, row.get("under"))
    if start == "class" and above:
        return LinesEditor.stored(above, decision=decision, kept=False)
    return LinesEditor.begun(decision=decision)


@both
@acting_required
def lines(request: ActingRequest, code: str, material: str) -> HttpResponse:
    """Edit all needs of one material in one form."""
    draft = draft_get(actor=request.actor, code=code)
    row = _material(draft.document, material)
    posted = request.method == "POST"
    if posted:
        body = body_of(request.POST)
        editor = LinesEditor(body, decision=draft.document["decision"])
    else:
        editor = _stored(draft.document, row, request.GET.get("start", ""))
    above = row.get("under")
    context = {
        "material": material,
        "material_name": _(row["label"]),
        "under": _(_material(draft.document, above)["label"]) if above else "",
        "bare": not _needs(draft.document, material),
        "offered": _offered(),
    }
    version = looked(request, draft).get("version", "") if posted else draft.version
    page = Page(draft, "rule_sets/lines.html", editor, version, context)
    if not posted:
        return moved_on(request, draft) or show(request, page)
    if "add" in request.POST:
        editor.add(request.POST["add"])
        return show(request, page)
    if LOOK in request.POST:
        return show(request, page)
    sent = editor.lines()

    def act() -> object:
        return services.draft_lines_save(
            actor=request.actor,
            code=code,
            version=version_of(request.POST),
            material=material,
            lines=sent,
            at=clock.now(),
        )

    target = reverse("rule_set_lines", args=[code, material])
    return save(request, page, act=act, target=target, done=_("Lines stored."))


@require_safe
@acting_required
def sum_of(request: ActingRequest, code: str) -> HttpResponse:
    """Return how the one thickness that was sent becomes a need, as plain text."""
    draft = draft_get(actor=request.actor, code=code)
    decision = {
        key: Decimal(text)
        for key, text in draft.document["decision"].items()
        if key in ("cement_space_mm", "adjustment_mm")
    }
    sent = [value for key, value in request.GET.items() if key.endswith(_THICKNESS)]
    thickness = length_of(str(sent[0])) if sent else None
    text = "" if thickness is None else built(thickness, decision)
    return HttpResponse(text, content_type="text/plain; charset=utf-8")

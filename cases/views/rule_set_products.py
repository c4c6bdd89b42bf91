"""Materials of a draft: a laboratory's own products, and what a class is."""

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from cases import clock
from cases.errors import NotFound
from cases.forms.commands import LOOK
from cases.forms.rule_set_products import MaterialForm, material_key
from cases.forms.rule_sets import VersionForm
from cases.selectors.rule_sets import draft_get, draft_rule_set
from cases.services import rule_sets as services
from cases.views.access import ActingRequest, acting_required
from cases.views.rule_set_pages import Page, both, looked, moved_on, save, show

if TYPE_CHECKING:
    from rules.requirements import Material, RuleSet

__all__ = ["material", "product_new", "remove"]


def _classes(rule_set: "RuleSet", apart_from: str = "") -> list["Material"]:
    return [m for m in rule_set.materials if m.under is None and m.key != apart_from]


@both
@acting_required
def product_new(request: ActingRequest, code: str) -> HttpResponse:
    """Add a product under a class; its lines come next."""
    draft = draft_get(actor=request.actor, code=code)
    classes = _classes(draft_rule_set(draft))
    start = {
        "version": draft.version,
        "under": request.GET.get("under", ""),
        "cementations": ["conventional", "adhesive"],
    }
    data = looked(request, draft) if request.method == "POST" else None
    form = MaterialForm(data, classes=classes, product=True, initial=start)
    page = Page(
        draft, "rule_sets/product.html", form, form["version"].value(), {"fresh": True}
    )
    if data is None:
        return moved_on(request, draft) or show(request, page)
    if LOOK in request.POST:
        return show(request, page)
    taken = [row["key"] for row in draft.document["materials"]]
    key = material_key(request.POST.get("label", ""), taken)

    def act() -> object:
        return services.draft_material_save(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            material=form.material(key, {}),
            at=clock.now(),
        )

    target = reverse("rule_set_lines", args=[code, key])
    done = _("Product added. Now enter its lines.")
    return save(request, page, act=act, target=target, done=done)


@both
@acting_required
def material(request: ActingRequest, code: str, material: str) -> HttpResponse:
    """Change what a material or product is."""
    draft = draft_get(actor=request.actor, code=code)
    stored = {row["key"]: row for row in draft.document["materials"]}
    if material not in stored:
        raise NotFound
    row = stored[material]
    start = {**MaterialForm.stored(row), "version": draft.version}
    data = looked(request, draft) if request.method == "POST" else None
    form = MaterialForm(
        data,
        classes=_classes(draft_rule_set(draft), apart_from=material),
        product="under" in row,
        initial=start,
    )
    context = {"material": material, "material_name": _(row["label"])}
    page = Page(draft, "rule_sets/product.html", form, form["version"].value(), context)
    if data is None:
        return moved_on(request, draft) or show(request, page)
    if LOOK in request.POST:
        return show(request, page)
    kept = {name: row[name] for name in ("provisional",) if name in row}

    def act() -> object:
        return services.draft_material_save(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            material=form.material(material, kept),
            at=clock.now(),
        )

    target = reverse("rule_set_draft", args=[code])
    return save(request, page, act=act, target=target, done=_("Stored."))


@both
@acting_required
def remove(request: ActingRequest, code: str, material: str) -> HttpResponse:
    """Ask, then remove a material with its lines, span limits and charges."""
    draft = draft_get(actor=request.actor, code=code)
    names = {row["key"]: row["label"] for row in draft.document["materials"]}
    if material not in names:
        if request.method == "POST":
            messages.info(request, _("It is gone already."))
            return redirect("rule_set_draft", code=code)
        raise NotFound
    data = looked(request, draft) if request.method == "POST" else None
    form = VersionForm(data, initial={"version": draft.version})
    document = draft.document
    context = {
        "material": material,
        "material_name": _(names[material]),
        "lines_count": sum(row["material"] == material for row in document["needs"]),
        "products": [
            row["label"]
            for row in document["materials"]
            if row.get("under") == material
        ],
    }
    page = Page(draft, "rule_sets/remove.html", form, form["version"].value(), context)
    if data is None:
        return moved_on(request, draft) or show(request, page)
    if LOOK in request.POST:
        return show(request, page)

    def act() -> object:
        return services.draft_material_remove(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            material=material,
            at=clock.now(),
        )

    target = reverse("rule_set_draft", args=[code])
    return save(request, page, act=act, target=target, done=_("Removed."))

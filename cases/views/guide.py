"""Chair guide: the plan before a preparation, for clinic and laboratory alike.

No case is needed and nothing is stored: what is planned stands in the address.
"""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases import clock
from cases.errors import Invalid
from cases.forms.guide import FACING, PLANNED, GuideSheet
from cases.forms.vocabulary import material_words, tooth_words
from cases.lifecycle import Command
from cases.policies import can
from cases.selectors.check_catalog import own_rule_set, rule_set_at
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.captions import within
from cases.views.editing import laboratories, quadrants
from cases.views.guide_rows import guide_text
from rules.requirements import RuleSet
from rules.terms import Antagonist, Kind, Relation, label

__all__ = ["guide", "guide_address"]

# Longer than any code; what is longer is no code.
_LONGEST = 60
_NAMES = (*PLANNED, *(f"facing-{name}" for name in FACING))


def guide_address(**stated: str) -> str:
    """Return the address of a plan; what is empty is left out."""
    known = {key: value for key, value in stated.items() if value}
    query = urlencode(known)
    return reverse("guide") + (f"?{query}" if query else "")


def _rules(
    actor: Actor, laboratory: str, partners: dict[str, tuple[str, str]]
) -> tuple[RuleSet, str, str]:
    """Return the rule set, the laboratory chosen, and why none could be."""
    at = clock.now()
    if not actor.is_clinic:
        return own_rule_set(actor=actor, at=at), "", ""
    chosen = laboratory or (next(iter(partners)) if len(partners) == 1 else "")
    try:
        return rule_set_at(actor=actor, at=at, laboratory=chosen), chosen, ""
    except Invalid as error:
        return rule_set_at(actor=actor, at=at), "", _(error.fields[0].message)


@require_safe
@acting_required
def guide(request: ActingRequest) -> HttpResponse:
    """Show what must pass where before the tooth is cut."""
    actor = request.actor
    flat = {name: request.GET.get(name, "").strip()[:_LONGEST] for name in _NAMES}
    partners = laboratories(actor) if actor.is_clinic else {}
    wanted = request.GET.get("laboratory", "").strip()[:_LONGEST]
    rule_set, chosen, unknown = _rules(actor, wanted, partners)
    sheet = GuideSheet(flat, rule_set=rule_set, system=actor.tooth_system)
    problems = list(sheet.problems)
    if unknown:
        problems.insert(0, {"href": "#id_laboratory", "text": unknown})
    context: dict[str, Any] = {
        "sheet": sheet,
        "rule_set": rule_set,
        "quadrants": quadrants(actor, chosen={sheet.tooth}),
        "shown": tooth_words(sheet.tooth, actor.tooth_system) if sheet.tooth else "",
        "laboratories": [(code, name) for code, (name, _d) in partners.items()],
        "laboratory": chosen,
        "laboratory_name": partners.get(chosen, ("", ""))[0],
        "problems": problems,
    }
    if sheet.plan is not None and not unknown:
        context |= {
            "text": guide_text(sheet.plan, system=actor.tooth_system),
            "making": _making(sheet),
            "chair_url": _chair_address(actor, sheet, chosen),
        }
    template = "cases/parts/_guide.html" if request.htmx else "cases/guide.html"
    return render(request, template, context, status=422 if problems else 200)


def _making(sheet: GuideSheet) -> str:
    """Return what is planned against what, in one line."""
    assert sheet.plan is not None  # noqa: S101 -- only called with a plan
    unit = sheet.plan.unit
    surface = unit.occlusal_surface.value if unit.occlusal_surface else None
    variant = (surface, unit.cementation.value)
    parts = [
        _(label(Kind(unit.kind))),
        within(material_words(sheet.rule_set, unit.material, variant)),
        "" if unit.relation is Relation.NORMAL else _(label(unit.relation)),
        ""
        if unit.antagonist in (Antagonist.NATURAL, Antagonist.NONE)
        else _("antagonist: {what}").format(what=_(label(unit.antagonist))),
    ]
    return ", ".join(part for part in parts if part)


def _chair_address(actor: Actor, sheet: GuideSheet, laboratory: str) -> str:
    """Return where the same unit is measured; only a clinic measures at the chair."""
    if not can(actor, Command.EDIT_DRAFT):
        return ""
    stated = {**sheet.stated(), "laboratory": laboratory}
    known = {key: value for key, value in stated.items() if value}
    return f"{reverse('chair_check')}?{urlencode(known)}"

"""How one verdict came about: need, readings, decision rule, other figures."""

from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.drawings.clearance_chart import Captions, mm_text
from cases.forms.vocabulary import position_words, tooth_words
from cases.selectors.explained import ExplainedSite, site_explained
from cases.views.access import ActingRequest, acting_required
from cases.views.captions import captions, said_in
from rules.numbers import plain
from rules.results import SiteCheck
from rules.terms import label

__all__ = ["why"]


@dataclass(frozen=True, slots=True)
class _Figure:
    """A figure for the need: chosen here, or what another source says."""

    least: str
    source: str
    note: str
    verdict: str
    chosen: bool


@require_safe
@acting_required
def why(
    request: ActingRequest, code: str, tooth: str, site: str, quantity: str
) -> HttpResponse:
    """Show the derivation of one site's verdict, as a page or as its part alone."""
    actor = request.actor
    found = site_explained(
        actor=actor, code=code, tooth=tooth, site=site, quantity=quantity
    )
    said = captions(tooth)
    context = {
        "case": found.case,
        "check": found.check,
        "found": found,
        "title": capfirst(_(found.site.label)),
        "tooth": tooth_words(tooth, actor.tooth_system),
        "verdict": found.site.verdict.value,
        "quantity": _(label(found.site.quantity)),
        "facts": _facts(found.site, said),
        "steps": [said_in(step, actor.tooth_system) for step in found.site.derivation],
        "figures": _figures(found, said),
        "part": bool(request.htmx),
    }
    template = "cases/parts/_derivation.html" if request.htmx else "cases/why.html"
    return render(request, template, context)


def _facts(site: SiteCheck, said: Captions) -> list[tuple[str, str]]:
    """Return the figures of a verdict; what does not exist is left out."""
    chance = site.conformance_probability
    rows = [
        (_("Need"), _mm(site.need_mm, said)),
        (_("Target"), _mm(site.target_mm, said)),
        (_("Measured"), _measured(site, said)),
        (
            _("Governing position"),
            position_words(site.governing_position or ""),
        ),
        (_("Conformance probability"), "" if chance is None else f"{chance:.3f}"),
    ]
    return [(name, value) for name, value in rows if value]


def _mm(value: Decimal | None, said: Captions) -> str:
    return "" if value is None else f"{mm_text(value, said)} {said.unit}"


def _measured(site: SiteCheck, said: Captions) -> str:
    if site.low_mm is None:
        return said.no_reading
    low = mm_text(site.low_mm, said)
    if site.is_point:
        return f"{low} {said.unit}, u = {plain(site.u_mm or Decimal(0))} {said.unit}"
    if site.high_mm is None:
        return said.at_least.format(low=f"{low} {said.unit}")
    high = mm_text(site.high_mm, said)
    return f"{said.between.format(low=low, high=high)} {said.unit}"


def _figures(found: ExplainedSite, said: Captions) -> list[_Figure]:
    """Return the figure chosen and, where sources disagree, the others beside it."""
    own = found.site.grounds.need.own
    if own is None or not found.alternatives:
        return []
    chosen = _Figure(
        mm_text(own.min_mm, said), own.source, own.note, found.site.verdict.value, True
    )
    rows = [(own.min_mm, chosen)]
    for other, verdict in found.alternatives:
        least = mm_text(other.min_mm, said)
        row = _Figure(least, other.source, other.note, verdict.value, False)
        rows.append((other.min_mm, row))
    return [row for _least, row in sorted(rows, key=lambda each: each[0])]

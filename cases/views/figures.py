"""A stored check as people see it: chart, table of sites, ways out.

Everything is taken from the check's own result (JSON, lengths in millimetres), so
that an old check shows as it was judged.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.drawings.clearance_chart import (
    Captions,
    ClearanceChart,
    SiteMark,
    chart_headers,
    chart_rows,
    clearance_chart,
)
from cases.forms.vocabulary import (
    material_words,
    tooth_words,
)
from cases.views.captions import captions, within
from cases.views.site_rows import SHORT, SiteRow, site_mark, site_row
from cases.views.ways import (
    OptionGroup,
    OptionRow,
    barred_groups,
    option_groups,
    option_rows,
    order_sentence,
)
from rules.teeth import arch, functional_row, is_anterior, is_right, tooth_class
from rules.terms import Arch, Kind, Relation, Site, label

if TYPE_CHECKING:
    from cases.models import Reading, Unit
    from cases.selectors.grounds import SiteGround
    from rules.requirements import RuleSet

__all__ = ["UnitPanel", "safe_svg", "unit_panel"]


@dataclass(frozen=True, slots=True)
class UnitPanel:
    """One unit of a case: what is made, its verdict, its picture, its ways out."""

    tooth: str
    label: str
    making: str
    detail: str
    verdict: str
    figures: tuple[Mapping[str, Any], ...]
    sites: tuple[SiteRow, ...]
    options: tuple[OptionRow, ...]

    @property
    def ways(self) -> tuple[OptionGroup, ...]:
        """Feasible ways out, grouped."""
        return option_groups([o for o in self.options if o.feasible])

    @property
    def barred(self) -> tuple[OptionGroup, ...]:
        """Ways out that are not feasible, with their reasons."""
        return barred_groups([o for o in self.options if not o.feasible])

    @property
    def barred_count(self) -> int:
        """How many ways out are not feasible."""
        return sum(not option.feasible for option in self.options)

    @property
    def order(self) -> str:
        """How the ways out are ordered, in one sentence."""
        return order_sentence()


def _described(marks: Sequence[SiteMark]) -> str:
    short = [m for m in marks if m.verdict in SHORT]
    if not short:
        return _("Every site is sufficient.")
    names = "; ".join(
        ", ".join(p for p in (m.label, m.verdict_word, m.shortage_text) if p)
        for m in short
    )
    return ngettext(
        "{count} of {all} sites is not sufficient: {names}.",
        "{count} of {all} sites are not sufficient: {names}.",
        len(short),
    ).format(count=len(short), all=len(marks), names=names)


def _figures(
    unit: "Unit", heading: str, marks: Sequence[SiteMark], said: Captions
) -> tuple[dict[str, Any], ...]:
    """Return the charts of a unit: a second one where a site is judged twice.

    An incisal edge may be judged as a clearance and as a reduction.
    """
    first = {mark.site: mark for mark in reversed(marks)}
    once = tuple(mark for mark in marks if first[mark.site] is mark)
    again = tuple(mark for mark in marks if first[mark.site] is not mark)
    return tuple(
        _figure(unit, heading, part, said, f"c{unit.pk}-{number}")
        for number, part in enumerate((once, again))
        if part
    )


def _figure(
    unit: "Unit",
    heading: str,
    marks: tuple[SiteMark, ...],
    said: Captions,
    uid: str,
) -> dict[str, Any]:
    """Return one chart in both widths and its equivalent table."""
    relation = Relation(unit.relation)
    chart = ClearanceChart(
        tooth=unit.tooth,
        # The page names the tooth above the chart; the number ties the two.
        tooth_label=heading.split(",")[0],
        arch="maxilla" if arch(unit.tooth) is Arch.UPPER else "mandible",
        side="right" if is_right(unit.tooth) else "left",
        tooth_class=tooth_class(unit.tooth).value,
        sites=marks,
        title=_("Clearance chart, {tooth}").format(tooth=heading),
        describe=_described(marks),
        uid=uid,
        captions=said,
        functional_buccal=None
        if is_anterior(unit.tooth)
        else functional_row(unit.tooth, relation) is Site.BUCCAL_CUSPS,
    )
    narrow = replace(chart, uid=f"{uid}-narrow")
    return {
        "title": "",
        "wide": safe_svg(clearance_chart(chart)),
        "stacked": safe_svg(clearance_chart(narrow, stacked=True)),
        "headers": chart_headers(chart),
        "rows": chart_rows(chart),
    }


def safe_svg(svg: str) -> SafeString:
    return mark_safe(svg)  # noqa: S308 -- the drawings escape every text in them


def unit_panel(
    unit: "Unit",
    *,
    result: Mapping[str, Any] | None,
    readings: Sequence["Reading"],
    grounds: Mapping[tuple[str, str], "SiteGround"],
    rule_set: "RuleSet",
    system: str,
    code: str = "",
) -> UnitPanel:
    """Return one unit as the page shows it; ``result`` None: not checked yet.

    ``code`` names the case whose check in force ``result`` is.
    """
    heading = tooth_words(unit.tooth, system)
    judged = next(
        (u for u in (result or {}).get("units", ()) if u["tooth"] == unit.tooth), None
    )
    variant = (unit.occlusal_surface, unit.cementation)
    said = captions(unit.tooth)
    own = [r for r in readings if r.tooth == unit.tooth]
    sites = judged["sites"] if judged else ()
    marks = [site_mark(site, unit.tooth, said) for site in sites]
    return UnitPanel(
        tooth=unit.tooth,
        label=heading,
        making=f"{_(label(Kind(unit.kind)))}, "
        f"{within(material_words(rule_set, unit.material, variant))}",
        detail=_details(unit),
        verdict=judged["verdict"] if judged else "",
        figures=_figures(unit, heading, marks, said),
        sites=tuple(
            site_row(s, unit, said, own, grounds.get((unit.tooth, s["site"])), code)
            for s in sites
        ),
        options=option_rows(
            judged["options"] if judged else (), rule_set=rule_set, tooth=unit.tooth
        ),
    )


def _details(unit: "Unit") -> str:
    """Return what else is said about a unit, only where it is not the usual."""
    parts = [
        _("shade {shade}").format(shade=unit.shade) if unit.shade else "",
        _("finish line: {form}").format(form=unit.finish_line.replace("_", " "))
        if unit.finish_line
        else "",
        _("span {span}").format(span=unit.span) if unit.span else "",
        "" if unit.relation == "normal" else _(label(Relation(unit.relation))),
        ""
        if unit.antagonist == "natural"
        else _("antagonist: {what}").format(what=unit.antagonist.replace("_", " ")),
    ]
    return " · ".join(part for part in parts if part)

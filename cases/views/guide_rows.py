"""A plan in words and as a picture, with every source named once."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from cases.drawings.clearance_chart import mm_text
from cases.drawings.plan_chart import PlanChart, PlanMark, PlanWords, plan_chart
from cases.forms.vocabulary import tooth_words
from cases.views.captions import captions, said_in
from rules.guide import Plan, PlanSite
from rules.guide_keep import keep_in_mind
from rules.guide_words import positions_said, sentences_for
from rules.teeth import arch, functional_row, is_anterior, is_right, tooth_class
from rules.terms import Arch, Quantity, Site, label

__all__ = ["GuideRow", "GuideText", "guide_text"]


@dataclass(frozen=True, slots=True)
class Other:
    """Another figure for a need, with the number of its source."""

    least: str
    note: str
    source: int


@dataclass(frozen=True, slots=True)
class GuideRow:
    """One line of the plan in words; lengths in mm without their unit."""

    label: str
    quantity: str
    least: str
    target: str
    required: str
    advised: str
    said: str
    note: str
    sources: tuple[int, ...]
    others: tuple[Other, ...]
    must: bool


@dataclass(frozen=True, slots=True)
class GuideText:
    """The plan as a page shows it; ``sources`` are numbered from 1."""

    rows: tuple[GuideRow, ...]
    unstated: tuple[str, ...]
    kept: tuple[tuple[str, int], ...]
    sources: tuple[str, ...]
    figure: dict[str, Any]

    @property
    def must(self) -> tuple[GuideRow, ...]:
        """What the check asks to be read."""
        return tuple(row for row in self.rows if row.must)

    @property
    def more(self) -> tuple[GuideRow, ...]:
        """What else has a need."""
        return tuple(row for row in self.rows if not row.must)


@dataclass(slots=True)
class _Sources:
    """Sources in the order they are named."""

    named: list[str] = field(default_factory=list)

    def number(self, source: str) -> int:
        """Return a source's number, a new one for a new source."""
        if source not in self.named:
            self.named.append(source)
        return self.named.index(source) + 1


def guide_text(plan: Plan, *, system: str) -> GuideText:
    """Return a plan in words, in the reader's tooth system."""
    sources = _Sources()
    rows = tuple(_row(plan, line, sources, system) for line in plan.stated)
    return GuideText(
        rows=rows,
        unstated=tuple(
            said_in(message, system)
            for line in plan.unstated
            for message in sentences_for(plan, line)
        ),
        kept=tuple(
            (said_in(one.text, system), sources.number(one.source))
            for one in keep_in_mind(plan)
        ),
        sources=tuple(sources.named),
        figure=_figure(plan, rows, system),
    )


def _row(plan: Plan, line: PlanSite, sources: _Sources, system: str) -> GuideRow:
    own, facing, tooth = line.need.own, line.need.facing, plan.unit.tooth
    said = captions(tooth)
    least, target = _least(line), line.need.target_mm
    stated = [each for each in (own, facing) if each is not None]
    return GuideRow(
        label=capfirst(said_in(line.label, system)),
        quantity=_(label(line.quantity)),
        least=mm_text(least, said),
        target=mm_text(target, said) if target is not None and target > least else "",
        required=said_in(positions_said(line.required, tooth), system),
        advised=said_in(positions_said(line.advised, tooth), system),
        said=" ".join(said_in(each, system) for each in sentences_for(plan, line)),
        note="; ".join(each.note for each in stated if each.note),
        sources=tuple(
            dict.fromkeys(sources.number(each.source) for each in stated)
        ),
        others=tuple(
            Other(
                mm_text(other.min_mm, said), other.note, sources.number(other.source)
            )
            for other in (own.alternatives if own else ())
        ),
        must=line.must,
    )  # fmt: skip


def _least(line: PlanSite) -> Decimal:
    """Return what is needed; a shared gap that is not known yet, its own part."""
    if line.need.min_mm is not None:
        return line.need.min_mm
    return line.need.own.min_mm if line.need.own else Decimal(0)


def _figure(plan: Plan, rows: Sequence[GuideRow], system: str) -> dict[str, Any]:
    """Return the drawing for a wide and for a narrow place."""
    unit = plan.unit
    upper = arch(unit.tooth) is Arch.UPPER
    chart = PlanChart(
        tooth=unit.tooth,
        arch="maxilla" if upper else "mandible",
        side="right" if is_right(unit.tooth) else "left",
        tooth_class=tooth_class(unit.tooth).value,
        marks=tuple(
            _mark(line, row) for line, row in zip(plan.stated, rows, strict=True)
        ),
        title=_("Plan for {tooth}").format(tooth=tooth_words(unit.tooth, system)),
        describe="; ".join(f"{r.label}: {r.quantity} {r.least} mm" for r in rows),
        uid="plan",
        words=_plan_words(unit.tooth),
        functional_buccal=None
        if is_anterior(unit.tooth)
        else functional_row(unit.tooth, unit.relation) is Site.BUCCAL_CUSPS,
    )
    narrow = replace(chart, uid="plan-narrow")
    return {
        "wide": _svg(plan_chart(chart)),
        "narrow": _svg(plan_chart(narrow, narrow=True)),
    }


def _svg(svg: str) -> SafeString:
    return mark_safe(svg)  # noqa: S308 -- the drawing escapes every text in it


def _mark(line: PlanSite, row: GuideRow) -> PlanMark:
    more = _("aim at {target} mm").format(target=row.target) if row.target else ""
    return PlanMark(
        sites=tuple(site.value for site in line.sites),
        label=row.label,
        quantity=line.quantity.value,
        least=row.least,
        more=more,
    )


def _plan_words(tooth: str) -> PlanWords:
    said = captions(tooth)
    return PlanWords(
        buccal=said.buccal,
        lingual=said.lingual,
        mesial=said.mesial,
        distal=said.distal,
        unit=said.unit,
        clearance=_("clearance to the antagonist"),
        reduction=_("reduction to the planned contour"),
        width=_(label(Quantity.WIDTH)),
    )

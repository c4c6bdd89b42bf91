"""A rule set as tables for people: needs by material, sites, positions, limits."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.forms.rule_set_words import (
    built,
    condition_words,
    kinds_words,
    listed,
    material_name,
    place_words,
)
from rules.requirements import (
    Charge,
    Material,
    Need,
    PositionRule,
    RequiredSites,
    RuleSet,
    SpanLimit,
)
from rules.terms import label
from rules.wording import exact, place

__all__ = ["MaterialTable", "RuleTables", "rule_tables", "span_words"]


@dataclass(frozen=True, slots=True)
class NeedRow:
    """One line of a table: sites with the same figures stand in one."""

    sites: str
    quantity: str
    least: str
    built: str
    target: str
    most: str
    positions: str
    source: str
    note: str
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NeedSection:
    """Lines that hold under the same conditions."""

    title: str
    rows: tuple[NeedRow, ...]


@dataclass(frozen=True, slots=True)
class MaterialTable:
    """Everything a rule set says of one material."""

    anchor: str
    name: str
    facts: tuple[tuple[str, str], ...]
    under: str
    sections: tuple[NeedSection, ...]
    spans: tuple[tuple[str, str, str], ...]
    charges: tuple[tuple[str, str, str], ...]
    lines: int


@dataclass(frozen=True, slots=True)
class RuleTables:
    """The whole set, for one page."""

    decision: tuple[tuple[str, str], ...]
    methods: tuple[tuple[str, str, str], ...]
    materials: tuple[MaterialTable, ...]
    required: tuple[tuple[str, str, str], ...]
    positions: tuple[tuple[str, str, str, str, str], ...]


def rule_tables(rule_set: RuleSet) -> RuleTables:
    """Return a rule set in words."""
    return RuleTables(
        decision=tuple(_decision(rule_set)),
        methods=tuple(
            (capfirst(_(label(line.method))), exact(line.u_mm), _(line.source))
            for line in rule_set.methods
        ),
        materials=tuple(
            _material(rule_set, material, number)
            for number, material in enumerate(rule_set.materials)
        ),
        required=tuple(_required(line) for line in rule_set.required_sites),
        positions=tuple(_position(line) for line in rule_set.positions),
    )


def _decision(rule_set: RuleSet) -> Iterator[tuple[str, str]]:
    k = exact(rule_set.k)
    if rule_set.k:
        words = _(
            "{k}: a reading of a point decides when it is {k} times its standard "
            "uncertainty away from the need, else the site stays undecided"
        ).format(k=k)
    else:
        words = _("0: simple acceptance, a point decides by its figure alone")
    yield _("Guard factor k"), words
    for name, figure in (
        (_("Strip tolerance, where a set states none"), rule_set.strip_delta_mm),
        (_("A dragging strip stands for, to each side"), rule_set.drag_mm),
        (_("Cement space, added to a thickness"), rule_set.cement_space_mm),
        (_("Adjustment allowance, added to a thickness"), rule_set.adjustment_mm),
    ):
        yield name, _("{mm} mm").format(mm=exact(figure))


def _material(rule_set: RuleSet, material: Material, number: int) -> MaterialTable:
    needs = [need for need in rule_set.needs if need.material == material.key]
    spans = [line for line in rule_set.span_limits if line.material == material.key]
    charges = [line for line in rule_set.charges if line.material == material.key]
    return MaterialTable(
        anchor=f"material-{number}",
        name=_(material.label),
        facts=tuple(_facts(material)),
        under=material_name(rule_set, material.under) if material.under else "",
        sections=tuple(_sections(rule_set, needs)),
        spans=tuple((span_words(s), _limit(s), _sourced(s)) for s in spans),
        charges=tuple(_charge(line) for line in charges),
        lines=len(needs),
    )


def _facts(material: Material) -> Iterator[tuple[str, str]]:
    if material.instructions:
        yield _("Instructions for use"), material.instructions
    yield _("Offered with, the usual one first"), listed(material.cementations)
    if material.occlusal_surfaces:
        surfaces = listed(material.occlusal_surfaces)
        yield _("Occlusal surfaces, the usual one first"), surfaces
    if material.iso_6872_class is not None:
        yield _("ISO 6872 class"), f"{material.iso_6872_class}"
    if material.iso_22674_type is not None:
        yield _("ISO 22674 type"), f"{material.iso_22674_type}"
    if material.strength_source:
        yield _("Source of class or type"), _(material.strength_source)


def _conditions(need: Need) -> dict[str, Any]:
    return {
        "kinds": need.kinds,
        "cementation": need.cementation,
        "occlusal_surface": need.occlusal_surface,
        "classes": need.classes,
    }


def _sections(rule_set: RuleSet, needs: Sequence[Need]) -> Iterator[NeedSection]:
    for conditions, lines in groupby(needs, key=_conditions):
        rows = [
            _need_row(rule_set, list(same)) for _key, same in groupby(lines, key=_says)
        ]
        yield NeedSection(condition_words(conditions), tuple(rows))


def _says(need: Need) -> tuple[object, ...]:
    """Return all of a line but its site: neighbours alike are shown as one."""
    return (
        need.quantity,
        need.min_mm,
        need.thickness_mm,
        need.target_mm,
        need.max_mm,
        need.positions,
        need.source,
        need.note,
        need.alternatives,
    )


def _need_row(rule_set: RuleSet, same: Sequence[Need]) -> NeedRow:
    need = same[0]
    allowances = {
        "cement_space_mm": rule_set.cement_space_mm,
        "adjustment_mm": rule_set.adjustment_mm,
    }
    return NeedRow(
        sites=capfirst(listed(line.site for line in same)),
        quantity=_(label(need.quantity)),
        least=exact(need.min_mm),
        built=""
        if need.thickness_mm is None
        else built(need.thickness_mm, allowances, need.min_mm),
        target=exact(need.target_mm),
        most="" if need.max_mm is None else exact(need.max_mm),
        positions=listed(need.positions),
        source=_(need.source),
        note=need.note,
        others=tuple(
            "; ".join(
                part for part in (f"{exact(a.min_mm)} mm", a.note, _(a.source)) if part
            )
            for a in need.alternatives
        ),
    )


def span_words(line: SpanLimit) -> str:
    """Return which spans a limit speaks of ("Posterior, 2 to 3 units")."""
    if line.units_from == line.units_to:
        units = ngettext("{n} unit", "{n} units", line.units_from).format(
            n=line.units_from
        )
    else:
        units = _("{least} to {most} units").format(
            least=line.units_from, most=line.units_to
        )
    parts = [capfirst(_(label(line.region))), units]
    parts += [_("with a cantilever")] if line.cantilever else []
    return ", ".join(parts)


def _limit(line: SpanLimit) -> str:
    if not line.allowed:
        return _("not indicated")
    parts = []
    if line.connector_mm2 is not None:
        area = exact(line.connector_mm2)
        parts.append(_("every connector at least {area} mm²").format(area=area))
    if line.last_place is not None:
        parts.append(
            _("no further than tooth {place} of a quadrant").format(
                place=line.last_place
            )
        )
    return ", ".join(parts) or _("indicated")


def _sourced(line: SpanLimit) -> str:
    return "; ".join(part for part in (_(line.source), line.note) if part)


def _charge(line: Charge) -> tuple[str, str, str]:
    days = ngettext("{n} day", "{n} days", line.days).format(n=line.days)
    return kinds_words(line.kinds) or _("All restorations"), days, line.charge


def _scope(line: RequiredSites | PositionRule, words: Iterable[str]) -> str:
    parts = [part for part in words if part]
    parts += [_(label(line.arch))] if line.arch else []
    parts += [listed(line.relations)] if line.relations else []
    return " · ".join(parts) or _("all")


def _required(line: RequiredSites) -> tuple[str, str, str]:
    scope = _scope(line, (kinds_words(line.kinds), listed(line.classes)))
    sites = ", ".join(place_words(site) for site in line.sites)
    return scope, sites, _(line.source)


def _position(line: PositionRule) -> tuple[str, str, str, str, str]:
    return (
        ", ".join(place_words(site) for site in line.sites),
        _scope(line, ()),
        ", ".join(_(place(name)) for name in line.required),
        ", ".join(_(place(name)) for name in line.advised),
        _(line.source),
    )

"""The difference between two rule sets, in words a laboratory manager reads.

Name and version aside: they differ between any two sets. The order is that of a rule
set's text, so that the same change is always told in the same place.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal

from rules.line_changes import (
    charge_changes,
    position_changes,
    required_changes,
    span_changes,
)
from rules.need_changes import need_changes
from rules.requirements import Material, RuleSet
from rules.scope import Scope, changed_lines
from rules.terms import Message, label
from rules.wording import Said, changed_facts, exact, labels, material_label

__all__ = ["Scope", "changed_lines", "differences"]


def _(text: str) -> str:
    return text


def differences(before: RuleSet, after: RuleSet) -> tuple[Message, ...]:
    """Return what changed from one rule set to another, one sentence each.

    Empty where both say the same, name and version aside; the order of lines and
    whether they stand in groups says nothing.
    """
    return (
        *_decision(before, after),
        *_methods(before, after),
        *_materials(before, after),
        *required_changes(before, after),
        *position_changes(before, after),
        *span_changes(before, after),
        *charge_changes(before, after),
        *need_changes(before, after),
    )


_DECISION: tuple[tuple[Callable[[RuleSet], Decimal], str], ...] = (
    (
        lambda rule_set: rule_set.k,
        _(
            "The guard factor k is {after} instead of {before}: it widens the zone in "
            "which a point reading decides nothing."
        ),
    ),
    (
        lambda rule_set: rule_set.strip_delta_mm,
        _("Strips are taken to be off by {after} mm instead of {before} mm."),
    ),
    (
        lambda rule_set: rule_set.drag_mm,
        _(
            "A dragging strip stands for {after} mm to each side instead of {before} mm."
        ),
    ),
    (
        lambda rule_set: rule_set.cement_space_mm,
        _(
            "The cement space is {after} mm instead of {before} mm: every need built "
            "from a wall's thickness changes by it."
        ),
    ),
    (
        lambda rule_set: rule_set.adjustment_mm,
        _(
            "The adjustment allowance is {after} mm instead of {before} mm: every need "
            "built from a wall's thickness changes by it."
        ),
    ),
)


def _decision(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    for figure, template in _DECISION:
        one, two = figure(before), figure(after)
        if one != two:
            yield Message(template, {"before": exact(one), "after": exact(two)})


def _methods(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    old = {line.method: line for line in before.methods}
    for two in sorted(after.methods, key=lambda line: list(old).index(line.method)):
        one = old[two.method]
        name: dict[str, Said] = {"method": label(two.method)}
        if one.u_mm != two.u_mm:
            yield Message(
                _(
                    "{method}: the standard uncertainty is {after} mm instead of "
                    "{before} mm."
                ),
                {**name, "before": exact(one.u_mm), "after": exact(two.u_mm)},
            )
        if one.source != two.source:
            facts = [(_("source"), one.source, two.source)]
            yield from changed_facts(name["method"], facts)


def _materials(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    old = {material.key: material for material in before.materials}
    new = {material.key: material for material in after.materials}
    for key in dict.fromkeys([*old, *new]):
        one, two = old.get(key), new.get(key)
        if one is not None and two is not None:
            yield from _material(before, after, one, two)
        elif two is not None:
            params: dict[str, Said] = {"material": two.label}
            template = _("New material: {material}.")
            if two.under:
                template = _("New product: {material}, under {class}.")
                params["class"] = material_label(after, two.under)
            yield Message(template, params)
        elif one is not None:
            yield Message(_("Material gone: {material}."), {"material": one.label})


def _material(
    before: RuleSet, after: RuleSet, one: Material, two: Material
) -> Iterator[Message]:
    def under(rule_set: RuleSet, material: Material) -> str:
        return material_label(rule_set, material.under) if material.under else ""

    facts: tuple[tuple[str, Said, Said], ...] = (
        (_("name"), one.label, two.label),
        (_("class it stands under"), under(before, one), under(after, two)),
        (
            _("cementations, the usual one first"),
            labels(one.cementations),
            labels(two.cementations),
        ),
        (
            _("occlusal surfaces, the usual one first"),
            labels(one.occlusal_surfaces),
            labels(two.occlusal_surfaces),
        ),
        (_("provisional"), _yes(one.provisional), _yes(two.provisional)),
        (_("instructions for use"), one.instructions, two.instructions),
        (_("ISO 6872 class"), _figure(one.iso_6872_class), _figure(two.iso_6872_class)),
        (
            _("ISO 22674 type"),
            _figure(one.iso_22674_type),
            _figure(two.iso_22674_type),
        ),
        (_("source of its strength"), one.strength_source, two.strength_source),
    )
    yield from changed_facts(two.label, facts)


def _yes(value: bool) -> str:
    return _("yes") if value else _("no")


def _figure(value: int | None) -> str:
    return "" if value is None else str(value)

"""The restorations a unit could have instead: every material, surface, cementation.

They depend on the rule set, the kind and the class of the tooth alone, so they are
worked out once and kept for the next unit alike.
"""

from dataclasses import dataclass, field
from functools import lru_cache

from rules.beams import METALS, iso_6872_class_needed, iso_22674_type_needed
from rules.needs import line_for
from rules.request import FacingUnit, Unit
from rules.requirements import Material, Need, RuleSet
from rules.teeth import CONTACT_FREE, arch, tooth_class
from rules.terms import (
    Arch,
    Cementation,
    Kind,
    Message,
    OcclusalSurface,
    Quantity,
    Relation,
    Retention,
    Site,
    ToothClass,
    label,
)

__all__ = ["Plan", "Variant", "VariantKey", "plan_for"]


def _(text: str) -> str:
    return text


VariantKey = tuple[str, OcclusalSurface | None, Cementation]


@dataclass(slots=True, eq=False)
class Variant:
    """One restoration a unit could have: its needs, its strength, its price.

    ``barred`` says that no line speaks of the kind (``known`` False). Standing alone
    the unit may be too ``weak`` in it, or ``unclassed``; in a span the span decides.
    ``charge`` is the laboratory's, or asks for it; ``days`` None: not stated. ``key``
    is what the variant is looked up by in another unit's plan.
    """

    rule_set: RuleSet
    relation: Relation
    key: VariantKey
    material: Material
    planned: FacingUnit
    known: bool
    barred: tuple[Message, ...]
    weak: tuple[Message, ...]
    unclassed: tuple[Message, ...]
    charge: Message
    days: int | None
    lines: dict[tuple[Site, Quantity], Need | None] = field(default_factory=dict)

    def line(self, site: Site, quantity: Quantity) -> Need | None:
        """Return the line of the rule set for a site in this restoration.

        Where the tooth meets nothing the clearance serves as the reduction to the
        planned contour (``rules.site_check.needed``).
        """
        place = (site, quantity)
        if place not in self.lines:
            wanted = [quantity]
            if quantity is Quantity.REDUCTION and self.relation in CONTACT_FREE:
                wanted.append(Quantity.CLEARANCE)
            lines = (
                line_for(self.rule_set, self.planned, self.relation, site, meant)
                for meant in wanted
            )
            self.lines[place] = next((line for line in lines if line), None)
        return self.lines[place]


Plan = dict[VariantKey, Variant]
_PlanKey = tuple[Kind, Arch, ToothClass, Relation, Retention | None]


@lru_cache(maxsize=16)
def _plans(digest: str) -> dict[_PlanKey, Plan]:
    """Return what was worked out for the rule set of a digest; empty at first."""
    return {}


def plan_for(rule_set: RuleSet, unit: Unit) -> Plan:
    """Return every restoration the rule set knows for such a unit, in its order."""
    plans = _plans(rule_set.digest)
    tooth = unit.tooth
    asked = (
        unit.kind,
        arch(tooth),
        tooth_class(tooth),
        unit.relation,
        unit.retention,
    )
    if asked not in plans:
        plans[asked] = {
            variant.key: variant
            for material in rule_set.materials
            for surface in material.occlusal_surfaces or (None,)
            for cementation in material.cementations
            for variant in [_variant(rule_set, unit, material, surface, cementation)]
        }
    return plans[asked]


def _variant(
    rule_set: RuleSet,
    unit: Unit,
    material: Material,
    surface: OcclusalSurface | None,
    cementation: Cementation,
) -> Variant:
    known = rule_set.has_needs(material.key, unit.kind)
    charge = rule_set.charge(material.key, unit.kind)
    weak, unclassed = _strength(rule_set, unit, material, cementation)
    said = Message(_ASK)
    if charge is not None:
        params = {"days": str(charge.days), "charge": charge.charge.rstrip(".")}
        said = Message(_CHARGE, params)
    barred = () if known else (Message(_NO_LINES, {"kind": label(unit.kind)}),)
    return Variant(
        rule_set=rule_set,
        relation=unit.relation,
        key=(material.key, surface, cementation),
        material=material,
        planned=FacingUnit(
            unit.tooth, unit.kind, material.key, cementation, surface, unit.retention
        ),
        known=known,
        barred=barred,
        weak=weak,
        unclassed=unclassed,
        charge=said,
        days=charge.days if charge else None,
    )


_NO_LINES = _("The rule set states no need for this material as {kind}.")
_ASK = _("Price and days: ask the laboratory.")
_CHARGE = _("By the laboratory's table: {days} days, {charge}.")


def _strength(
    rule_set: RuleSet, unit: Unit, material: Material, cementation: Cementation
) -> tuple[tuple[Message, ...], tuple[Message, ...]]:
    """Return why the material is too weak for a single unit here, and what is unknown."""
    params = {"kind": label(unit.kind), "material": material.label}
    metal = rule_set.iso_22674_type(material.key)
    if metal is not None:
        needed = iso_22674_type_needed(1, implants=unit.kind is Kind.IMPLANT_CROWN)
        if metal >= needed:
            return (), ()
        params |= {"needed": str(needed), "has": str(metal)}
        return (Message(_TYPE, params),), ()
    needed = iso_6872_class_needed([unit.tooth], unit.kind, cementation)
    has = rule_set.iso_6872_class(material.key)
    params |= {"needed": str(needed), "has": str(has)}
    if has is None:
        return (), _not_stated(rule_set, unit, material, params)
    return ((Message(_CLASS, params),) if has < needed else ()), ()


def _not_stated(
    rule_set: RuleSet, unit: Unit, material: Material, params: dict[str, str]
) -> tuple[Message, ...]:
    """Say what to ask of a strength the set does not state: an alloy's, a ceramic's."""
    if material.provisional:
        return ()
    if rule_set.class_of(material.key) in METALS:
        type_ = iso_22674_type_needed(1, implants=unit.kind is Kind.IMPLANT_CROWN)
        return (Message(_ALLOY, params | {"type": str(type_)}),)
    return (Message(_NO_CLASS, params),)


_ALLOY = _("The alloy must be of type {type} or higher (ISO 22674).")
_TYPE = _(
    "From the type (ISO 22674): a {kind} here asks for type {needed}, {material} is "
    "type {has}; the instructions for use decide."
)
_CLASS = _(
    "From the class (ISO 6872): a {kind} on this tooth, cemented so, asks for class "
    "{needed}, {material} is class {has}; the instructions for use decide."
)
_NO_CLASS = _(
    "The rule set states neither class nor type of its strength: the instructions for "
    "use say whether it is meant for this tooth."
)

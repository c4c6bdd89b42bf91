"""How far a material reaches: class or type, span limit, section of connectors.

Class and type are the material's (ISO 6872, ISO 22674), span limit and section the
rule set's. What no line speaks of is said to be unknown, never passed silently; the
instructions for use of the material at hand decide in every case.
"""

from dataclasses import dataclass
from decimal import Decimal

from rules.beams import (
    METALS,
    connector_areas,
    iso_6872_class_needed,
    iso_22674_type_needed,
)
from rules.explain import mm
from rules.request import Connector
from rules.requirements import RuleSet, SpanLimit
from rules.span_layout import Layout
from rules.terms import Message, Region

__all__ = ["Limits", "limits_of", "material_label"]


def _(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Limits:
    """What holds for a span in one material: what it breaks, what else to know.

    ``iso_6872_class_needed`` is None for a metal and a material of unknown strength,
    ``connector_mm2`` where no section is stated.
    """

    faults: tuple[Message, ...]
    notes: tuple[Message, ...]
    iso_6872_class_needed: int | None
    connector_mm2: Decimal | None


def material_label(rule_set: RuleSet, material: str) -> str:
    """Return a material's name in its rule set."""
    known = rule_set.material(material)
    return known.label if known else material


def limits_of(rule_set: RuleSet, layout: Layout, material: str) -> Limits:
    """Judge a span as if all its units were made of one material."""
    name = material_label(rule_set, material)
    faults: list[Message] = []
    notes: list[Message] = []
    needed = _strength(rule_set, layout, material, name, faults, notes)
    line = rule_set.span_limit(
        material, layout.region, len(layout.teeth), layout.cantilever
    )
    _reach(layout, line, name, faults, notes)
    section = line.connector_mm2 if line and line.allowed else None
    if section is not None:
        _connectors(layout, section, faults, notes)
    return Limits(tuple(faults), tuple(notes), needed, section)


def _strength(
    rule_set: RuleSet,
    layout: Layout,
    material: str,
    name: str,
    faults: list[Message],
    notes: list[Message],
) -> int | None:
    """Compare class or type with what the span asks for; return the class needed.

    None for a metal, and where the rule set states neither.
    """
    units = len(layout.teeth)
    params = {"units": str(units), "material": name}
    metal = rule_set.iso_22674_type(material)
    if metal is not None:
        asked = iso_22674_type_needed(units, implants=layout.implants)
        if metal < asked:
            params |= {"needed": str(asked), "has": str(metal)}
            faults.append(Message(_TYPE, params))
        return None
    first = layout.units[0]
    needed = iso_6872_class_needed(layout.teeth, first.kind, first.cementation)
    has = rule_set.iso_6872_class(material)
    params |= {"needed": str(needed)}
    if has is None:
        asked = iso_22674_type_needed(units, implants=layout.implants)
        params |= {"type": str(asked)}
        known = rule_set.material(material)
        if rule_set.class_of(material) in METALS:
            notes.append(Message(_ALLOY, params))
        elif known is None or not known.provisional:
            notes.append(Message(_NOT_STATED_STRENGTH, params))
        return None
    if has < needed:
        faults.append(Message(_CLASS, params | {"has": str(has)}))
    return needed


_TYPE = _(
    "From the type (ISO 22674): {units} units ask for type {needed}, {material} is "
    "type {has}. The instructions for use decide."
)
_ALLOY = _(
    "{units} units ask for an alloy of type {type} or higher (ISO 22674): the rule set "
    "does not state which alloy is used."
)
_CLASS = _(
    "From the class (ISO 6872): {units} units on these teeth ask for class {needed}, "
    "{material} is class {has}. The instructions for use decide."
)
_NOT_STATED_STRENGTH = _(
    "The rule set states neither class nor type of {material}: {units} units on these "
    "teeth ask for class {needed} of a ceramic (ISO 6872), type {type} of a metal "
    "(ISO 22674)."
)


# What the fault itself says is not said again as a note.
_SAID = "not indicated"


def _reach(
    layout: Layout,
    line: SpanLimit | None,
    name: str,
    faults: list[Message],
    notes: list[Message],
) -> None:
    params = {"units": str(len(layout.teeth)), "material": name}
    if line is None:
        notes.append(Message(_UNKNOWN[layout.region, layout.cantilever], params))
        return
    if not line.allowed:
        faults.append(Message(_NOT_INDICATED[layout.region, layout.cantilever], params))
    far = [t for t in layout.teeth if line.last_place and int(t[1]) > line.last_place]
    if far:
        params |= {"place": str(line.last_place), "teeth": ", ".join(far)}
        faults.append(Message(_TOO_FAR, params))
    if line.note and (line.allowed or line.note != _SAID):
        note = line.note.rstrip(".")
        notes.append(Message(_("The rule set notes: {note}."), {"note": note}))


_UNKNOWN = {
    (Region.ANTERIOR, False): _(
        "The rule set states no limit for an anterior span of {units} units in "
        "{material}: unknown here."
    ),
    (Region.ANTERIOR, True): _(
        "The rule set states no limit for an anterior cantilever of {units} units in "
        "{material}: unknown here."
    ),
    (Region.POSTERIOR, False): _(
        "The rule set states no limit for a posterior span of {units} units in "
        "{material}: unknown here."
    ),
    (Region.POSTERIOR, True): _(
        "The rule set states no limit for a posterior cantilever of {units} units in "
        "{material}: unknown here."
    ),
}
_NOT_INDICATED = {
    (Region.ANTERIOR, False): _(
        "An anterior span of {units} units in {material} is not indicated."
    ),
    (Region.ANTERIOR, True): _(
        "An anterior cantilever of {units} units in {material} is not indicated."
    ),
    (Region.POSTERIOR, False): _(
        "A posterior span of {units} units in {material} is not indicated."
    ),
    (Region.POSTERIOR, True): _(
        "A posterior cantilever of {units} units in {material} is not indicated."
    ),
}
_TOO_FAR = _(
    "In {material} such a span reaches no further than place {place} of a quadrant: "
    "{teeth} stands beyond."
)


def _connectors(
    layout: Layout, section: Decimal, faults: list[Message], notes: list[Message]
) -> None:
    stated = {connector.between: connector for connector in layout.connectors}
    missing = [pair for pair in layout.pairs if pair not in stated]
    for pair in layout.pairs:
        if pair in stated:
            _section(stated[pair], section, faults, notes)
    if missing:
        pairs = ", ".join("-".join(pair) for pair in missing)
        notes.append(Message(_NOT_STATED, {"pairs": pairs, "need": mm(section)}))


def _section(
    connector: Connector, need: Decimal, faults: list[Message], notes: list[Message]
) -> None:
    """Compare a connector with the section needed: short, sure, or by its shape."""
    least, most = connector_areas(connector.height_mm, connector.width_mm)
    params = {
        "pair": "-".join(connector.between),
        "height": mm(connector.height_mm),
        "width": mm(connector.width_mm),
        "least": mm(least),
        "most": mm(most),
        "need": mm(need),
    }
    if most < need:
        faults.append(Message(_SECTION_SHORT, params))
    else:
        notes.append(Message(_SECTION_SURE if least >= need else _BY_SHAPE, params))


_NOT_STATED = _(
    "Connector {pairs}: {need} mm² are needed; state height and width to check it."
)
_SECTION_SHORT = _(
    "Connector {pair}, {height} mm high and {width} mm wide: at most {most} mm², "
    "{need} mm² are needed."
)
_SECTION_SURE = _(
    "Connector {pair}: at least {least} mm² whatever its shape, of {need} mm² needed."
)
_BY_SHAPE = _(
    "Connector {pair}: between {least} mm² (elliptic) and {most} mm² (rectangular), "
    "of {need} mm² needed; enough only if it is nearly rectangular."
)

"""The check of every bridge of a request: limits, connectors, bending.

No site verdict depends on it: a span that breaks a limit may still have room.
"""

from collections.abc import Iterator
from decimal import Decimal

from rules.beams import deflection_index
from rules.explain import mm
from rules.request import Connector, Unit
from rules.requirements import RuleSet
from rules.results import SpanCheck
from rules.span_layout import Layout
from rules.span_limits import limits_of, material_label
from rules.teeth import is_right, wall_label
from rules.terms import Kind, Message, Wall

__all__ = ["check_span"]


def _(text: str) -> str:
    return text


_WITHOUT_WALLS = (Kind.PONTIC, Kind.IMPLANT_CROWN)


def check_span(rule_set: RuleSet, layout: Layout) -> SpanCheck:
    """Return what is known of one bridge, faults and notes as sentences."""
    materials = {unit.material for unit in layout.units}
    material = materials.pop() if len(materials) == 1 else None
    limits = limits_of(rule_set, layout, material) if material else None
    index = int(deflection_index(layout.pontics)) if layout.pontics else None
    faults = limits.faults if limits else (_mixed(rule_set, layout),)
    return SpanCheck(
        span=layout.span,
        teeth=layout.teeth,
        pontics=layout.pontics,
        cantilever=layout.cantilever,
        material=material,
        iso_6872_class_needed=limits.iso_6872_class_needed if limits else None,
        connector_mm2=limits.connector_mm2 if limits else None,
        deflection_index=index,
        faults=faults,
        notes=(*(limits.notes if limits else ()), *_notes(layout, index)),
    )


def _mixed(rule_set: RuleSet, layout: Layout) -> Message:
    planned = ", ".join(
        f"{unit.tooth} {material_label(rule_set, unit.material)}"
        for unit in layout.units
    )
    return Message(
        _("One span is made of one material; here stand {planned}."),
        {"planned": planned},
    )


def _notes(layout: Layout, index: int | None) -> Iterator[Message]:
    if layout.cantilever:
        ends = (layout.units[0], layout.units[-1])
        hanging = ", ".join(u.tooth for u in ends if u.kind is Kind.PONTIC)
        yield Message(_("A cantilever: the pontic {tooth} hangs."), {"tooth": hanging})
    if index is not None and layout.pontics > 1:
        yield Message(
            _(
                "{pontics} pontics in a row bend {index} times as much as one of the "
                "same height (law of beams); 26 % more height halves the bending."
            ),
            {"pontics": str(layout.pontics), "index": str(index)},
        )
    if layout.implants and any(
        unit.kind not in _WITHOUT_WALLS for unit in layout.units
    ):
        # Common practice, no source.
        yield Message(
            _("Teeth and implants carry this span together, and give differently.")
        )
    for connector in layout.connectors:
        yield from _heights(layout, connector)
    yield Message(
        _(
            "Take the class and the section of the connectors from the instructions "
            "for use of the material at hand."
        )
    )


def _heights(layout: Layout, connector: Connector) -> Iterator[Message]:
    """Say where a wall is shorter than the connector that leans on it.

    A connector is as high as crown height less embrasures at most; the wall of the
    preparation is the part of it that is known.
    """
    by_tooth = {unit.tooth: unit for unit in layout.units}
    for tooth, other in (connector.between, connector.between[::-1]):
        stated = _facing_wall(by_tooth[tooth], other == connector.between[1])
        if stated is not None and stated[1] < connector.height_mm:
            wall, height = stated
            yield Message(
                _(
                    "Connector {pair} is {connector} mm high, the {wall} of {tooth} "
                    "{height} mm: see that crown height less embrasures holds it."
                ),
                {
                    "pair": "-".join(connector.between),
                    "connector": mm(connector.height_mm),
                    "wall": wall_label(wall, tooth),
                    "tooth": tooth,
                    "height": mm(height),
                },
            )


def _facing_wall(unit: Unit, leftwards: bool) -> tuple[Wall, Decimal] | None:
    """Return the wall towards a neighbour, or the lowest one stated, and its height.

    To the patient's left of a right tooth lies the midline.
    """
    if unit.kind in _WITHOUT_WALLS or not unit.wall_heights_mm:
        return None
    facing = Wall.MESIAL if is_right(unit.tooth) is leftwards else Wall.DISTAL
    stated = dict(unit.wall_heights_mm)
    if facing in stated:
        return facing, stated[facing]
    return min(unit.wall_heights_mm, key=lambda wall: wall[1])

"""Readings of a unit, combined per site, quantity and jaw position."""

from collections.abc import Sequence
from typing import NamedTuple

from rules.readings import Combined, Reading, combine
from rules.request import Unit
from rules.requirements import RuleSet
from rules.teeth import CONTACT_FREE, quantity_at
from rules.terms import Position, Quantity, Relation, Site

__all__ = ["Measured", "measured_sites"]

_ORDER: dict[Position | None, int] = {None: 0}
_ORDER |= {position: index for index, position in enumerate(Position)}


class Measured(NamedTuple):
    """Readings of one site and quantity, combined per jaw position.

    They do not depend on the material, so judging a unit under another one does not
    combine them again. Positions stand in listed order, so that the order of entry
    changes no sentence. ``untouched``: the tooth meets nothing there, so that room to
    the antagonist proves no room for the restoration.
    """

    site: Site
    quantity: Quantity
    readings: tuple[Reading, ...]
    positions: tuple[tuple[Position | None, Combined], ...]
    untouched: bool = False


def measured_sites(rule_set: RuleSet, unit: Unit) -> tuple[Measured, ...]:
    """Combine everything that was read on a unit."""
    found: dict[tuple[Site, Quantity], list[Reading]] = {}
    meant: dict[tuple[Site, bool], Quantity] = {}
    for reading in unit.readings:
        asked = (reading.site, reading.position is not None)
        if asked not in meant:
            meant[asked] = quantity_at(
                asked[0], unit.tooth, unit.relation, positioned=asked[1]
            )
        found.setdefault((reading.site, meant[asked]), []).append(reading)
    return tuple(
        Measured(
            site,
            quantity,
            tuple(readings),
            _positions(rule_set, readings),
            unit.relation in CONTACT_FREE
            and quantity is Quantity.CLEARANCE
            and (site, Quantity.REDUCTION) not in found
            and _untouched(unit.relation, readings),
        )
        for (site, quantity), readings in found.items()
    )


def _positions(
    rule_set: RuleSet, readings: Sequence[Reading]
) -> tuple[tuple[Position | None, Combined], ...]:
    grouped: dict[Position | None, list[Reading]] = {}
    for reading in readings:
        grouped.setdefault(reading.position, []).append(reading)
    delta, drag, u_of = (
        rule_set.strip_delta_mm,
        rule_set.drag_mm,
        rule_set.u_by_method,
    )
    return tuple(
        (position, combine(grouped[position], delta=delta, drag=drag, u_of=u_of))
        for position in sorted(grouped, key=_ORDER.__getitem__)
    )


def _untouched(relation: Relation, readings: Sequence[Reading]) -> bool:
    """In an open bite an excursion shows contact, in a scissor bite nothing does."""
    return relation is Relation.SCISSOR or all(
        reading.position is Position.MAXIMAL_INTERCUSPATION for reading in readings
    )

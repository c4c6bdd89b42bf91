"""What units of one request must agree on: teeth, spans, connectors, shared gaps."""

from collections.abc import Sequence

from rules.reader import Faults, at
from rules.request import Connector, FacingUnit, Unit
from rules.teeth import arch, arch_order
from rules.terms import Kind

__all__ = ["check_connectors", "check_together"]


def _(text: str) -> str:
    return text


_Placed = Sequence[tuple[str, Unit]]
_IN_SPANS = frozenset(set(Kind) - {Kind.VENEER})


def check_together(faults: Faults, units: _Placed) -> None:
    """Note faults between units; each comes with the pointer it was read at."""
    _check_teeth(faults, units)
    spans: dict[str, list[tuple[str, Unit]]] = {}
    for pointer, unit in units:
        if unit.span is not None:
            spans.setdefault(unit.span, []).append((pointer, unit))
    for members in spans.values():
        _check_span(faults, members)
    _check_gaps(faults, units)


def _check_teeth(faults: Faults, units: _Placed) -> None:
    seen: set[str] = set()
    for pointer, unit in units:
        if unit.tooth in seen:
            faults.add(
                at(pointer, "tooth"),
                _("Tooth {tooth} stands twice: one unit for each tooth."),
                tooth=unit.tooth,
            )
        seen.add(unit.tooth)


def _check_span(faults: Faults, members: _Placed) -> None:
    """A bridge stands in one arch, follows it without a gap, and has an abutment."""
    ordered = sorted(members, key=lambda member: arch_order(member[1].tooth))
    for (_pointer, before), (pointer, after) in zip(ordered, ordered[1:], strict=False):
        params = {"before": before.tooth, "after": after.tooth}
        if arch(before.tooth) is not arch(after.tooth):
            faults.add(
                at(pointer, "span"),
                _("A span stays in one jaw: {before} and {after} do not."),
                **params,
            )
            return
        if arch_order(after.tooth) - arch_order(before.tooth) > 1:
            faults.add(
                at(pointer, "span"),
                _("The span jumps from {before} to {after}: add what lies between."),
                **params,
            )
    for pointer, unit in members:
        if unit.kind not in _IN_SPANS:
            faults.add(
                at(pointer, "span"),
                _("A {kind} is no part of a span: leave the span out."),
                kind=unit.kind.value,
            )
    if len(members) > 1 and all(unit.kind is Kind.PONTIC for _p, unit in members):
        faults.add(
            at(members[0][0], "span"),
            _("A span of pontics alone stands on nothing: add its retainers."),
        )


def check_connectors(
    faults: Faults, connectors: Sequence[tuple[str, Connector]], units: Sequence[Unit]
) -> None:
    """A connector joins two neighbours of one span, and each pair is stated once.

    Neighbours follow the arch: 11 and 21 are such, 12 and 21 are not.
    """
    spans = {unit.tooth: unit.span for unit in units}
    seen: set[tuple[str, str]] = set()
    for pointer, connector in connectors:
        first, second = connector.between
        where, params = at(pointer, "between"), {"first": first, "second": second}
        strangers = [tooth for tooth in connector.between if tooth not in spans]
        if strangers:
            faults.add(
                where,
                _("Tooth {tooth} is no unit of this request."),
                tooth=strangers[0],
            )
        elif spans[first] is None or spans[first] != spans[second]:
            faults.add(where, _("{first} and {second} are not of one span."), **params)
        elif arch_order(second) - arch_order(first) != 1:
            faults.add(where, _("{first} and {second} are not neighbours."), **params)
        elif connector.between in seen:
            faults.add(
                where,
                _("The connector {first} to {second} stands twice."),
                **params,
            )
        seen.add(connector.between)


def _check_gaps(faults: Faults, units: _Placed) -> None:
    """A facing unit that is also a unit of the request must be the same there."""
    by_tooth = {unit.tooth: unit for _pointer, unit in units}
    for pointer, unit in units:
        for index, facing in enumerate(unit.antagonists):
            other = by_tooth.get(facing.tooth)
            if other is None:
                continue
            where = at(at(pointer, "antagonists"), index)
            if facing != _as_facing(other):
                faults.add(
                    where,
                    _("Tooth {tooth} is planned otherwise among the units."),
                    tooth=facing.tooth,
                )
            if other.relation is not unit.relation:
                faults.add(
                    at(pointer, "relation"),
                    _("Teeth {tooth} and {other} state different relations."),
                    tooth=unit.tooth,
                    other=other.tooth,
                )


def _as_facing(unit: Unit) -> FacingUnit:
    return FacingUnit(
        unit.tooth,
        unit.kind,
        unit.material,
        unit.cementation,
        unit.occlusal_surface,
    )

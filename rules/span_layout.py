"""The shape of a bridge: its units along the arch, pontics, ends, connectors."""

from collections.abc import Sequence
from dataclasses import dataclass

from rules.request import Connector, Unit
from rules.teeth import arch_order, is_anterior
from rules.terms import Kind, Region

__all__ = ["Layout", "span_layouts"]


@dataclass(frozen=True, slots=True)
class Layout:
    """One span of a request; ``units`` follow the arch across the midline.

    ``pontics`` is the longest run of neighbouring pontics; a ``cantilever`` has a
    pontic at an end. ``connectors`` are those stated, each between two neighbours.
    """

    span: str
    units: tuple[Unit, ...]
    teeth: tuple[str, ...]
    pontics: int
    cantilever: bool
    region: Region
    connectors: tuple[Connector, ...]

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Every two neighbours, between which a connector stands."""
        return tuple(zip(self.teeth, self.teeth[1:], strict=False))

    @property
    def implants(self) -> bool:
        """Whether any unit stands on an implant."""
        return any(unit.kind is Kind.IMPLANT_CROWN for unit in self.units)


def span_layouts(
    units: Sequence[Unit], connectors: Sequence[Connector]
) -> tuple[Layout, ...]:
    """Return the spans of a request, in the order their first unit was written."""
    found: dict[str, list[Unit]] = {}
    for unit in units:
        if unit.span is not None:
            found.setdefault(unit.span, []).append(unit)
    return tuple(_layout(span, members, connectors) for span, members in found.items())


def _layout(span: str, members: list[Unit], connectors: Sequence[Connector]) -> Layout:
    ordered = tuple(sorted(members, key=lambda unit: arch_order(unit.tooth)))
    teeth = tuple(unit.tooth for unit in ordered)
    ends = {ordered[0].kind, ordered[-1].kind}
    anterior = all(is_anterior(tooth) for tooth in teeth)
    return Layout(
        span=span,
        units=ordered,
        teeth=teeth,
        pontics=_longest_run(ordered),
        cantilever=len(ordered) > 1 and Kind.PONTIC in ends,
        region=Region.ANTERIOR if anterior else Region.POSTERIOR,
        connectors=tuple(c for c in connectors if set(c.between) <= set(teeth)),
    )


def _longest_run(units: Sequence[Unit]) -> int:
    longest = run = 0
    for unit in units:
        run = run + 1 if unit.kind is Kind.PONTIC else 0
        longest = max(longest, run)
    return longest

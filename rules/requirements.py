"""A rule set: the lines a laboratory works by, and how they are looked up.

A rule set is immutable. Its digest is the SHA-256 of its canonical form (sorted
keys, no spaces, decimals as plain text), so that any check can name exactly the
needs it was made under. All lengths are millimetres. A product stands ``under`` a
class: where it has no line of its own for a question, the class's line answers.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from rules.line_types import (
    NON_WORKING,
    WORKING,
    Alternative,
    Charge,
    Material,
    MethodDefault,
    Need,
    NeedKey,
    PositionRule,
    RequiredSites,
    SpanLimit,
    dump_line,
)
from rules.readings import plain
from rules.teeth import tooth_class, working_side
from rules.terms import Kind, Method, Position, Quantity, Region, Relation, Role, Site

__all__ = [
    "NON_WORKING",
    "WORKING",
    "Alternative",
    "Charge",
    "Material",
    "MethodDefault",
    "Need",
    "NeedKey",
    "PositionRule",
    "RequiredSites",
    "RuleSet",
    "SpanLimit",
]

# A site without a line of its own takes the line of the site it belongs to.
_STANDS_FOR = {
    Site.FUNCTIONAL_CUSP_BEVEL: Role.FUNCTIONAL_CUSP.value,
    Site.MARGINAL_RIDGE: Site.CENTRAL_FOSSA.value,
}
_Positions = tuple[tuple[Position, ...], tuple[Position, ...]]


@dataclass(frozen=True)
class RuleSet:
    """A laboratory's needs under one name and version.

    ``k`` times u is the guard band of the decision rule. ``strip_delta_mm`` widens
    every strip interval, ``drag_mm`` is the half-width a dragging strip stands for.
    Answers are kept once found: a set never changes, and one check asks hundreds of
    times.
    """

    name: str
    version: str
    k: Decimal
    strip_delta_mm: Decimal
    drag_mm: Decimal
    cement_space_mm: Decimal
    adjustment_mm: Decimal
    materials: tuple[Material, ...]
    methods: tuple[MethodDefault, ...]
    needs: tuple[Need, ...]
    required_sites: tuple[RequiredSites, ...]
    positions: tuple[PositionRule, ...]
    span_limits: tuple[SpanLimit, ...] = ()
    charges: tuple[Charge, ...] = ()

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hex) of the canonical form."""
        return hashlib.sha256(self.canonical.encode()).hexdigest()

    @cached_property
    def canonical(self) -> str:
        """The canonical JSON text: one text for one content."""
        return json.dumps(
            self.dump(), sort_keys=True, separators=(",", ":"), ensure_ascii=False
        )

    @cached_property
    def _by_site(self) -> dict[tuple[str, str, Quantity], tuple[Need, ...]]:
        found: dict[tuple[str, str, Quantity], list[Need]] = {}
        for need in self.needs:
            place = (need.material, need.site, need.quantity)
            found.setdefault(place, []).append(need)
        return {place: tuple(lines) for place, lines in found.items()}

    @cached_property
    def _kinds(self) -> dict[str, frozenset[Kind]]:
        found: dict[str, set[Kind]] = {}
        for need in self.needs:
            found.setdefault(need.material, set()).update(need.kinds)
        return {material: frozenset(kinds) for material, kinds in found.items()}

    @cached_property
    def _cemented(self) -> frozenset[str]:
        """Materials with a line that holds for one cementation only."""
        return frozenset(n.material for n in self.needs if n.cementation is not None)

    @cached_property
    def _materials(self) -> dict[str, Material]:
        return {material.key: material for material in self.materials}

    # What was asked before. A tooth is kept by its class, so these stay small.
    @cached_property
    def _found(self) -> dict[tuple[object, ...], Need | None]:
        return {}

    @cached_property
    def _required(self) -> dict[tuple[str, Kind, Relation], tuple[Site, ...]]:
        return {}

    @cached_property
    def _positions(self) -> dict[tuple[Site, str, Relation], _Positions]:
        return {}

    @cached_property
    def u_by_method(self) -> dict[Method, Decimal]:
        """Default standard uncertainty in mm of every point method."""
        return {default.method: default.u_mm for default in self.methods}

    def material(self, key: str) -> Material | None:
        """Return a material of the set; None where the set lacks it."""
        return self._materials.get(key)

    def class_of(self, material: str) -> str:
        """Return the class a product stands under; a class is its own."""
        known = self._materials.get(material)
        return known.under if known and known.under else material

    def _lineage(self, material: str) -> tuple[str, ...]:
        """Return the keys whose lines hold for a material, its own first."""
        under = self.class_of(material)
        return (material,) if under == material else (material, under)

    def iso_6872_class(self, material: str) -> int | None:
        """Return the strength class of a ceramic (ISO 6872); a product's own first."""
        stated = self._stated(material)
        return next((m.iso_6872_class for m in stated if m.iso_6872_class), None)

    def iso_22674_type(self, material: str) -> int | None:
        """Return the type of a metal (ISO 22674, 0 to 5); a product's own first."""
        types = (m.iso_22674_type for m in self._stated(material))
        return next((found for found in types if found is not None), None)

    def _stated(self, material: str) -> Sequence[Material]:
        keys = self._lineage(material)
        return [self._materials[key] for key in keys if key in self._materials]

    def find_need(self, key: NeedKey) -> Need | None:
        """Return the most precise line for a key; None where the set has none.

        A product's own lines win over its class's. A line of the site's own wins over
        the line of its cusp role, but a screw-retained platform's over the platform's;
        the bevel falls back on the functional cusp, the
        marginal ridge on the fossa.
        """
        asked = (
            key.material,
            key.site,
            key.quantity,
            key.kind,
            key.cementation,
            key.occlusal_surface,
            key.role,
            tooth_class(key.tooth),
        )
        if asked not in self._found:
            self._found[asked] = self._search(key)
        return self._found[asked]

    def _search(self, key: NeedKey) -> Need | None:
        names: list[str] = [key.site.value]
        names += [key.role.value] if key.role else []
        # A screw needs no abutment height: its line comes before the platform's own.
        if key.role is Role.SCREWED_PLATFORM:
            names.reverse()
        names += [_STANDS_FOR[key.site]] if key.site in _STANDS_FOR else []
        for material in self._lineage(key.material):
            for name in names:
                lines = self._by_site.get((material, name, key.quantity), ())
                fitting = [line for line in lines if line.fits(key)]
                if fitting:
                    return max(fitting, key=lambda line: line.precision)
        return None

    def has_needs(self, material: str, kind: Kind) -> bool:
        """Tell whether any line speaks of this material for this kind."""
        return any(kind in self._kinds.get(k, ()) for k in self._lineage(material))

    def cementation_matters(self, material: str) -> bool:
        """Tell whether a material's needs differ by cementation."""
        return not self._cemented.isdisjoint(self._lineage(material))

    def span_limit(
        self, material: str, region: Region, units: int, cantilever: bool
    ) -> SpanLimit | None:
        """Return the limit of a span of so many units; None where none is stated."""
        for key in self._lineage(material):
            for line in self.span_limits:
                if line.material == key and line.speaks_of(region, units, cantilever):
                    return line
        return None

    def charge(self, material: str, kind: Kind) -> Charge | None:
        """Return what a change to a material costs; a line naming the kind wins."""
        for key in self._lineage(material):
            lines = [c for c in self.charges if c.material == key]
            lines = [c for c in lines if not c.kinds or kind in c.kinds]
            if lines:
                return max(lines, key=lambda line: bool(line.kinds))
        return None

    def required(self, tooth: str, kind: Kind, relation: Relation) -> tuple[Site, ...]:
        """Return the sites that must be read on a unit, in listing order."""
        asked = (tooth, kind, relation)
        if asked not in self._required:
            wanted = {
                site
                for line in self.required_sites
                if line.speaks_of(tooth, kind, relation)
                for site in line.sites
            }
            self._required[asked] = tuple(site for site in Site if site in wanted)
        return self._required[asked]

    def positions_for(self, site: Site, tooth: str, relation: Relation) -> _Positions:
        """Return the required and the advised jaw positions of a clearance."""
        asked = (site, tooth, relation)
        if asked not in self._positions:
            lines = [p for p in self.positions if p.speaks_of(site, tooth, relation)]
            required = _resolve((name for p in lines for name in p.required), tooth)
            advised = _resolve((name for p in lines for name in p.advised), tooth)
            rest = tuple(p for p in advised if p not in required)
            self._positions[asked] = required, rest
        return self._positions[asked]

    def dump(self) -> dict[str, object]:
        """Return the set as JSON values; ``rules.parse`` reads it back equal.

        What a set does not have is left out, so that a set without span limits keeps
        the digest it had before they existed.
        """
        lists = {
            "materials": self.materials,
            "methods": self.methods,
            "needs": self.needs,
            "required_sites": self.required_sites,
            "positions": self.positions,
        }
        later = {"span_limits": self.span_limits, "charges": self.charges}
        lists |= {name: lines for name, lines in later.items() if lines}
        return {
            "name": self.name,
            "version": self.version,
            "decision": {
                "k": plain(self.k),
                "strip_delta_mm": plain(self.strip_delta_mm),
                "drag_mm": plain(self.drag_mm),
                "cement_space_mm": plain(self.cement_space_mm),
                "adjustment_mm": plain(self.adjustment_mm),
            },
            **{
                name: [dump_line(line) for line in lines]
                for name, lines in lists.items()
            },
        }


def _resolve(names: Iterable[str], tooth: str) -> tuple[Position, ...]:
    working = working_side(tooth)
    sides = {Position.RIGHT_LATEROTRUSION, Position.LEFT_LATEROTRUSION} - {working}
    meant = {WORKING: working, NON_WORKING: sides.pop()}
    wanted = {meant.get(name) or Position(name) for name in names}
    return tuple(position for position in Position if position in wanted)

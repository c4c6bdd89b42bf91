"""Types of a rule set: materials, needs, required sites and jaw positions.

A rule set is immutable. Its digest is the SHA-256 of its canonical form (sorted
keys, no spaces, decimals as plain text), so that any check can name exactly the
needs it was made under. All lengths are millimetres.
"""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from rules.readings import plain
from rules.teeth import arch, tooth_class, working_side
from rules.terms import (
    Arch,
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Region,
    Relation,
    Role,
    Site,
    ToothClass,
)

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

# Written in position rules; which laterotrusion it is depends on the tooth's side.
WORKING = "working_side"
NON_WORKING = "non_working_side"

# A site without a line of its own takes the line of the site it belongs to.
_STANDS_FOR = {
    Site.FUNCTIONAL_CUSP_BEVEL: Role.FUNCTIONAL_CUSP.value,
    Site.MARGINAL_RIDGE: Site.CENTRAL_FOSSA.value,
}


@dataclass(frozen=True, slots=True)
class Material:
    """A material class, or a laboratory's own product under one.

    ``under`` names the class of a product: where the product has no line of its own,
    the class's holds. ``instructions`` names the instructions for use its own lines
    come from. ``iso_6872_class`` (ceramics) and ``iso_22674_type`` (metals) bound the
    spans it may be used for, with ``strength_source`` as where they come from.
    """

    key: str
    label: str
    cementations: tuple[Cementation, ...]
    occlusal_surfaces: tuple[OcclusalSurface, ...] = ()
    provisional: bool = False
    under: str | None = None
    instructions: str = ""
    iso_6872_class: int | None = None
    iso_22674_type: int | None = None
    strength_source: str = ""

    @property
    def usual_cementation(self) -> Cementation:
        """The cementation meant when none is written: the first listed."""
        return self.cementations[0]

    @property
    def usual_surface(self) -> OcclusalSurface | None:
        """The occlusal surface meant when none is written: the first listed."""
        return self.occlusal_surfaces[0] if self.occlusal_surfaces else None


@dataclass(frozen=True, slots=True)
class MethodDefault:
    """Standard uncertainty of a point method, where a reading states none."""

    method: Method
    u_mm: Decimal
    source: str


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another figure for the same need, where sources disagree."""

    min_mm: Decimal
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Need:
    """One line: what a material needs at a site or cusp role.

    ``thickness_mm`` is set where the line came from an instruction for use;
    ``min_mm`` is then that thickness plus cement space and adjustment allowance.
    ``positions`` overrules the rule set's required positions when not empty.
    """

    material: str
    kinds: tuple[Kind, ...]
    site: str
    quantity: Quantity
    min_mm: Decimal
    target_mm: Decimal
    source: str
    cementation: Cementation | None = None
    occlusal_surface: OcclusalSurface | None = None
    classes: tuple[ToothClass, ...] = ()
    max_mm: Decimal | None = None
    thickness_mm: Decimal | None = None
    positions: tuple[Position, ...] = ()
    note: str = ""
    alternatives: tuple[Alternative, ...] = ()

    @property
    def precision(self) -> int:
        """How many optional conditions the line states; the most precise wins."""
        stated = (self.cementation, self.occlusal_surface, self.classes or None)
        return sum(condition is not None for condition in stated)


@dataclass(frozen=True, slots=True)
class NeedKey:
    """What a need is looked up by."""

    material: str
    kind: Kind
    cementation: Cementation
    occlusal_surface: OcclusalSurface | None
    tooth: str
    site: Site
    role: Role | None
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class RequiredSites:
    """Sites that must be read on the units a line speaks of; empty means any."""

    sites: tuple[Site, ...]
    source: str
    kinds: tuple[Kind, ...] = ()
    classes: tuple[ToothClass, ...] = ()
    arch: Arch | None = None
    relations: tuple[Relation, ...] = ()

    def speaks_of(self, tooth: str, kind: Kind, relation: Relation) -> bool:
        """Tell whether the line holds for a unit."""
        return (
            (not self.kinds or kind in self.kinds)
            and (not self.classes or tooth_class(tooth) in self.classes)
            and (self.arch is None or self.arch is arch(tooth))
            and (not self.relations or relation in self.relations)
        )


@dataclass(frozen=True, slots=True)
class PositionRule:
    """Jaw positions a clearance must or should be read in; empty means any."""

    sites: tuple[Site, ...]
    source: str
    required: tuple[str, ...] = ()
    advised: tuple[str, ...] = ()
    arch: Arch | None = None
    relations: tuple[Relation, ...] = ()

    def speaks_of(self, site: Site, tooth: str, relation: Relation) -> bool:
        """Tell whether the line holds for a site."""
        return (
            site in self.sites
            and (self.arch is None or self.arch is arch(tooth))
            and (not self.relations or relation in self.relations)
        )


@dataclass(frozen=True, slots=True)
class SpanLimit:
    """How far a material reaches: one line for a region and a range of units.

    ``units_from`` to ``units_to`` counts retainers and pontics together;
    ``connector_mm2`` is the least cross-section of every connector in mm2;
    ``last_place`` is the furthest tooth of a quadrant the span may reach (5: second
    premolar). ``allowed`` False: not indicated. Spans no line speaks of are unknown.
    """

    material: str
    region: Region
    units_from: int
    units_to: int
    source: str
    cantilever: bool = False
    allowed: bool = True
    connector_mm2: Decimal | None = None
    last_place: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Charge:
    """What a change to a material costs at this laboratory: days and a sentence."""

    material: str
    days: int
    charge: str
    kinds: tuple[Kind, ...] = ()


@dataclass(frozen=True)
class RuleSet:
    """A laboratory's needs under one name and version.

    ``k`` times u is the guard band of the decision rule. ``strip_delta_mm`` widens
    every strip interval, ``drag_mm`` is the half-width a dragging strip stands for.
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
    def _by_material(self) -> dict[str, tuple[Need, ...]]:
        return {
            material.key: tuple(n for n in self.needs if n.material == material.key)
            for material in self.materials
        }

    @cached_property
    def _materials(self) -> dict[str, Material]:
        return {material.key: material for material in self.materials}

    @cached_property
    def u_by_method(self) -> dict[Method, Decimal]:
        """Default standard uncertainty in mm of every point method."""
        return {default.method: default.u_mm for default in self.methods}

    def material(self, key: str) -> Material | None:
        """Return a material of the set; None where the set lacks it."""
        return self._materials.get(key)

    def find_need(self, key: NeedKey) -> Need | None:
        """Return the most precise line for a key; None where the set has none.

        A line of the site's own wins over the line of its cusp role; the bevel
        falls back on the functional cusp, the marginal ridge on the fossa.
        """
        names: list[str] = [key.site.value]
        names += [key.role.value] if key.role else []
        names += [_STANDS_FOR[key.site]] if key.site in _STANDS_FOR else []
        for name in names:
            lines = self._by_site.get((key.material, name, key.quantity), ())
            fitting = [line for line in lines if _fits(line, key)]
            if fitting:
                return max(fitting, key=lambda line: line.precision)
        return None

    def has_needs(self, material: str, kind: Kind) -> bool:
        """Tell whether any line speaks of this material for this kind."""
        return any(kind in need.kinds for need in self._by_material.get(material, ()))

    def cementation_matters(self, material: str) -> bool:
        """Tell whether a material's needs differ by cementation."""
        lines = self._by_material.get(material, ())
        return any(need.cementation is not None for need in lines)

    def required(self, tooth: str, kind: Kind, relation: Relation) -> tuple[Site, ...]:
        """Return the sites that must be read on a unit, in listing order."""
        wanted = {
            site
            for line in self.required_sites
            if line.speaks_of(tooth, kind, relation)
            for site in line.sites
        }
        return tuple(site for site in Site if site in wanted)

    def positions_for(
        self, site: Site, tooth: str, relation: Relation
    ) -> tuple[tuple[Position, ...], tuple[Position, ...]]:
        """Return the required and the advised jaw positions of a clearance."""
        lines = [p for p in self.positions if p.speaks_of(site, tooth, relation)]
        required = _resolve((name for p in lines for name in p.required), tooth)
        advised = _resolve((name for p in lines for name in p.advised), tooth)
        return required, tuple(p for p in advised if p not in required)

    def dump(self) -> dict[str, object]:
        """Return the set as JSON values; ``rules.parse`` reads it back equal."""
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
            "materials": [_dump(material) for material in self.materials],
            "methods": [_dump(method) for method in self.methods],
            "needs": [_dump(need) for need in self.needs],
            "required_sites": [_dump(line) for line in self.required_sites],
            "positions": [_dump(line) for line in self.positions],
        }


def _dump(
    line: Material | MethodDefault | Need | RequiredSites | PositionRule,
) -> object:
    """Return a line as JSON values, leaving out what is not stated.

    A need built from a thickness is written as the thickness alone: its sum follows
    from the set's allowances and is never typed.
    """
    found: dict[str, object] = {}
    built = isinstance(line, Need) and line.thickness_mm is not None
    for name in line.__dataclass_fields__:
        value = getattr(line, name)
        # A need of 0 is stated, so nothing is left out for being equal to False.
        absent = value is None or value is False or value == () or value == ""
        if absent or (built and name == "min_mm"):
            continue
        if isinstance(value, Decimal):
            value = plain(value)
        found[name] = list(value) if isinstance(value, tuple) else value
    return found


def _fits(line: Need, key: NeedKey) -> bool:
    return (
        key.kind in line.kinds
        and line.cementation in (None, key.cementation)
        and line.occlusal_surface in (None, key.occlusal_surface)
        and (not line.classes or tooth_class(key.tooth) in line.classes)
    )


def _resolve(names: Iterable[str], tooth: str) -> tuple[Position, ...]:
    working = working_side(tooth)
    sides = {Position.RIGHT_LATEROTRUSION, Position.LEFT_LATEROTRUSION} - {working}
    meant = {WORKING: working, NON_WORKING: sides.pop()}
    wanted = {meant.get(name) or Position(name) for name in names}
    return tuple(position for position in Position if position in wanted)

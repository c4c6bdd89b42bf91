"""Types of the lines of a rule set: materials, needs, positions, limits, charges.

Immutable values as ``rules.lines`` reads them; ``rules.requirements`` looks them up.
All lengths are millimetres.
"""

from dataclasses import MISSING, dataclass, fields
from decimal import Decimal
from typing import Any

from rules.readings import plain
from rules.teeth import arch, tooth_class
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
    "SpanLimit",
    "dump_line",
]

# Written in position rules; which laterotrusion it is depends on the tooth's side.
WORKING = "working_side"
NON_WORKING = "non_working_side"


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

    def fits(self, key: NeedKey) -> bool:
        """Tell whether the line holds for a key; material and site aside."""
        return (
            key.kind in self.kinds
            and self.cementation in (None, key.cementation)
            and self.occlusal_surface in (None, key.occlusal_surface)
            and (not self.classes or tooth_class(key.tooth) in self.classes)
        )


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

    def speaks_of(self, region: Region, units: int, cantilever: bool) -> bool:
        """Tell whether the line holds for a span of so many units."""
        return (
            self.region is region
            and self.cantilever is cantilever
            and self.units_from <= units <= self.units_to
        )


@dataclass(frozen=True, slots=True)
class Charge:
    """What a change to a material costs at this laboratory: days and a sentence."""

    material: str
    days: int
    charge: str
    kinds: tuple[Kind, ...] = ()


def dump_line(line: Any) -> dict[str, object]:
    """Return a line as JSON values, leaving out what is not stated.

    A need built from a thickness is written as the thickness alone: its sum follows
    from the set's allowances and is never typed.
    """
    found: dict[str, object] = {}
    built = isinstance(line, Need) and line.thickness_mm is not None
    for each in fields(line):
        value = getattr(line, each.name)
        # A need of 0 is stated: only what equals the field's own default is not.
        absent = each.default is not MISSING and value == each.default
        if absent or (built and each.name == "min_mm"):
            continue
        found[each.name] = _plain(value)
    return found


def _plain(value: object) -> object:
    if isinstance(value, Decimal):
        return plain(value)
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return dump_line(value) if isinstance(value, Alternative) else value

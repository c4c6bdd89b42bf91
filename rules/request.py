"""What is asked of a check: units with their readings, as plain values."""

from dataclasses import dataclass
from decimal import Decimal

from rules.readings import Reading
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    OcclusalSurface,
    Relation,
    Retention,
    Site,
    Wall,
)

__all__ = ["CheckRequest", "Connector", "FacingUnit", "Unit"]


@dataclass(frozen=True, slots=True)
class FacingUnit:
    """A unit as it is planned, on a prepared opposing tooth or in another material.

    ``retention`` is an implant crown's, where it is known.
    """

    tooth: str
    kind: Kind
    material: str
    cementation: Cementation
    occlusal_surface: OcclusalSurface | None = None
    retention: Retention | None = None


@dataclass(frozen=True, slots=True)
class Unit:
    """One tooth's restoration and everything measured for it.

    Cementation and occlusal surface are filled in with the material's usual ones.
    ``planned_plane``: the clinician states that wax-up, index or provisional fixes
    how the gap between two prepared teeth is split. ``convergence_deg`` is the total
    occlusal convergence in degrees, ``dentine_mm`` the least dentine left over the
    pulp under the occlusal surface, ``retention`` an implant crown's.
    ``not_applicable`` names required sites that a partial restoration does not cover,
    as the prescription states. Lengths in mm.
    """

    tooth: str
    kind: Kind
    material: str
    cementation: Cementation
    relation: Relation
    antagonist: Antagonist
    occlusal_surface: OcclusalSurface | None = None
    antagonists: tuple[FacingUnit, ...] = ()
    planned_plane: bool = False
    wall_heights_mm: tuple[tuple[Wall, Decimal], ...] = ()
    base_width_mm: Decimal | None = None
    convergence_deg: Decimal | None = None
    dentine_mm: Decimal | None = None
    retention: Retention | None = None
    span: str | None = None
    not_applicable: tuple[Site, ...] = ()
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class Connector:
    """A planned connector between two neighbours of a span, in mm."""

    between: tuple[str, str]
    height_mm: Decimal
    width_mm: Decimal


@dataclass(frozen=True, slots=True)
class CheckRequest:
    """A whole stateless check; ``k`` overrides the rule set's guard factor.

    ``explain`` asks for the derivation of every site's verdict as well.
    """

    units: tuple[Unit, ...]
    k: Decimal | None = None
    laboratory: str | None = None
    rule_set: str | None = None
    connectors: tuple[Connector, ...] = ()
    explain: bool = False

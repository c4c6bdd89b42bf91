"""What a site needs: own line, and the facing unit's where both arches are prepared."""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum, auto
from typing import Protocol

from rules.request import Unit
from rules.requirements import Need, NeedKey, RuleSet
from rules.teeth import cusp_role, facing_sites
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    OcclusalSurface,
    Position,
    Quantity,
    Relation,
    Retention,
    Role,
    Site,
)

__all__ = ["Sharing", "SiteNeed", "line_for", "site_need"]


class _Planned(Protocol):
    """What own unit and facing unit have in common."""

    @property
    def tooth(self) -> str: ...
    @property
    def kind(self) -> Kind: ...
    @property
    def material(self) -> str: ...
    @property
    def cementation(self) -> Cementation: ...
    @property
    def occlusal_surface(self) -> OcclusalSurface | None: ...
    @property
    def retention(self) -> Retention | None: ...


class Sharing(Enum):
    """Whether the gap belongs to two preparations."""

    OWN = auto()
    SUMMED = auto()
    UNKNOWN = auto()


@dataclass(frozen=True, slots=True)
class SiteNeed:
    """Need at a site in mm; ``min_mm`` is None where no need can be stated.

    ``own`` is this unit's own line; with ``Sharing.SUMMED`` the facing line's least
    and target are added in ``min_mm`` and ``target_mm``.
    """

    own: Need | None
    min_mm: Decimal | None
    target_mm: Decimal | None
    sharing: Sharing = Sharing.OWN
    facing: Need | None = None
    facing_tooth: str = ""

    @property
    def positions(self) -> tuple[Position, ...]:
        """Required positions the line itself states; empty: the rule set's."""
        return self.own.positions if self.own else ()

    @property
    def source(self) -> str:
        """Where the numbers come from; both sources for a sum."""
        lines = [line.source for line in (self.own, self.facing) if line]
        return " + ".join(dict.fromkeys(lines))


def _place_role(site: Site, planned: _Planned, relation: Relation) -> Role | None:
    """Return the cusp's role, or that of a platform under a screw-retained crown."""
    screwed = planned.retention is Retention.SCREW
    if screwed and site is Site.IMPLANT_PLATFORM:
        return Role.SCREWED_PLATFORM
    return cusp_role(site, planned.tooth, relation)


def line_for(
    rule_set: RuleSet,
    planned: _Planned,
    relation: Relation,
    site: Site,
    quantity: Quantity,
) -> Need | None:
    """Return the rule set's line for a planned restoration at a site.

    Without an antagonist an occlusal site is reduced to the planned plane: where no
    line speaks of that reduction, the clearance the material needs is taken.
    """
    wanted = [quantity]
    if relation is Relation.NO_ANTAGONIST and quantity is Quantity.REDUCTION:
        wanted.append(Quantity.CLEARANCE)
    for meant in wanted:
        key = NeedKey(
            material=planned.material,
            kind=planned.kind,
            cementation=planned.cementation,
            occlusal_surface=planned.occlusal_surface,
            tooth=planned.tooth,
            site=site,
            role=_place_role(site, planned, relation),
            quantity=meant,
        )
        if line := rule_set.find_need(key):
            return line
    return None


def site_need(
    rule_set: RuleSet, unit: Unit, site: Site, quantity: Quantity
) -> SiteNeed:
    """Return what a unit needs at a site, as a sum where the gap is shared."""
    own = line_for(rule_set, unit, unit.relation, site, quantity)
    shared = unit.antagonist is Antagonist.PREPARED and quantity is Quantity.CLEARANCE
    if own is None:
        return SiteNeed(None, None, None)
    if not shared:
        return SiteNeed(own, own.min_mm, own.target_mm)
    facing: list[tuple[Decimal, str, Need]] = []
    for other in unit.antagonists:
        lines = [
            line_for(rule_set, other, unit.relation, place, Quantity.CLEARANCE)
            for place in facing_sites(site, unit.tooth, unit.relation, other.tooth)
        ]
        if not lines or None in lines:
            return SiteNeed(own, None, None, Sharing.UNKNOWN, None, other.tooth)
        facing += [(line.min_mm, other.tooth, line) for line in lines if line]
    if not facing:
        return SiteNeed(own, None, None, Sharing.UNKNOWN)
    least, tooth, line = max(facing, key=lambda item: (item[0], item[1]))
    return SiteNeed(
        own,
        own.min_mm + least,
        own.target_mm + max(each.target_mm for _least, _tooth, each in facing),
        Sharing.SUMMED,
        line,
        tooth,
    )

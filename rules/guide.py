"""The plan before a preparation: what is needed at each site, and where it must pass.

From the same lines and positions as the check, before anything is measured. Lengths
are millimetres. Needs and their sources are the rule set's; ``rules.guide_words`` says
them as sentences, ``rules.guide_keep`` what else to keep in mind.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from rules.needs import SiteNeed
from rules.request import Unit
from rules.requirements import RuleSet
from rules.site_check import needed
from rules.teeth import CONTACT_FREE, quantity_at, row_cusps, site_label, sites_for
from rules.terms import Message, Position, Quantity, Relation, Site

__all__ = ["Plan", "PlanSite", "WALL_SITES", "plan_for"]


def _(text: str) -> str:
    return text


WALL_SITES = (
    Site.FACIAL_WALL,
    Site.LINGUAL_WALL,
    Site.MESIAL_WALL,
    Site.DISTAL_WALL,
)
_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)
_AXIAL = _("axial walls")


@dataclass(frozen=True, slots=True)
class PlanSite:
    """One line of the plan; sites that need the same stand together.

    ``required`` and ``advised`` are the jaw positions of a clearance, empty for a
    reduction or a width. ``must`` tells whether the rule set asks for a reading here.
    ``need.own`` None: the set states no need.
    """

    sites: tuple[Site, ...]
    label: str | Message
    quantity: Quantity
    need: SiteNeed
    required: tuple[Position, ...] = ()
    advised: tuple[Position, ...] = ()
    must: bool = False

    @property
    def site(self) -> Site:
        """The site, the first of several."""
        return self.sites[0]


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that is needed for one unit, in the order of the sites."""

    rule_set: RuleSet
    unit: Unit
    sites: tuple[PlanSite, ...]

    @property
    def stated(self) -> tuple[PlanSite, ...]:
        """The lines with a figure."""
        return tuple(line for line in self.sites if line.need.own is not None)

    @property
    def unstated(self) -> tuple[PlanSite, ...]:
        """Sites to be read for which the set states no need."""
        return tuple(line for line in self.sites if line.need.own is None)


def plan_for(rule_set: RuleSet, unit: Unit) -> Plan:
    """Return what a unit needs where; its readings do not matter.

    A site the set has no line for is left out unless it must be read.
    """
    return Plan(rule_set, unit, tuple(_merged(unit.tooth, _lines(rule_set, unit))))


def _lines(rule_set: RuleSet, unit: Unit) -> Iterator[PlanSite]:
    must = rule_set.required(unit.tooth, unit.kind, unit.relation)
    cusps = {cusp for row in _ROWS for cusp in row_cusps(row, unit.tooth)}
    for site in sites_for(unit.tooth, unit.kind, unit.relation):
        if site in cusps:
            continue
        for quantity in _quantities(unit, site):
            need = needed(rule_set, unit, site, quantity)
            if need.own is not None or site in must:
                yield _line(rule_set, unit, site, quantity, need, site in must)


def _quantities(unit: Unit, site: Site) -> tuple[Quantity, ...]:
    """Return what is measured at a site, room to the antagonist first.

    In a scissor bite such room proves nothing; in an open bite it does in an
    excursion that shows contact.
    """
    room, other = (
        quantity_at(site, unit.tooth, unit.relation, positioned=positioned)
        for positioned in (True, False)
    )
    if unit.relation is Relation.SCISSOR:
        return (other,)
    if unit.relation in CONTACT_FREE or room is other:
        return (room,)
    return (room, other)


def _line(
    rule_set: RuleSet,
    unit: Unit,
    site: Site,
    quantity: Quantity,
    need: SiteNeed,
    must: bool,
) -> PlanSite:
    name = site_label(site, unit.tooth)
    if quantity is not Quantity.CLEARANCE:
        return PlanSite((site,), name, quantity, need, must=must)
    required, advised = rule_set.positions_for(site, unit.tooth, unit.relation)
    required = need.positions or required
    advised = tuple(position for position in advised if position not in required)
    return PlanSite((site,), name, quantity, need, required, advised, must)


def _merged(tooth: str, lines: Iterable[PlanSite]) -> Iterator[PlanSite]:
    """Put sites that need the same on one line, in the place of the first."""
    kept: list[PlanSite] = []
    for line in lines:
        same = next((at for at, one in enumerate(kept) if _alike(one, line)), None)
        if same is None:
            kept.append(line)
        else:
            one = kept[same]
            sites = (*one.sites, *line.sites)
            must = one.must or line.must
            kept[same] = replace(
                one, sites=sites, label=_names(tooth, sites), must=must
            )
    walls = [line for line in kept if line.site in WALL_SITES]
    for line in kept:
        # The facial wall of a front tooth is a surface of its own.
        alone = len(walls) == 1 and len(line.sites) > 2
        yield replace(line, label=_AXIAL) if alone and line in walls else line


def _alike(one: PlanSite, other: PlanSite) -> bool:
    """Tell whether two sites need the same: walls by their figures, others by line.

    The bevel stands on the functional cusp's line, the marginal ridge on the fossa's.
    """
    if one.site in WALL_SITES and other.site in WALL_SITES:
        return _figures(one.need) == _figures(other.need)
    return one.need.own is not None and (
        (one.need, one.quantity, one.required, one.advised)
        == (other.need, other.quantity, other.required, other.advised)
    )


def _figures(need: SiteNeed) -> object:
    """Return everything of a need but the site it stands at."""
    return None if need.own is None else replace(need.own, site="")


def _names(tooth: str, sites: Sequence[Site]) -> Message:
    *firsts, last = (site_label(site, tooth) for site in sites)
    said: str | Message = firsts[0]
    for name in firsts[1:]:
        said = Message(_("{first}, {rest}"), {"first": said, "rest": name})
    return Message(_("{first} and {rest}"), {"first": said, "rest": last})

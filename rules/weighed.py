"""What one site of a unit says to another restoration, worked out once a need.

Materials share a few needs, so most of what a check tries has been answered before.
"""

from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from rules.explain import mm
from rules.gauge import Gauge
from rules.needs import Sharing, site_need
from rules.request import Unit
from rules.requirements import Need, RuleSet
from rules.terms import Antagonist, Message, Quantity, Site, Verdict
from rules.variants import Plan

__all__ = ["Told", "Weighed"]


def _(text: str) -> str:
    return text


class Told(NamedTuple):
    """What a line means at a site: short, undecided or unknown; all None: enough.

    ``there`` says it from another unit of the span; empty for a unit without one.
    """

    short: Message | None = None
    undecided: Message | None = None
    unknown: Message | None = None
    there: tuple[Message, ...] = ()


_ENOUGH = Told()


class Weighed:
    """A gauge with what of the need does not depend on the unit's material."""

    __slots__ = (
        "_by_need",
        "_clearance",
        "_facing",
        "_gauge",
        "_lacking",
        "_shared",
        "_unfixed",
        "_unknown",
        "_unit",
        "check",
        "place",
    )

    def __init__(self, rule_set: RuleSet, unit: Unit, gauge: Gauge, plan: Plan) -> None:
        site, quantity = gauge.check.site, gauge.check.quantity
        self.place: tuple[Site, Quantity] = (site, quantity)
        self.check = gauge.check
        self._unit, self._gauge = unit, gauge
        self._by_need: dict[Decimal, Told] = {}
        self._unknown: Told | None = None
        self._clearance = quantity is Quantity.CLEARANCE
        self._shared = self._clearance and unit.antagonist is Antagonist.PREPARED
        self._unfixed = self._shared and not unit.planned_plane
        self._facing = _facing_part(rule_set, unit, self.place, plan, self._shared)
        self._lacking = False
        if self._clearance:
            required, _advised = rule_set.positions_for(site, unit.tooth, unit.relation)
            self._lacking = not gauge.positions.issuperset(required)

    def tell(self, line: Need | None) -> Told:
        """Return what the readings say to a line of the rule set (None: no line)."""
        if line is None:
            self._unknown = self._unknown or self._no_line()
            return self._unknown
        if line.positions:
            lacking = not self._gauge.positions.issuperset(line.positions)
            return self._judge(line.min_mm, lacking and self._clearance)
        found = self._by_need.get(line.min_mm)
        if found is None:
            found = self._judge(line.min_mm, self._lacking)
            self._by_need[line.min_mm] = found
        return found

    def _judge(self, own: Decimal, lacking: bool) -> Told:
        need: Decimal | None = own
        if self._shared:
            need = None if self._facing is None else own + self._facing
        verdict = self._gauge.verdict(need)
        if verdict is Verdict.INSUFFICIENT and need is not None:
            return self._short(need)
        if verdict is Verdict.SUFFICIENT and not lacking and not self._unfixed:
            return _ENOUGH
        return Told(undecided=Message(_UNDECIDED, {"site": self._gauge.check.label}))

    def _short(self, need: Decimal) -> Told:
        least = self._gauge.least_mm
        params = {
            "site": self._gauge.check.label,
            "need": mm(need),
            "most": mm(need - least if least is not None else need),
        }
        return Told(
            short=Message(_SHORT, params), there=self._there(_SHORT_THERE, params)
        )

    def _no_line(self) -> Told:
        params = {"site": self._gauge.check.label}
        return Told(
            unknown=Message(_NO_LINE, params), there=self._there(_NO_LINE_THERE, params)
        )

    def _there(self, template: str, params: dict[str, str]) -> tuple[Message, ...]:
        if self._unit.span is None:
            return ()
        return (Message(template, params | {"tooth": self._unit.tooth}),)


def _facing_part(
    rule_set: RuleSet,
    unit: Unit,
    place: tuple[Site, Quantity],
    plan: Plan,
    shared: bool,
) -> Decimal | None:
    """Return the facing unit's part of a shared gap; None where not known.

    It does not depend on the own line, but only a site with one is summed up.
    """
    lined = (v for v in plan.values() if shared and v.line(*place) is not None)
    variant = next(lined, None)
    if variant is None:
        return None
    material, surface, cementation = variant.key
    planned = replace(
        unit, material=material, occlusal_surface=surface, cementation=cementation
    )
    need = site_need(rule_set, planned, *place)
    summed = need.sharing is Sharing.SUMMED
    return need.facing.min_mm if summed and need.facing else None


_SHORT = _("At the {site}: it needs {need} mm, so {most} mm may be missing.")
_SHORT_THERE = _(
    "Tooth {tooth}, at the {site}: it needs {need} mm, so {most} mm may be missing."
)
_NO_LINE = _("At the {site}: the rule set states no need for it.")
_NO_LINE_THERE = _("Tooth {tooth}, at the {site}: the rule set states no need for it.")
_UNDECIDED = _("At the {site}: undecided in this material too.")

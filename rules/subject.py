"""A unit whose ways out are sought: its doubts, and how every material fares."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import NamedTuple

from rules.explain import mm
from rules.gauge import Gauge, gauge
from rules.judged import Judged
from rules.needs import Sharing, site_need
from rules.request import Unit
from rules.requirements import Need, RuleSet
from rules.results import SiteCheck
from rules.terms import (
    Antagonist,
    Doubt,
    Message,
    Quantity,
    Verdict,
    label,
)
from rules.variants import Plan, Variant, plan_for

__all__ = ["CONTRADICTING", "DOUBTFUL", "Outcome", "Subject"]


def _(text: str) -> str:
    return text


DOUBTFUL = (Verdict.INSUFFICIENT, Verdict.UNDECIDED)
CONTRADICTING = frozenset({Doubt.DISAGREEMENT, Doubt.INTERPENETRATION})


class Outcome(NamedTuple):
    """How a unit would fare in another restoration.

    ``reasons`` say where it would be short or unknown, ``doubts`` where it would be
    undecided; ``elsewhere`` and ``unknown`` are said from another unit of the span:
    a shortage there, and what no line speaks of there.
    """

    reasons: tuple[Message, ...]
    doubts: tuple[Message, ...]
    elsewhere: tuple[Message, ...]
    unknown: tuple[Message, ...]


@dataclass(slots=True, eq=False)
class Subject:
    """A judged unit of a run; works every variant out once, when first asked."""

    rule_set: RuleSet
    judged: Judged
    k: Decimal
    doubtful: tuple[SiteCheck, ...]
    unread: tuple[SiteCheck, ...]
    outcomes: dict[Variant, Outcome] = field(default_factory=dict)
    _gauges: tuple["_Weighed", ...] | None = None

    @classmethod
    def of(cls, rule_set: RuleSet, judged: Judged, k: Decimal) -> "Subject":
        """Return the subject of a judged unit."""
        doubtful = tuple(s for s in judged.sites if s.verdict in DOUBTFUL)
        unread = tuple(s for s in judged.sites if s.verdict is Verdict.UNMEASURED)
        return cls(rule_set, judged, k, doubtful, unread)

    @property
    def unit(self) -> Unit:
        """The unit as it is planned now."""
        return self.judged.unit

    @property
    def plan(self) -> Plan:
        """Every restoration the rule set knows for such a unit."""
        return plan_for(self.rule_set, self.unit)

    def variants(self) -> Iterator[Variant]:
        """Yield the unit in every other material and occlusal surface.

        Its own material comes with its other cementations too, where needs differ
        by it; other materials with their usual one.
        """
        unit = self.unit
        own = (unit.material, unit.occlusal_surface, unit.cementation)
        differs = self.rule_set.cementation_matters(unit.material)
        for key, variant in self.plan.items():
            material, _surface, cementation = key
            usual = variant.material.usual_cementation
            if material == unit.material:
                usual = cementation if differs else unit.cementation
            if cementation is usual and key != own:
                yield variant

    def outcome(self, variant: Variant) -> Outcome:
        """Return how the unit would fare in a variant of its own plan."""
        found = self.outcomes.get(variant)
        if found is None:
            found = self.outcomes[variant] = self._work_out(variant)
        return found

    def _work_out(self, variant: Variant) -> Outcome:
        if not variant.known:
            return Outcome(variant.barred, (), (), (self._unknown(),))
        reasons: list[Message] = []
        doubts: list[Message] = []
        elsewhere: list[Message] = []
        unknown: list[Message] = []
        for weighed in self._weighed():
            line = variant.line(weighed.gauge.site, weighed.gauge.quantity)
            need = weighed.need(line)
            if line is None:
                reasons.append(weighed.say("unknown"))
                unknown.append(weighed.say("unknown", self.unit.tooth))
            elif need is not None and weighed.gauge.is_short(need):
                reasons.append(weighed.short(need))
                elsewhere.append(weighed.short(need, self.unit.tooth))
            elif weighed.open(line, need):
                doubts.append(weighed.say("undecided"))
        return Outcome(tuple(reasons), tuple(doubts), tuple(elsewhere), tuple(unknown))

    def _unknown(self) -> Message:
        params = {"tooth": self.unit.tooth, "kind": label(self.unit.kind)}
        return Message(_NOT_THERE, params)

    def _weighed(self) -> tuple["_Weighed", ...]:
        if self._gauges is None:
            # In the order sites are listed: the order of entry changes no sentence.
            read = {(one.site, one.quantity): one for one in self.judged.measured}
            self._gauges = tuple(
                _Weighed(self.rule_set, self.unit, gauge(read[place], check, self.k))
                for check in self.judged.sites
                if (place := (check.site, check.quantity)) in read
            )
        return self._gauges


class _Weighed:
    """A gauge with what of the need does not depend on this unit's material."""

    __slots__ = ("facing", "gauge", "lacking", "shared", "unfixed", "unit", "rule_set")

    def __init__(self, rule_set: RuleSet, unit: Unit, gauge: Gauge) -> None:
        self.rule_set, self.unit, self.gauge = rule_set, unit, gauge
        clearance = gauge.quantity is Quantity.CLEARANCE
        self.shared = clearance and unit.antagonist is Antagonist.PREPARED
        self.facing: Decimal | None = None
        self.unfixed = self.shared and not unit.planned_plane
        self.lacking = False
        if clearance:
            required, _advised = rule_set.positions_for(
                gauge.site, unit.tooth, unit.relation
            )
            self.lacking = not gauge.positions.issuperset(required)
        if self.shared:
            self.facing = self._facing()

    def _facing(self) -> Decimal | None:
        """Return the facing unit's part of a shared gap; None where not known.

        It does not depend on the own line, but only a site with one is summed up.
        """
        site, quantity = self.gauge.site, self.gauge.quantity
        for variant in plan_for(self.rule_set, self.unit).values():
            if variant.line(site, quantity) is None:
                continue
            material, surface, cementation = variant.key
            planned = replace(
                self.unit,
                material=material,
                occlusal_surface=surface,
                cementation=cementation,
            )
            need = site_need(self.rule_set, planned, site, quantity)
            summed = need.sharing is Sharing.SUMMED
            return need.facing.min_mm if summed and need.facing else None
        return None

    def need(self, line: Need | None) -> Decimal | None:
        """Return the whole need in mm with this line; None where not known."""
        if line is None or not self.shared:
            return line.min_mm if line else None
        return None if self.facing is None else line.min_mm + self.facing

    def open(self, line: Need, need: Decimal | None) -> bool:
        """Tell whether a need that is not proven unmet is not proven met either."""
        lacking = self.lacking
        if line.positions and self.gauge.quantity is Quantity.CLEARANCE:
            lacking = not self.gauge.positions.issuperset(line.positions)
        if lacking or self.unfixed:
            return True
        return self.gauge.verdict(need) is not Verdict.SUFFICIENT

    def say(self, what: str, tooth: str = "") -> Message:
        """Return a sentence of the site, made once."""
        said = self.gauge.said
        place = (what, tooth)
        if place not in said:
            params = {"site": self.gauge.check.label, "tooth": tooth}
            said[place] = Message(_SAID[what, bool(tooth)], params)
        return said[place]

    def short(self, need: Decimal, tooth: str = "") -> Message:
        """Return where and by how much a need is unmet, made once a need."""
        said = self.gauge.said
        place = (need, tooth)
        if place not in said:
            least = self.gauge.least_mm
            params = {
                "site": self.gauge.check.label,
                "need": mm(need),
                "most": mm(need - least if least is not None else need),
                "tooth": tooth,
            }
            said[place] = Message(_SAID["short", bool(tooth)], params)
        return said[place]


_NOT_THERE = _(
    "Tooth {tooth}: the rule set states no need for this material as {kind}, so it "
    "stays undecided there."
)
_SAID = {
    ("short", False): _(
        "At the {site}: it needs {need} mm, so {most} mm may be missing."
    ),
    ("short", True): _(
        "Tooth {tooth}, at the {site}: it needs {need} mm, so {most} mm may be missing."
    ),
    ("unknown", False): _("At the {site}: the rule set states no need for it."),
    ("unknown", True): _(
        "Tooth {tooth}, at the {site}: the rule set states no need for it."
    ),
    ("undecided", False): _("At the {site}: undecided in this material too."),
}

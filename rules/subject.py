"""A unit whose ways out are sought: its doubts, and how every material fares."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from rules.gauge import gauge
from rules.judged import Judged
from rules.request import Unit
from rules.requirements import RuleSet
from rules.results import SiteCheck
from rules.terms import Doubt, Message, Quantity, Site, Verdict, label
from rules.variants import Plan, Variant, plan_for
from rules.weighed import Told, Weighed

__all__ = ["CONTRADICTING", "DOUBTFUL", "Outcome", "Subject"]


def _(text: str) -> str:
    return text


DOUBTFUL = (Verdict.INSUFFICIENT, Verdict.UNDECIDED)
CONTRADICTING = frozenset({Doubt.DISAGREEMENT, Doubt.INTERPENETRATION})


class Outcome(NamedTuple):
    """How a unit would fare in another restoration.

    ``reasons`` say where it would be short or unknown, ``doubts`` where it would be
    undecided; ``elsewhere`` and ``unknown`` are said from another unit of the span:
    a shortage there, and what no line speaks of there. ``settles``: at least one site
    now in doubt fares better in it.
    """

    reasons: tuple[Message, ...]
    doubts: tuple[Message, ...]
    elsewhere: tuple[Message, ...]
    unknown: tuple[Message, ...]
    settles: bool = True


@dataclass(slots=True, eq=False)
class Subject:
    """A judged unit of a run; works every variant out once, when first asked.

    ``plan`` holds every restoration the rule set knows for such a unit.
    """

    rule_set: RuleSet
    unit: Unit
    judged: Judged
    plan: Plan
    k: Decimal
    doubtful: tuple[SiteCheck, ...]
    unread: tuple[SiteCheck, ...]
    outcomes: dict[Variant, Outcome] = field(default_factory=dict)
    _gauges: tuple[Weighed, ...] | None = None

    @classmethod
    def of(cls, rule_set: RuleSet, judged: Judged, k: Decimal) -> "Subject":
        """Return the subject of a judged unit."""
        doubtful = tuple(s for s in judged.sites if s.verdict in DOUBTFUL)
        unread = tuple(s for s in judged.sites if s.verdict is Verdict.UNMEASURED)
        plan = plan_for(rule_set, judged.unit)
        return cls(rule_set, judged.unit, judged, plan, k, doubtful, unread)

    @property
    def places(self) -> frozenset[tuple[Site, Quantity]]:
        """What was read, as site and quantity."""
        return frozenset((one.site, one.quantity) for one in self.judged.measured)

    @property
    def provisional(self) -> bool:
        """Whether the unit is planned in a provisional material."""
        current = self.rule_set.material(self.unit.material)
        return current is not None and current.provisional

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
        settles = False
        for weighed in self._weighed():
            told = weighed.tell(variant.line(*weighed.place))
            settles |= _better(weighed.check, told)
            if told.short is not None:
                reasons.append(told.short)
                elsewhere += told.there
            elif told.undecided is not None:
                doubts.append(told.undecided)
            elif told.unknown is not None:
                reasons.append(told.unknown)
                unknown += told.there
        return Outcome(
            tuple(reasons), tuple(doubts), tuple(elsewhere), tuple(unknown), settles
        )

    def _unknown(self) -> Message:
        params = {"tooth": self.unit.tooth, "kind": label(self.unit.kind)}
        return Message(_NOT_THERE, params)

    def _weighed(self) -> tuple[Weighed, ...]:
        if self._gauges is None:
            # In the order sites are listed: the order of entry changes no sentence.
            read = {(one.site, one.quantity): one for one in self.judged.measured}
            self._gauges = tuple(
                Weighed(
                    self.rule_set,
                    self.unit,
                    gauge(read[place], check, self.k),
                    self.plan,
                )
                for check in self.judged.sites
                if (place := (check.site, check.quantity)) in read
            )
        return self._gauges


def _better(check: SiteCheck, told: Told) -> bool:
    """Tell whether a site in doubt is settled, or no longer short or without a need."""
    if check.verdict not in DOUBTFUL or told.short or told.unknown:
        return False
    short = check.verdict is Verdict.INSUFFICIENT
    return told.undecided is None or short or Doubt.NO_NEED in check.doubts


_NOT_THERE = _(
    "Tooth {tooth}: the rule set states no need for this material as {kind}, so it "
    "stays undecided there."
)

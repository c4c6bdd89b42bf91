"""What a check answers: verdicts of case, unit and site, and the ways out.

Lengths are millimetres and unrounded; ``rules.payload`` rounds what leaves.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from rules.explain import sentences
from rules.grounds import Grounds
from rules.requirements import Alternative
from rules.terms import (
    Cementation,
    Doubt,
    Message,
    OcclusalSurface,
    Position,
    Quantity,
    Referral,
    Retention,
    Role,
    Site,
    Verdict,
)

__all__ = ["CaseCheck", "Option", "SiteCheck", "SpanCheck", "UnitCheck", "worst"]

_COUNTING = (
    Verdict.INSUFFICIENT,
    Verdict.UNDECIDED,
    Verdict.UNMEASURED,
    Verdict.SUFFICIENT,
)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst verdict; not_applicable does not count.

    Where nothing was judged at all the answer is unmeasured, never sufficient.
    """
    found = set(verdicts)
    for verdict in _COUNTING:
        if verdict in found:
            return verdict
    return Verdict.NOT_APPLICABLE if found else Verdict.UNMEASURED


@dataclass(frozen=True, slots=True)
class SiteCheck:
    """Verdict at one site, with everything needed to show and reproduce it.

    ``low_mm`` to ``high_mm`` is what was measured in the governing position (None
    for ``high_mm``: open end; both None: not measured). ``u_mm`` is set for points.
    ``need_mm`` None: the rule set states no need here. ``at_or_above_need`` is true
    only for a point at or above the need whose sole doubt is its uncertainty. The
    shortage is None where readings contradict each other: nothing is known to be
    missing. Sentences are made from ``grounds`` when they are read; ``derivation`` is
    filled where it was asked for.
    """

    site: Site
    role: Role | None
    quantity: Quantity
    verdict: Verdict
    label: str
    need_mm: Decimal | None
    target_mm: Decimal | None
    low_mm: Decimal | None
    high_mm: Decimal | None
    is_point: bool
    u_mm: Decimal | None
    governing_position: Position | None
    shortage_low_mm: Decimal | None
    shortage_high_mm: Decimal | None
    conformance_probability: float | None
    source: str
    doubts: tuple[Doubt, ...]
    required: bool
    at_or_above_need: bool
    grounds: Grounds = field(compare=False, repr=False)
    thickness_mm: Decimal | None = None
    alternatives: tuple[Alternative, ...] = ()
    derivation: tuple[Message, ...] = ()

    @property
    def sentences(self) -> tuple[Message, ...]:
        """The advice, what else stands in the way, and notes, in that order."""
        return sentences(self.grounds)

    @property
    def advice(self) -> Message:
        """One sentence: what the verdict means and what to do."""
        return self.sentences[0]

    @property
    def notes(self) -> tuple[Message, ...]:
        """What else to know."""
        return self.sentences[1:]

    @property
    def proven_short(self) -> bool:
        """Whether fresh readings prove the shortage; only then is a tooth cut for it."""
        leading = self.grounds.leading
        stale = leading is not None and Doubt.STALE in leading.doubts
        return self.verdict is Verdict.INSUFFICIENT and not stale

    @property
    def measured(self) -> bool:
        """Whether any reading speaks of the site."""
        return self.low_mm is not None


@dataclass(frozen=True, slots=True)
class Option:
    """A way out. ``depth_mm`` gives least and most to remove, per site, in mm.

    ``removal_mm`` is the most sound tissue it takes, of this tooth or the opposing
    one; the list is ordered by it. ``abutment``: a lower or angled abutment of an
    implant crown.
    """

    kind: str
    feasible: bool
    reasons: tuple[Message, ...] = ()
    consequences: tuple[Message, ...] = ()
    material: str | None = None
    occlusal_surface: OcclusalSurface | None = None
    cementation: Cementation | None = None
    depth_mm: tuple[tuple[Site, Decimal, Decimal], ...] = ()
    referral: Referral | None = None
    retention: Retention | None = None
    removal_mm: Decimal = Decimal(0)
    abutment: bool = False


@dataclass(frozen=True, slots=True)
class UnitCheck:
    """Verdict of one unit: its worst site's."""

    tooth: str
    verdict: Verdict
    sites: tuple[SiteCheck, ...]
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class SpanCheck:
    """What is known of one bridge: its teeth in arch order, limits and connectors.

    ``pontics`` is the longest run of neighbouring pontics, ``deflection_index`` how
    often more it bends than one pontic of the same height (None without a pontic).
    ``faults`` are limits it breaks, ``notes`` what else to know. No site verdict
    depends on it.
    """

    span: str
    teeth: tuple[str, ...]
    pontics: int
    cantilever: bool
    material: str | None
    iso_6872_class_needed: int | None
    connector_mm2: Decimal | None
    deflection_index: int | None
    faults: tuple[Message, ...] = ()
    notes: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class CaseCheck:
    """Verdict of all units under one rule set: the worst unit's."""

    verdict: Verdict
    units: tuple[UnitCheck, ...]
    rule_set_name: str
    rule_set_version: str
    rule_set_digest: str
    k: Decimal
    spans: tuple[SpanCheck, ...] = ()

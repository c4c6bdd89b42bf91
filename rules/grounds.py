"""What the verdict at one site stands on; every sentence about it is said from here.

Sentences are made when they are read, not while judging: a comparison of two rule
sets over many cases reads none, and a page and a derivation read the same values.
"""

from decimal import Decimal
from typing import NamedTuple

from rules.judge import PositionCheck
from rules.needs import SiteNeed
from rules.readings import Reading
from rules.request import Unit
from rules.requirements import RuleSet
from rules.terms import Position, Quantity, Site, Verdict

__all__ = ["Grounds"]


class Grounds(NamedTuple):
    """Need, positions and verdict of one site.

    ``checks`` is empty and ``leading`` None where the site was not read. ``lacking``
    are required positions without a reading, ``advised`` those it would be good to
    have.
    """

    rule_set: RuleSet
    unit: Unit
    site: Site
    quantity: Quantity
    label: str
    k: Decimal
    need: SiteNeed
    verdict: Verdict
    checks: tuple[PositionCheck, ...] = ()
    leading: PositionCheck | None = None
    lacking: tuple[Position, ...] = ()
    advised: tuple[Position, ...] = ()
    readings: tuple[Reading, ...] = ()

    @property
    def material(self) -> str:
        """Label of the unit's material."""
        found = self.rule_set.material(self.unit.material)
        return found.label if found else self.unit.material

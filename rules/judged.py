"""A unit with everything judged of it, before ways out are sought."""

from dataclasses import dataclass

from rules.measured import Measured
from rules.request import Unit
from rules.results import SiteCheck

__all__ = ["Judged"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One unit, its combined readings and the verdicts of its sites."""

    unit: Unit
    measured: tuple[Measured, ...]
    sites: tuple[SiteCheck, ...]

"""What is to be invented: how many cases, over which months, and what is planted."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import Final

from cases.audit.filters import months_between

__all__ = ["EFFECTS", "PLANTED_MATERIAL", "Plan", "minute_of"]

EFFECTS: Final = ("clinic_twice", "material_dose", "queries_help")
# The material whose outcomes get worse with what is missing, when that is planted.
PLANTED_MATERIAL: Final = "metal_ceramic"


def minute_of(moment: datetime) -> int:
    """Return a moment in whole minutes of 1970."""
    return int(moment.timestamp()) // 60


@dataclass(frozen=True)
class Plan:
    """Cases dispatched over ``months`` calendar months that end with ``until``.

    ``clustering``: standard deviation of a clinician's own effect on what goes wrong,
    in log odds. ``ended``: every case has been fitted or not fitted by ``until``; else
    the last weeks hold cases that are still on their way. The rates are invented and
    of the size the trade's own counts have; no source.
    """

    cases: int
    seed: int
    months: int
    until: date
    effects: frozenset[str] = frozenset()
    clustering: float = 0.2
    ended: bool = False
    remade: float = 0.05
    opposing: float = 0.12
    reported: float = 0.75
    reference: str = field(default="V")

    @property
    def first(self) -> date:
        """The first day of the first month."""
        index = self.until.year * 12 + self.until.month - self.months
        return date(index // 12, index % 12 + 1, 1)

    @property
    def month_starts(self) -> tuple[date, ...]:
        """The first days of all months."""
        return months_between(self.first, self.until.replace(day=1))

    @property
    def start_minute(self) -> int:
        """When the first month begins (UTC)."""
        return minute_of(datetime.combine(self.first, time(), UTC))

    @cached_property
    def end_minute(self) -> int:
        """The end of the last day: nothing is later."""
        ahead = self.until + timedelta(days=1)
        return minute_of(datetime.combine(ahead, time(), UTC)) - 1

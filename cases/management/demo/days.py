"""Times of the scenario, counted in working days from today.

The scenario must look the same whenever the demo is started: a case of "two
working days ago" never falls on a weekend, and due dates lie ahead.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

__all__ = ["Days"]

_SATURDAY = 5


@dataclass(frozen=True, slots=True)
class Days:
    """A calendar around one moment; weekends do not count, holidays do."""

    now: datetime

    def date(self, ago: int) -> date:
        """Return the date of ``ago`` working days before today (negative: ahead)."""
        day = self.now.date()
        step = timedelta(days=-1 if ago > 0 else 1)
        left = abs(ago)
        while left or day.weekday() >= _SATURDAY:
            day += step
            if day.weekday() < _SATURDAY and left:
                left -= 1
        return day

    def at(self, ago: int, clock: str) -> datetime:
        """Return a time ("14:05", UTC) on that working day; ``ago`` is at least 1."""
        return datetime.combine(self.date(ago), time.fromisoformat(clock), UTC)

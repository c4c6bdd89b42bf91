"""What narrows the audit; all of it lives in the address of the page."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Final

from cases.audit.figures import CLASSES, OUTCOMES, RUNS
from cases.errors import Invalid, InvalidField

__all__ = ["LONGEST_MONTHS", "AuditFilters", "month_after", "months_between"]

LONGEST_MONTHS: Final = 120
_ONE_OF: Final = {
    "flagged": ("yes", "no"),
    "outcome": (*OUTCOMES, "internal", "flagged", "accepted", "adverse", "reported"),
    "first_class": (*CLASSES, *RUNS, "unmeasured"),
    "built_class": (*CLASSES, *RUNS, "unmeasured"),
    "tooth_class": ("molar", "premolar", "canine", "incisor"),
}


@dataclass(frozen=True, slots=True)
class AuditFilters:
    """A period of whole months (both included) and what else must hold; "" is all.

    ``clinic`` is an organisation's code, ``clinician`` a person's and ``technician`` a
    membership's number as text. ``cause`` says which remakes count, not which
    restorations. The last four choose the cases behind one number.
    """

    first: date
    last: date
    clinic: str = ""
    clinician: str = ""
    technician: str = ""
    material: str = ""
    kind: str = ""
    tooth_class: str = ""
    method: str = ""
    cause: str = ""
    outcome: str = ""
    flagged: str = ""
    option: str = ""
    first_verdict: str = ""
    first_class: str = ""
    built_class: str = ""

    @classmethod
    def read(cls, asked: Mapping[str, str], *, today: date) -> "AuditFilters":
        """Return the filters of a query string; without a period the last 12 months.

        Raises:
            Invalid: a month is none, the period is empty, reversed, longer than ten
                years or begins after today, or a value is not of its list.
        """
        faults: list[InvalidField] = []
        first = _month(asked, "from", faults) or _back(today, 11)
        last = _month(asked, "to", faults) or date(today.year, today.month, 1)
        if not faults:
            faults += _period(first, last, today)
        values = {
            one.name: str(asked.get(one.name, "")).strip()
            for one in fields(cls)
            if one.name not in {"first", "last"}
        }
        for name, value in values.items():
            allowed = _ONE_OF.get(name)
            if value and allowed and value not in allowed:
                faults.append(InvalidField(f"/{name}", "Choose from the list."))
            if len(value) > 60 or "\x00" in value:
                faults.append(InvalidField(f"/{name}", "Choose from the list."))
        for name in ("clinician", "technician"):
            value = values[name]
            if value and not (value.isascii() and value.isdigit() and len(value) < 19):
                faults.append(InvalidField(f"/{name}", "Choose from the list."))
        if faults:
            raise Invalid(*faults)
        return cls(first=first, last=last, **values)

    @property
    def months(self) -> tuple[date, ...]:
        """The first days of the months, in order."""
        return months_between(self.first, self.last)

    @property
    def before(self) -> "AuditFilters":
        """The same filters over as many months, right before these."""
        count = len(self.months)
        return replace(self, first=_back(self.first, count), last=_back(self.first, 1))

    def address(self, **changes: str) -> dict[str, str]:
        """Return the query string's pairs, those that say something, in fixed order."""
        shown = {
            "from": f"{self.first:%Y-%m}",
            "to": f"{self.last:%Y-%m}",
            **{
                one.name: getattr(self, one.name)
                for one in fields(self)
                if one.name not in {"first", "last"}
            },
            **changes,
        }
        return {name: value for name, value in shown.items() if value}


def month_after(month: date) -> date:
    """Return the first day of the next month."""
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def months_between(first: date, last: date) -> tuple[date, ...]:
    """Return the first days of the months from ``first`` to ``last``, both included."""
    found = []
    month = first
    while month <= last:
        found.append(month)
        month = month_after(month)
    return tuple(found)


def _back(day: date, months: int) -> date:
    index = day.year * 12 + day.month - 1 - months
    return date(index // 12, index % 12 + 1, 1)


def _month(
    asked: Mapping[str, str], name: str, faults: list[InvalidField]
) -> date | None:
    text = str(asked.get(name, "")).strip()
    if not text:
        return None
    parts = text.split("-")
    plain = len(parts) == 2 and all(p.isascii() and p.isdigit() for p in parts)
    if plain and len(parts[0]) == 4 and len(parts[1]) == 2:
        year, month = int(parts[0]), int(parts[1])
        if 2000 <= year <= 2999 and 1 <= month <= 12:
            return date(year, month, 1)
    faults.append(InvalidField(f"/{name}", "Enter a month like 2026-05."))
    return None


def _period(first: date, last: date, today: date) -> list[InvalidField]:
    if first > last:
        return [InvalidField("/to", "The period ends before it begins.")]
    if first > today:
        return [InvalidField("/from", "The period begins in the future.")]
    if len(months_between(first, last)) > LONGEST_MONTHS:
        return [InvalidField("/from", "Choose at most ten years.")]
    return []

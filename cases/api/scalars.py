"""Single values of a body: texts, words, truths, numbers, dates."""

import re
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_noop as _

from cases.api.fields import REQUIRED, Field, Schema, listing
from rules.reader import Faults, shown

__all__ = [
    "day",
    "decimal",
    "millimetres",
    "moment",
    "pattern",
    "text",
    "truth",
    "whole",
    "word",
    "words",
]


def text(at_most: int, *, needed: bool = False) -> Field:
    """A text; where it is needed it must hold something."""
    least = 1 if needed else 0

    def read(faults: Faults, value: object, pointer: str) -> str:
        if (
            isinstance(value, str)
            and least <= len(value.strip())
            and len(value) <= at_most
        ):
            return value
        message = _("A text of at most {limit} characters belongs here.")
        if needed:
            message = _("A text of 1 to {limit} characters belongs here.")
        faults.add(pointer, message, limit=str(at_most))
        return ""

    schema: Schema = {"type": "string", "maxLength": at_most}
    if needed:
        return Field(read, {**schema, "minLength": 1})
    return Field(read, schema, "")


def pattern(regex: str, message: str, *, needed: bool = False) -> Field:
    """A text of one form, described by the message where it is not."""
    compiled = re.compile(regex, re.ASCII)

    def read(faults: Faults, value: object, pointer: str) -> str:
        if isinstance(value, str) and compiled.fullmatch(value):
            return value
        faults.add(pointer, message)
        return ""

    schema = {"type": "string", "pattern": f"^{regex}$"}
    return Field(read, schema, REQUIRED if needed else "")


def word(known: Sequence[str], *, needed: bool = True) -> Field:
    """A word of a closed list."""
    allowed = [str(one) for one in known]

    def read(faults: Faults, value: object, pointer: str) -> str:
        if isinstance(value, str) and value in allowed:
            return value
        faults.add(
            pointer,
            _("“{value}” is not one of: {known}."),
            value=shown(value),
            known=", ".join(one for one in allowed if one),
        )
        return ""

    schema = {"type": "string", "enum": allowed}
    return Field(read, schema, REQUIRED if needed else "")


def words(known: Sequence[str], *, needed: bool = False) -> Field:
    """A list of words of a closed list."""
    return listing(word(known), at_most=len(known), needed=needed)


def truth(*, needed: bool = False, default: bool | None = False) -> Field:
    """True or false, nothing that looks like it."""

    def read(faults: Faults, value: object, pointer: str) -> bool:
        return faults.flag(value, pointer)

    return Field(read, {"type": "boolean"}, REQUIRED if needed else default)


def whole(least: int, most: int) -> Field:
    """A whole number, or null."""

    def read(faults: Faults, value: object, pointer: str) -> int | None:
        if value is None or (type(value) is int and least <= value <= most):
            return value
        faults.add(
            pointer,
            _("A whole number from {least} to {most} belongs here."),
            least=str(least),
            most=str(most),
        )
        return None

    schema = {"type": ["integer", "null"], "minimum": least, "maximum": most}
    return Field(read, schema, None)


def millimetres(least: str, most: str) -> Field:
    """A length with at most two decimals, or null."""
    return decimal(least, most)


def decimal(least: str, most: str) -> Field:
    """A number with at most two decimals, or null; a sum of money is such a one."""

    def read(faults: Faults, value: object, pointer: str) -> Decimal | None:
        if value is None:
            return None
        return faults.number(
            value, pointer, minimum=Decimal(least), maximum=Decimal(most)
        )

    return Field(read, {"type": ["number", "string", "null"]}, None)


# Far enough for any appointment; beyond it time zones leave the calendar.
_YEARS = range(2000, 2200)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?"
    r"(Z|[+-][0-9]{2}:[0-9]{2})",
    re.ASCII,
)


def _parsed(kind: type[date], form: re.Pattern[str], value: object) -> date | None:
    if not isinstance(value, str) or not form.fullmatch(value):
        return None
    try:
        found = kind.fromisoformat(value)
    except ValueError:
        return None
    return found if found.year in _YEARS else None


def day(default: Any = None) -> Field:
    """A date such as 2031-03-14, or null."""

    def read(faults: Faults, value: object, pointer: str) -> date | None:
        found = _parsed(date, _DAY, value)
        if found is None and value is not None:
            faults.add(pointer, _("Write the date as 2031-03-14."))
        return found

    return Field(read, {"type": ["string", "null"], "format": "date"}, default)


def moment(default: Any = None) -> Field:
    """A date and time with its offset from UTC, or null."""

    def read(faults: Faults, value: object, pointer: str) -> date | None:
        found = _parsed(datetime, _MOMENT, value)
        if found is None and value is not None:
            faults.add(
                pointer,
                _("Write date and time with their offset: 2031-03-14T09:30+01:00."),
            )
        return found

    return Field(read, {"type": ["string", "null"], "format": "date-time"}, default)

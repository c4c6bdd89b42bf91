"""What a body may hold: each field is read strictly and described once.

A field knows how to read its value (no guessing: "1" is not 1, 1 is not true) and
how OpenAPI says it. A body collects every fault with its JSON pointer; unknown keys
are faults. Numbers go through ``rules.readings.parse_mm``.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_noop as _

from cases.services.units import invalid_from
from rules.reader import Faults, Read, at, shown

__all__ = [
    "Body",
    "Field",
    "day",
    "listing",
    "mapping",
    "millimetres",
    "moment",
    "nested",
    "nullable",
    "passed_on",
    "pattern",
    "text",
    "truth",
    "whole",
    "word",
    "words",
]

_REQUIRED: Any = object()
_OBJECT = _("An object with named fields belongs here.")
Schema = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One value: how to read it, how to describe it, what stands for its absence."""

    read: Read
    schema: Schema
    default: Any = _REQUIRED

    @property
    def required(self) -> bool:
        """Whether the key must be there."""
        return self.default is _REQUIRED


@dataclass(frozen=True, slots=True)
class Body:
    """A JSON object with exactly these keys."""

    fields: Mapping[str, Field] = field(default_factory=dict)

    def collect(self, faults: Faults, data: object, pointer: str) -> dict[str, Any]:
        """Return what could be read, absent keys by their defaults."""
        needed = {name: f.read for name, f in self.fields.items() if f.required}
        optional = {name: f.read for name, f in self.fields.items() if not f.required}
        found = faults.fields(data, pointer, required=needed, optional=optional)
        defaults = {
            name: f.default for name, f in self.fields.items() if not f.required
        }
        return {**defaults, **found}

    def read(self, data: object) -> dict[str, Any]:
        """Return the values by key.

        Raises:
            Invalid: every fault with its pointer.
        """
        faults = Faults()
        found = self.collect(faults, data, "")
        if faults.items:
            raise invalid_from(faults.items)
        return found

    @property
    def schema(self) -> Schema:
        """The object in JSON Schema."""
        body: Schema = {
            "type": "object",
            "properties": {name: f.schema for name, f in self.fields.items()},
            "additionalProperties": False,
        }
        if needed := [name for name, f in self.fields.items() if f.required]:
            body["required"] = needed
        return body


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
    return Field(read, schema, _REQUIRED if needed else "")


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
    return Field(read, schema, _REQUIRED if needed else "")


def words(known: Sequence[str], *, needed: bool = False) -> Field:
    """A list of words of a closed list."""
    return listing(word(known), at_most=len(known), needed=needed)


def truth(*, needed: bool = False, default: bool | None = False) -> Field:
    """True or false, nothing that looks like it."""

    def read(faults: Faults, value: object, pointer: str) -> bool:
        return faults.flag(value, pointer)

    return Field(read, {"type": "boolean"}, _REQUIRED if needed else default)


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


def listing(item: Field, *, at_most: int, needed: bool = False) -> Field:
    """A list of values of one kind."""

    def read(faults: Faults, value: object, pointer: str) -> list[Any]:
        entries = faults.sequence(value, pointer, at_most=at_most) or []
        return [item.read(faults, one, at(pointer, i)) for i, one in enumerate(entries)]

    schema = {"type": "array", "items": item.schema, "maxItems": at_most}
    return Field(read, schema, _REQUIRED if needed else ())


def nested(body: Body, *, needed: bool = False, default: Any = None) -> Field:
    """An object inside the body."""
    return Field(body.collect, body.schema, _REQUIRED if needed else default)


def nullable(inner: Field) -> Field:
    """A value or null, which means the same as leaving it out."""

    def read(faults: Faults, value: object, pointer: str) -> Any:
        return None if value is None else inner.read(faults, value, pointer)

    return Field(read, {"anyOf": [inner.schema, {"type": "null"}]}, None)


def mapping(inner: Body, *, at_most: int) -> Field:
    """An object whose keys are chosen by the caller, its values bodies."""

    def read(faults: Faults, value: object, pointer: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            faults.add(pointer, _OBJECT)
            return {}
        if len(value) > at_most:
            faults.add(
                pointer, _("At most {limit} entries belong here."), limit=str(at_most)
            )
            return {}
        found = {}
        for key, item in value.items():
            row = inner.collect(faults, item, at(pointer, key))
            found[key] = {name: one for name, one in row.items() if one}
        return found

    return Field(read, {"type": "object", "additionalProperties": inner.schema}, {})


def passed_on(item: Schema, *, at_most: int, default: Any = ()) -> Field:
    """A list of objects that the rule core reads later, with faults of its own."""

    def read(faults: Faults, value: object, pointer: str) -> list[Any]:
        entries = faults.sequence(value, pointer, at_most=at_most) or []
        for index, entry in enumerate(entries):
            if not isinstance(entry, dict):
                faults.add(at(pointer, index), _OBJECT)
        return entries

    return Field(read, {"type": "array", "items": item, "maxItems": at_most}, default)

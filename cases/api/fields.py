"""What a body may hold: each field is read strictly and described once.

A field knows how to read its value (no guessing: "1" is not 1, 1 is not true) and
how OpenAPI says it. A body collects every fault with its JSON pointer; unknown keys
are faults. Numbers go through ``rules.readings.parse_mm``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext_noop as _

from cases.services.units import invalid_from
from rules.reader import Faults, Read, at

__all__ = [
    "REQUIRED",
    "Body",
    "Field",
    "Schema",
    "listing",
    "mapping",
    "nested",
    "nullable",
    "passed_on",
]

REQUIRED: Any = object()
_OBJECT = _("An object with named fields belongs here.")
Schema = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One value: how to read it, how to describe it, what stands for its absence."""

    read: Read
    schema: Schema
    default: Any = REQUIRED

    @property
    def required(self) -> bool:
        """Whether the key must be there."""
        return self.default is REQUIRED


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


def listing(item: Field, *, at_most: int, needed: bool = False) -> Field:
    """A list of values of one kind."""

    def read(faults: Faults, value: object, pointer: str) -> list[Any]:
        entries = faults.sequence(value, pointer, at_most=at_most) or []
        return [item.read(faults, one, at(pointer, i)) for i, one in enumerate(entries)]

    schema = {"type": "array", "items": item.schema, "maxItems": at_most}
    return Field(read, schema, REQUIRED if needed else ())


def nested(body: Body, *, needed: bool = False, default: Any = None) -> Field:
    """An object inside the body."""
    return Field(body.collect, body.schema, REQUIRED if needed else default)


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

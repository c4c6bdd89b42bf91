"""Short ways to write JSON Schema: closed objects, lists, what may be null."""

from collections.abc import Iterable
from typing import Any

__all__ = [
    "DATE",
    "FLAG",
    "MM",
    "MOMENT",
    "NUMBER",
    "TEXT",
    "WHOLE",
    "array",
    "either",
    "nullable",
    "record",
    "ref",
    "words",
]

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer"}
NUMBER: Schema = {"type": "number"}
FLAG: Schema = {"type": "boolean"}
DATE: Schema = {"type": "string", "format": "date"}
MOMENT: Schema = {"type": "string", "format": "date-time"}
MM: Schema = {"type": "number", "description": "Millimetres, at most two decimals."}


def ref(name: str) -> Schema:
    """Refer to a component."""
    return {"$ref": f"#/components/schemas/{name}"}


def either(*schemas: Schema) -> Schema:
    """One of several."""
    return {"anyOf": list(schemas)}


def nullable(schema: Schema) -> Schema:
    """A value or null."""
    if "$ref" in schema:
        return either(schema, {"type": "null"})
    found = {**schema, "type": [schema["type"], "null"]}
    if "enum" in found:
        found["enum"] = [*found["enum"], None]
    return found


def array(items: Schema) -> Schema:
    """A list."""
    return {"type": "array", "items": items}


def words(known: Iterable[str]) -> Schema:
    """A word of a closed list."""
    return {"type": "string", "enum": [str(one) for one in known]}


def record(
    fields: dict[str, Schema], *, optional: Iterable[str] = (), about: str = ""
) -> Schema:
    """An object with exactly these fields; all are always there but the optional."""
    left_out = set(optional)
    found: Schema = {
        "type": "object",
        # Names out of an enumeration become plain texts: YAML cannot write others.
        "properties": {str(name): schema for name, schema in fields.items()},
        "required": [str(name) for name in fields if name not in left_out],
        "additionalProperties": False,
    }
    if about:
        found["description"] = about
    return found

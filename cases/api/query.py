"""What stands behind the question mark: read as strictly as a body.

Unknown parameters, one stated twice and values that cannot be are faults (422); the
pointer of a fault is the parameter's name.
"""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_noop as _
from rest_framework.request import Request

from cases.api.fields import Field
from cases.services.units import invalid_from
from rules.reader import Faults, at, shown

__all__ = ["limit", "read_query"]


def limit(usual: int, most: int) -> Field:
    """How many entries a page holds."""

    def read(faults: Faults, value: object, pointer: str) -> int:
        stated = str(value)
        if stated.isascii() and stated.isdecimal() and len(stated) < 6:
            number = int(stated)
            if 1 <= number <= most:
                return number
        faults.add(pointer, _("A whole number from 1 to {most}."), most=str(most))
        return usual

    schema = {"type": "integer", "minimum": 1, "maximum": most}
    return Field(read, schema, usual)


def read_query(request: Request, fields: Mapping[str, Field]) -> dict[str, Any]:
    """Return the parameters by name; those whose field is a list may repeat.

    Raises:
        Invalid: every parameter that is unknown, doubled or cannot be used.
    """
    faults = Faults()
    found = {name: field.default for name, field in fields.items()}
    for name, values in request.query_params.lists():
        pointer = at("", shown(name))
        if name not in fields:
            faults.add(
                pointer,
                _("“{name}” is no parameter here. Known: {known}."),
                name=shown(name),
                known=", ".join(sorted(fields)),
            )
        elif fields[name].schema["type"] == "array":
            found[name] = fields[name].read(faults, values, pointer)
        elif len(values) > 1:
            faults.add(pointer, _("State this once."))
        else:
            found[name] = fields[name].read(faults, values[0], pointer)
    if faults.items:
        raise invalid_from(faults.items)
    return found

"""Reading the connectors of a request: two teeth, a height and a width."""

from rules.numbering import PERMANENT_TEETH
from rules.reader import Faults, Read, at, length, shown
from rules.request import Connector
from rules.teeth import arch_order

__all__ = ["MAX_CONNECTORS", "read_connectors"]


def _(text: str) -> str:
    return text


# Two arches of sixteen teeth have fifteen neighbouring pairs each.
MAX_CONNECTORS = 30


def _pair(faults: Faults, value: object, pointer: str) -> tuple[str, str]:
    """Read two teeth, in the order of the arch however they were written."""
    items = faults.sequence(value, pointer, at_most=2, at_least=2) or []
    teeth: list[str] = []
    for index, item in enumerate(items):
        if isinstance(item, str) and item in PERMANENT_TEETH:
            teeth.append(item)
        else:
            faults.add(
                at(pointer, index),
                _("“{tooth}” is no tooth: write two digits of ISO 3950, 11 to 48."),
                tooth=shown(item),
            )
    if len(teeth) < 2:
        return ("", "")
    first, second = sorted(teeth, key=arch_order)
    return (first, second)


_FIELDS: dict[str, Read] = {
    "between": _pair,
    "height_mm": length("0.1", "20"),
    "width_mm": length("0.1", "20"),
}


def read_connectors(
    faults: Faults, value: object, pointer: str
) -> tuple[tuple[str, Connector], ...]:
    """Read a list of connectors, each with the pointer it was read at.

    Whether the two teeth are neighbours in one span is told by
    ``rules.together.check_connectors``, once the units are known.
    """
    items = faults.sequence(value, pointer, at_most=MAX_CONNECTORS) or []
    found: list[tuple[str, Connector]] = []
    for index, item in enumerate(items):
        where, before = at(pointer, index), len(faults.items)
        row = faults.fields(item, where, required=_FIELDS, optional={})
        if len(faults.items) == before:
            found.append((where, Connector(**row)))
    return tuple(found)

"""Figures of the instruments that a stateless check names.

Only readings that name an instrument take figures from the acting organisation: the
answer to any other reading stays the same for everybody.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from cases.errors import Invalid, InvalidField
from cases.selectors.instruments import reading_figures
from cases.tenancy import Actor
from rules.requirements import RuleSet

__all__ = ["named_figures"]

_OURS = ("instrument", "instrument_label", "u_origin")


def _rows(data: object, key: str) -> list[Any]:
    rows = data.get(key) if isinstance(data, Mapping) else None
    return rows if isinstance(rows, list) else []


def _naming(data: object) -> Iterator[tuple[int, int, Mapping[str, Any]]]:
    """Yield unit, row and reading wherever an instrument is named."""
    for unit, body in enumerate(_rows(data, "units")):
        for row, reading in enumerate(_rows(body, "readings")):
            if isinstance(reading, Mapping) and "instrument" in reading:
                yield unit, row, reading


def named_figures(
    data: object, *, actor: Actor, rule_set: RuleSet
) -> tuple[object, tuple[InvalidField, ...]]:
    """Return the body with the figures in place of the instruments, and faults.

    What else is wrong with the body is left for the rule core to say.
    """
    named = list(_naming(data))
    if not named or not isinstance(data, Mapping):
        return data, ()
    faults = tuple(
        InvalidField(_place(unit, row), "Choose an instrument from your list.")
        for unit, row, reading in named
        if not isinstance(reading["instrument"], str) or len(reading["instrument"]) > 10
    )
    figures = [dict(reading) for _unit, _row, reading in named]
    if not faults:
        try:
            figures = reading_figures(actor=actor, readings=figures, rule_set=rule_set)
        except Invalid as error:
            faults = tuple(_moved(fault, named) for fault in error.fields)
    units = [
        {**unit, "readings": list(_rows(unit, "readings"))}
        if _rows(unit, "readings")
        else unit
        for unit in data["units"]
    ]
    for (unit, row, _reading), figured in zip(named, figures, strict=True):
        units[unit]["readings"][row] = {
            key: value for key, value in figured.items() if key not in _OURS
        }
    return {**data, "units": units}, faults


def _place(unit: int, row: int) -> str:
    return f"/units/{unit}/readings/{row}/instrument"


def _moved(
    fault: InvalidField, named: list[tuple[int, int, Mapping[str, Any]]]
) -> InvalidField:
    unit, row, _reading = named[int(fault.pointer.split("/")[1])]
    return InvalidField(_place(unit, row), fault.message, fault.params)

"""With which instrument a reading was taken: two lists, one for each kind of method.

A strip reading names a set of strips, any other a caliper, probe or scanner. What
the method does not use is not sent, like its lengths.
"""

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from cases.forms.rows import row_numbers
from cases.forms.vocabulary import Choices
from cases.selectors.instruments import InstrumentChoice
from rules.terms import Method

__all__ = [
    "FIELDS",
    "POINT",
    "SET",
    "Instruments",
    "instrument_choices_of",
    "instrument_key",
    "usual_instruments",
]

Instruments = Sequence[InstrumentChoice]
SET, POINT = "strip_set", "instrument"
FIELDS = (SET, POINT)


def instrument_key(method: str) -> str:
    """Return the field in which a reading by this method names its instrument."""
    return SET if method == Method.STRIP else POINT


def instrument_choices_of(instruments: Instruments) -> dict[str, Choices]:
    """Return the choices of both fields; a field without any is left out."""
    none = [("", _("none named"))]
    listed: dict[str, Choices] = {SET: [], POINT: []}
    for one in instruments:
        listed[SET if one.fits(Method.STRIP) else POINT].append((one.code, one.label))
    return {name: [*none, *found] for name, found in listed.items() if found}


def usual_instruments(
    flat: Mapping[str, str], prefix: str, method: str, instruments: Instruments
) -> dict[str, str]:
    """Return what a new row names: the last used of its method, else the only one.

    ``prefix`` is that of the rows it joins ("units-0-readings").
    """
    fitting = [one.code for one in instruments if one.fits(method)]
    name = instrument_key(method)
    for row in reversed(row_numbers(flat, prefix)):
        used = flat.get(f"{prefix}-{row}-{name}")
        if used in fitting:
            return {name: str(used)}
    return {name: fitting[0]} if len(fitting) == 1 else {}

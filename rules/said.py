"""Words for a length, an interval and a reading, as messages.

Lengths are written with a point and the unit stands in the template.
"""

from decimal import ROUND_FLOOR, Decimal
from functools import lru_cache

from rules.measurement import Basis, Interval, Point, Reading
from rules.numbers import plain
from rules.readings import Meaning
from rules.terms import Message, label

__all__ = ["floor_mm", "length_said", "mm", "origin_said", "reading_said"]

_HUNDREDTH = Decimal("0.01")


def _(text: str) -> str:
    return text


# One check says the same few lengths hundreds of times; equal lengths read alike.
@lru_cache(maxsize=2048)
def mm(length: Decimal) -> str:
    """Return a length for a sentence: at least one decimal, two at most."""
    text = plain(length.quantize(_HUNDREDTH))
    return text if "." in text else f"{text}.0"


def floor_mm(length: Decimal) -> str:
    """Return a length for a sentence, rounded down: a limit is never overstated."""
    return mm(length.quantize(_HUNDREDTH, ROUND_FLOOR))


def length_said(says: Interval | Point) -> Message:
    """Return a point or interval in words."""
    if isinstance(says, Point):
        return Message(_("{value} mm"), {"value": mm(says.value)})
    if says.high is None:
        return Message(_("at least {low} mm"), {"low": mm(says.low)})
    params = {"low": mm(says.low), "high": mm(says.high)}
    if says.low > 0:
        return Message(_("{low} to {high} mm"), params)
    return Message(
        _("at most {high} mm") if says.closed else _("less than {high} mm"), params
    )


_BASES = {Basis.MOUTH: _("mouth"), Basis.MODEL: _("models"), Basis.SCAN: _("scan file")}


def origin_said(reading: Reading) -> str | Message:
    """Return what a reading was taken on; the method where that is not stated."""
    if reading.mounting_number is not None:
        number = str(reading.mounting_number)
        return Message(_("models, mounting {number}"), {"number": number})
    return _BASES[reading.basis] if reading.basis else label(reading.method)


def reading_said(one: Meaning) -> Message:
    """Return whose reading says what, as "clinic 1.5 mm (mouth)"."""
    params: dict[str, str | Message] = {
        "length": length_said(one.says),
        "origin": origin_said(one.reading),
    }
    if one.reading.side is None:
        return Message(_("{length} ({origin})"), params)
    params["side"] = label(one.reading.side)
    return Message(_("{side} {length} ({origin})"), params)

"""Strict number parsing and the plain text of a number.

``rules.readings`` re-exports it: every form, serializer and import reads its numbers
there. All lengths are millimetres and Decimal.
"""

import re
from decimal import Decimal

from rules.errors import InvalidNumber

__all__ = ["MAXIMUM_MM", "MINIMUM_SCAN_MM", "decimal_text", "parse_mm", "plain"]


def _(text: str) -> str:
    return text


# A clearance of 20 mm is more than any mouth offers between prepared teeth; a scan
# may pass through its antagonist by less than that (common practice, no source).
MAXIMUM_MM = Decimal(20)
MINIMUM_SCAN_MM = Decimal(-20)

# No length needs more characters; longer texts are cut before they are repeated.
_LONGEST = 24
_NUMBER = re.compile(r"(-?)(0|[1-9][0-9]*)(?:([.,])([0-9]+))?", re.ASCII)


def parse_mm(
    text: object, *, minimum: Decimal, maximum: Decimal, places: int = 2
) -> Decimal:
    """Return the length written in a text or number, by one strict pattern.

    Point and comma both part the decimals. Numbers are read by their shortest
    decimal text. Anything else ("1_5", "1,500", "1e9", units, other scripts' digits,
    booleans) is refused rather than guessed at.

    Raises:
        InvalidNumber: with a message that says what to write.
    """
    written = _written(text)
    match = _NUMBER.fullmatch(written)
    if match is None:
        raise InvalidNumber(
            _("“{value}” is no number here: write digits with one point or comma."),
            value=written,
        )
    sign, whole, mark, decimals = match.groups(default="")
    if mark == "," and len(decimals) == 3 and whole != "0":
        raise InvalidNumber(
            _("“{value}” could mean two things: write it with a point."),
            value=written,
        )
    if len(decimals) > places:
        raise InvalidNumber(
            _("“{value}” has too many decimals: at most {places}."),
            value=written,
            places=str(places),
        )
    number = Decimal(f"{sign}{whole}.{decimals or '0'}") + 0
    _in_range(number, minimum, maximum, written)
    return number


def _in_range(
    number: Decimal, minimum: Decimal, maximum: Decimal, written: str
) -> None:
    if number < 0 <= minimum:
        raise InvalidNumber(
            _("“{value}” cannot be negative: from {minimum} to {maximum}."),
            value=written,
            minimum=f"{minimum:f}",
            maximum=f"{maximum:f}",
        )
    if not minimum <= number <= maximum:
        raise InvalidNumber(
            _("“{value}” is out of range: from {minimum} to {maximum}."),
            value=written,
            minimum=f"{minimum:f}",
            maximum=f"{maximum:f}",
        )


def _written(value: object) -> str:
    """Return the text a value was written as, cut where it is absurdly long."""
    if isinstance(value, str):
        text = value.strip(" ")
    elif isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise InvalidNumber(_("A number belongs here."))
    elif isinstance(value, int):
        text = str(value) if abs(value) < 10**_LONGEST else "…"
    else:
        text = decimal_text(value)
    if len(text) > _LONGEST:
        text = text[:_LONGEST] + "…"
    return "".join(c if c.isprintable() else "?" for c in text)


def plain(number: Decimal) -> str:
    """Return a finite decimal as plain text without trailing zeros or exponent."""
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text


def decimal_text(value: float | Decimal) -> str:
    """Return the shortest plain decimal text of a number ("1.5" for 1.50)."""
    number = Decimal(repr(value)) if isinstance(value, float) else value
    # A huge exponent would print as a text of that many digits.
    if not number.is_finite() or abs(number.adjusted()) > _LONGEST:
        return str(number)
    return plain(number)

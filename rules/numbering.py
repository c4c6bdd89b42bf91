"""Tooth numbers: three systems, arch, class, neighbours.

Teeth are ISO 3950 two-digit strings everywhere; Universal and Palmer are only read
and shown. Eighteen numbers are valid in two systems, so a system is always stated
and never guessed. Palmer here is quadrant letters and a digit ("UR6").
"""

import re
from functools import lru_cache

from rules.errors import UnknownTooth
from rules.terms import Arch, ToothClass

__all__ = [
    "ALL_TEETH",
    "PERMANENT_TEETH",
    "PRIMARY_TEETH",
    "arch",
    "arch_order",
    "faces",
    "from_palmer",
    "from_universal",
    "is_anterior",
    "is_right",
    "neighbours",
    "to_palmer",
    "to_universal",
    "tooth_class",
]


def _(text: str) -> str:
    return text


# A check asks for the same few teeth hundreds of times; a wrong number is not kept.
_keep = lru_cache(maxsize=64)

PERMANENT_TEETH = tuple(f"{q}{p}" for q in range(1, 5) for p in range(1, 9))
PRIMARY_TEETH = tuple(f"{q}{p}" for q in range(5, 9) for p in range(1, 6))
ALL_TEETH = PERMANENT_TEETH + PRIMARY_TEETH

_QUADRANTS = ("UR", "UL", "LL", "LR")
_PALMER = re.compile(r"(UR|UL|LL|LR)([1-8]|[A-E])", re.ASCII)


def _universal(tooth: str) -> str:
    quadrant, place = int(tooth[0]), int(tooth[1])
    if quadrant <= 4:
        return str((9 - place, 8 + place, 25 - place, 24 + place)[quadrant - 1])
    index = (6 - place, 5 + place, 16 - place, 15 + place)[quadrant - 5]
    return chr(ord("A") + index - 1)


_TO_UNIVERSAL = {tooth: _universal(tooth) for tooth in ALL_TEETH}
_FROM_UNIVERSAL = {universal: tooth for tooth, universal in _TO_UNIVERSAL.items()}


def _known(tooth: str) -> str:
    if tooth not in _TO_UNIVERSAL:
        raise UnknownTooth(
            _("“{tooth}” is no tooth in ISO 3950: write 11 to 48, or 51 to 85."),
            tooth=tooth[:12],
        )
    return tooth


def to_universal(tooth: str) -> str:
    """Return the Universal number (1 to 32) or letter (A to T) of a tooth."""
    return _TO_UNIVERSAL[_known(tooth)]


def from_universal(text: str) -> str:
    """Return the ISO 3950 number of a Universal number or capital letter.

    Raises:
        UnknownTooth: no such tooth in the Universal system.
    """
    if text not in _FROM_UNIVERSAL:
        raise UnknownTooth(
            _("“{tooth}” is no tooth in the Universal system: 1 to 32, or A to T."),
            tooth=text[:12],
        )
    return _FROM_UNIVERSAL[text]


def to_palmer(tooth: str) -> str:
    """Return quadrant letters and place, for example "LL6" for 36, "URA" for 51."""
    quadrant, place = int(_known(tooth)[0]) - 1, tooth[1]
    if quadrant >= 4:
        place = chr(ord("A") + int(place) - 1)
    return _QUADRANTS[quadrant % 4] + place


def from_palmer(text: str) -> str:
    """Return the ISO 3950 number of a Palmer code such as "LL6" or "URA".

    Raises:
        UnknownTooth: no such tooth in Palmer's system.
    """
    match = _PALMER.fullmatch(text)
    if match is None:
        raise UnknownTooth(
            _(
                "“{tooth}” is no tooth in Palmer's system: write UR, UL, LL or LR, "
                "then 1 to 8 or A to E."
            ),
            tooth=text[:12],
        )
    quadrant, place = _QUADRANTS.index(match[1]) + 1, match[2]
    if place.isdigit():
        return f"{quadrant}{place}"
    return f"{quadrant + 4}{ord(place) - ord('A') + 1}"


def arch(tooth: str) -> Arch:
    """Return the jaw of a tooth."""
    return Arch.UPPER if _known(tooth)[0] in "1256" else Arch.LOWER


def is_right(tooth: str) -> bool:
    """Tell whether a tooth stands on the patient's right."""
    return _known(tooth)[0] in "1458"


@_keep
def tooth_class(tooth: str) -> ToothClass:
    """Return the class of a tooth; primary molars are molars."""
    place = int(_known(tooth)[1])
    if place <= 2:
        return ToothClass.INCISOR
    if place == 3:
        return ToothClass.CANINE
    if place <= 5 and tooth[0] in "1234":
        return ToothClass.PREMOLAR
    return ToothClass.MOLAR


@_keep
def is_anterior(tooth: str) -> bool:
    """Tell whether a tooth is an incisor or a canine."""
    return tooth_class(tooth) in (ToothClass.INCISOR, ToothClass.CANINE)


def arch_order(tooth: str) -> int:
    """Return the place of a permanent tooth along its arch, 0 (right) to 15."""
    place = int(_known(tooth)[1])
    return 8 - place if is_right(tooth) else 7 + place


def neighbours(tooth: str) -> tuple[str, ...]:
    """Return the permanent teeth beside a permanent tooth; 11 and 21 are such."""
    near = range(arch_order(tooth) - 1, arch_order(tooth) + 2)
    return tuple(
        other
        for other in sorted(PERMANENT_TEETH, key=arch_order)
        if other != tooth and arch(other) is arch(tooth) and arch_order(other) in near
    )


def faces(tooth: str, other: str) -> bool:
    """Tell whether two permanent teeth can meet: other arch, at most two places on."""
    return arch(tooth) is not arch(other) and (
        abs(arch_order(tooth) - arch_order(other)) <= 2
    )

"""Text of people as it can be printed: nothing lost silently, nothing spoofed.

Letters that our fonts lack are left to the machine's fonts. What no font should
draw (pictographs) or has (``missing``) stands as its name in brackets; direction
overrides and control characters are left out, because on paper they could only
make a sentence read differently from what was signed. The exact text is in the
file attached to the document.
"""

import re
import unicodedata
from collections.abc import Mapping, Set
from typing import Any

from cases.documents.fonts import covered

__all__ = ["printable", "printable_content"]

# A reader needs at most a few marks on a letter; a pile of them covers the lines
# above and below.
_MARK_PILE = re.compile(
    r"([\u0300-\u036f\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff]{3})[\u0300-\u036f\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff]+"
)
_KEPT_CONTROLS = "\n\t"
_SELECTORS = range(0xFE00, 0xFE10)


def _named(character: str) -> str:
    name = unicodedata.name(character, "")
    return f"[{name.lower()}]" if name else f"[U+{ord(character):04X}]"


def _shown(character: str, missing: Set[str]) -> str:
    code = ord(character)
    category = unicodedata.category(character)
    if character in _KEPT_CONTROLS:
        return character
    if category in ("Cc", "Cf", "Cs") or code in _SELECTORS:
        return ""
    if category in ("Zl", "Zp"):
        return "\n"
    if code in covered():
        return character
    if category == "Zs":
        return " "
    if character in missing or category in ("So", "Sk", "Co", "Cn"):
        return _named(character)
    return character


def printable(text: str, missing: Set[str] = frozenset()) -> str:
    """Return the text with what cannot be printed named or left out.

    ``missing`` holds characters that turned out to be in no font at all.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    composed = _MARK_PILE.sub(r"\1", unicodedata.normalize("NFC", lines))
    return "".join(_shown(character, missing) for character in composed)


def printable_content(value: Any, missing: Set[str] = frozenset()) -> Any:
    """Return JSON content with every text in it made printable, keys untouched."""
    if isinstance(value, str):
        return printable(value, missing)
    if isinstance(value, Mapping):
        return {key: printable_content(item, missing) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [printable_content(item, missing) for item in value]
    return value

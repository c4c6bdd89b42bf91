"""Text people write: what it may not hold, whatever way it came in.

Direction overrides show "0.2" as "2.0" to whoever reads and signs; no language
needs them in a few lines of text.
"""

import re
from collections.abc import Mapping

from cases.errors import Invalid, InvalidField

__all__ = ["refuse_overrides"]

_OVERRIDES = re.compile("[\u202a-\u202e\u2066-\u2069]")


def refuse_overrides(texts: Mapping[str, str]) -> None:
    """Raise Invalid for every text (by pointer) that reverses reading order."""
    faults = [
        InvalidField(
            pointer,
            "Take out the invisible characters that turn the reading direction.",
        )
        for pointer, text in texts.items()
        if _OVERRIDES.search(text)
    ]
    if faults:
        raise Invalid(*faults)

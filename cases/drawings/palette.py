"""Colours of the drawings on white paper.

The page's sheet holds the same values as tokens (a test compares the two) and
replaces them in dark mode. No colour stands for a thickness: only verdicts are
coloured, and each of them has its own shape and word as well.
"""

from typing import Final

__all__ = ["FAINT", "HAIR", "INK", "INK_2", "ROOM", "SURFACE", "TOOTH", "VERDICT"]

INK: Final = "#1b2430"
INK_2: Final = "#4a5563"
HAIR: Final = "#737c88"
FAINT: Final = "#cdd2cc"
SURFACE: Final = "#ffffff"
TOOTH: Final = "#fbfaf5"
ROOM: Final = "#e3e7ea"
VERDICT: Final[dict[str, str]] = {
    "sufficient": "#1d6140",
    "insufficient": "#9c1c2f",
    "undecided": "#7a4a00",
    "unmeasured": "#4a5563",
    "not_applicable": "#5d6672",
}

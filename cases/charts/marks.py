"""How things look in every picture; told apart by shape, filling, hatch and dash."""

from typing import Any, Final

from cases.drawings.palette import HAIR, INK, INK_2, ROOM, SURFACE

__all__ = [
    "DASHED",
    "DOTTED_JOIN",
    "EMPTY",
    "FILLED_POINT",
    "FLAG",
    "HATCHED",
    "HOLLOW_POINT",
    "JOIN",
    "LIMIT",
    "OUTSIDE",
    "SIGNAL",
    "SOLID",
    "THIN",
    "TICK",
    "UNKNOWN",
    "UNSHOWN",
    "Style",
    "letter",
]

Style = dict[str, Any]

JOIN: Final[Style] = {"color": INK, "linewidth": 1.6}
DOTTED_JOIN: Final[Style] = {"color": INK, "linewidth": 1.4, "linestyle": (0, (1.5, 3))}
# The middle is a dotted and dashed line: limits are whole or dashed ones.
THIN: Final[Style] = {
    "color": INK_2,
    "linewidth": 1.2,
    "linestyle": (0, (8, 2.5, 1.5, 2.5)),
}
DASHED: Final[Style] = {"color": INK_2, "linewidth": 1.4, "linestyle": (0, (5, 3))}
LIMIT: Final[Style] = {"color": INK_2, "linewidth": 1.4}
TICK: Final[Style] = {"color": HAIR, "linewidth": 1.2}

FILLED_POINT: Final[Style] = {
    "marker": "o",
    "markersize": 7,
    "markerfacecolor": INK,
    "markeredgecolor": INK,
    "markeredgewidth": 1.4,
}
HOLLOW_POINT: Final[Style] = FILLED_POINT | {"markerfacecolor": SURFACE}
SIGNAL: Final[Style] = FILLED_POINT | {"marker": "D", "markersize": 14}
OUTSIDE: Final[Style] = SIGNAL | {"markerfacecolor": SURFACE}
UNKNOWN: Final[Style] = FILLED_POINT | {
    "marker": "^",
    "markerfacecolor": SURFACE,
    "markeredgecolor": INK_2,
}
FLAG: Final[Style] = FILLED_POINT | {
    "marker": "s",
    "markersize": 16,
    "markerfacecolor": SURFACE,
    "markeredgecolor": INK_2,
    "markeredgewidth": 1.2,
}

SOLID: Final[Style] = {"facecolor": ROOM, "edgecolor": INK_2, "linewidth": 1.2}
HATCHED: Final[Style] = {
    "facecolor": SURFACE,
    "edgecolor": INK_2,
    "hatchcolor": INK_2,
    "hatch": "/",
    "linewidth": 1,
}
EMPTY: Final[Style] = {
    "facecolor": "none",
    "edgecolor": INK_2,
    "linewidth": 1.2,
    "linestyle": (0, (4, 3)),
}
# A column of which nothing may be shown; it has no height that could be read.
UNSHOWN: Final[Style] = {
    "facecolor": SURFACE,
    "edgecolor": "none",
    "hatchcolor": HAIR,
    "hatch": "\\",
    "linewidth": 0,
}


def letter(index: int) -> str:
    """Return A, B, … Z, AA, … for 0, 1, …"""
    found = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        found = chr(ord("A") + rest) + found
    return found

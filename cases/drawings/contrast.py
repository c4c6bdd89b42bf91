"""Contrast of the sheet's colours, measured the way WCAG 2.2 defines it."""

import re
from typing import Final

__all__ = ["PAIRS", "contrast_ratio", "tokens_of"]

# What must be told apart from what, and the least ratio: 4.5 for text (WCAG 2.2,
# 1.4.3), 3 for borders and marks that carry meaning (1.4.11).
PAIRS: Final[tuple[tuple[str, str, float], ...]] = (
    *(
        (ink, ground, 4.5)
        for ink in ("ink", "ink-2", "accent", "insufficient", "sufficient")
        for ground in ("paper", "surface", "sunk", "accent-soft")
    ),
    *(
        (ink, ground, 4.5)
        for ink in ("undecided", "unmeasured", "not-applicable")
        for ground in ("paper", "surface", "sunk", "accent-soft")
    ),
    ("sufficient", "sufficient-bg", 4.5),
    ("undecided", "undecided-bg", 4.5),
    ("insufficient", "insufficient-bg", 4.5),
    ("ink", "sufficient-bg", 4.5),
    ("ink", "undecided-bg", 4.5),
    ("ink", "insufficient-bg", 4.5),
    ("on-insufficient", "insufficient", 4.5),
    ("on-accent", "accent", 4.5),
    ("surface", "ink", 4.5),
    ("on-bar", "bar", 4.5),
    ("on-bar-2", "bar", 4.5),
    ("bar", "on-bar", 4.5),
    ("ink", "chart-room", 4.5),
    ("ink", "chart-tooth", 4.5),
    ("edge", "paper", 3),
    ("edge", "surface", 3),
    ("edge", "sunk", 3),
    ("edge", "chart-tooth", 3),
    ("focus", "paper", 3),
    ("focus", "surface", 3),
    ("focus", "sunk", 3),
    ("focus", "accent-soft", 3),
)

_RULE: Final = re.compile(r"([^{}]*)\{([^{}]*)\}")
_TOKEN: Final = re.compile(r"--([a-z0-9-]+):\s*(#[0-9a-fA-F]{6})\b")
_COMMENT: Final = re.compile(r"/\*.*?\*/", re.DOTALL)


def _luminance(colour: str) -> float:
    """Return relative luminance (WCAG 2.2, definition of the term)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(one: str, other: str) -> float:
    """Return the contrast ratio of two ``#rrggbb`` colours, 1 to 21."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _collected(css: str, selector: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for head, body in _RULE.findall(css):
        if head.strip().split("\n")[-1].strip() == selector:
            found |= dict(_TOKEN.findall(body))
    return found


def tokens_of(css: str) -> dict[str, dict[str, str]]:
    """Return the colour tokens of a sheet: ``light``, ``dark``, ``laboratory``.

    The dark set holds the light values that it does not replace. The rules of
    the print section are left out.
    """
    bare = _COMMENT.sub("", css)
    screen = bare.split("@media print", 1)[0]
    light_part, _, rest = screen.partition("@media (prefers-color-scheme: dark)")
    dark_part, _, after = rest.partition("[data-side")
    light = _collected(light_part, ":root")
    dark = light | _collected(dark_part.replace("{", "", 1), ":root")
    side = _collected("[data-side" + after, '[data-side="laboratory"]')
    return {"light": light, "dark": dark, "laboratory": light | side}

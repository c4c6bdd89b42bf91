"""What the marks of a picture mean: samples with words, in lines below it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from cases.charts.sheet import LEADING, Sheet, lines_of
from cases.drawings.palette import INK
from cases.drawings.svg import text_width

__all__ = ["Key", "legend", "legend_height", "mark"]

_SIZE = 12.5
_SAMPLE = 26.0
_GAP = 18.0


@dataclass(frozen=True, slots=True)
class Key:
    """One sample: a "line", a "box", a "mark" in the picture's own style, or "none".

    ``inside``: a letter or number in the mark. ``own_line``: nothing stands beside it.
    """

    words: str
    kind: str
    style: Mapping[str, Any] = field(default_factory=dict)
    inside: str = ""
    own_line: bool = False


@dataclass(frozen=True, slots=True)
class _Placed:
    key: Key
    x: float
    y: float
    lines: list[str]


def _placed(keys: Sequence[Key], width: float) -> tuple[list[_Placed], float]:
    """Return where each key goes, side by side while they fit, and the height."""
    found: list[_Placed] = []
    x, y, tall = 0.0, 0.0, 0.0
    for key in keys:
        lines = lines_of(key.words, size=_SIZE, width=width - _SAMPLE - 8)
        needed = _SAMPLE + 8 + max(text_width(one, _SIZE) for one in lines)
        if x and (key.own_line or x + needed > width):
            x, y, tall = 0.0, y + tall, 0.0
        found.append(_Placed(key, x, y, lines))
        least = 22.0 if key.inside else 0.0
        tall = max(tall, len(lines) * _SIZE * LEADING + 4, least)
        x += width if key.own_line else needed + _GAP
    return found, y + tall


def legend_height(keys: Sequence[Key], width: float) -> float:
    """Return how much room the keys need in a picture of this width."""
    return _placed(keys, width - 4)[1]


def legend(sheet: Sheet, keys: Sequence[Key], top: float) -> None:
    """Write the keys from ``top`` down."""
    for one in _placed(keys, sheet.width - 4)[0]:
        x, y = one.x + 2, top + one.y + _SIZE
        _sample(sheet, one.key, x, y - _SIZE * 0.35)
        after = 0.0 if one.key.kind == "none" else _SAMPLE + 8
        sheet.column(x + after, y, one.lines, size=_SIZE, quiet=True)


def mark(
    sheet: Sheet, x: float, y: float, style: Mapping[str, Any], inside: str
) -> None:
    """Draw a mark with a letter or number inside."""
    sheet.draw(Line2D([x], [y], linestyle="none", **style))
    if inside:
        size = 11 if len(inside) == 1 else 9
        inverse = style.get("markerfacecolor") == INK
        sheet.write(
            x, y + size * 0.35, inside, size=size, bold=True, anchor="middle",
            inverse=inverse,
        )  # fmt: skip


def _sample(sheet: Sheet, key: Key, x: float, y: float) -> None:
    if key.kind == "box":
        sheet.draw(Rectangle((x + 1, y - 5), _SAMPLE - 2, 10, **key.style))
    elif key.kind == "mark":
        mark(sheet, x + _SAMPLE / 2, y, key.style, key.inside)
    elif key.kind == "line":
        across = [x, x + _SAMPLE / 2, x + _SAMPLE]
        sheet.draw(Line2D(across, [y] * 3, markevery=[1], **key.style))

"""What the marks of a picture mean: samples with words, in lines below it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from cases.charts.sheet import LEADING, Sheet, lines_of
from cases.drawings.svg import text_width

__all__ = ["Key", "legend", "legend_height"]

_SIZE = 12.5
_SAMPLE = 26.0
_GAP = 18.0


@dataclass(frozen=True, slots=True)
class Key:
    """One sample: a "line", a "box" or a "mark" in the style of the picture's own."""

    words: str
    kind: str
    style: Mapping[str, Any] = field(default_factory=dict)


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
        if x and x + needed > width:
            x, y, tall = 0.0, y + tall, 0.0
        found.append(_Placed(key, x, y, lines))
        tall = max(tall, len(lines) * _SIZE * LEADING + 4)
        x += needed + _GAP
    return found, y + tall


def legend_height(keys: Sequence[Key], width: float) -> float:
    """Return how much room the keys need in a picture of this width."""
    return _placed(keys, width - 4)[1]


def legend(sheet: Sheet, keys: Sequence[Key], top: float) -> None:
    """Write the keys from ``top`` down."""
    for one in _placed(keys, sheet.width - 4)[0]:
        x, y = one.x + 2, top + one.y + _SIZE
        _sample(sheet, one.key, x, y - _SIZE * 0.35)
        sheet.column(x + _SAMPLE + 8, y, one.lines, size=_SIZE, quiet=True)


def _sample(sheet: Sheet, key: Key, x: float, y: float) -> None:
    if key.kind == "box":
        sheet.draw(Rectangle((x + 1, y - 5), _SAMPLE - 2, 10, **key.style))
    elif key.kind == "mark":
        sheet.draw(Line2D([x + _SAMPLE / 2], [y], linestyle="none", **key.style))
    else:
        sheet.draw(Line2D([x + 3, x + _SAMPLE - 3], [y, y], **key.style))

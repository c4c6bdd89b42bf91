"""A picture: axes of matplotlib at fixed places, words over them, a name for both.

Places are pixels from the upper left; what stands in an axes is in its own numbers.
"""

from collections.abc import Iterable
from typing import Final

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Affine2D

from cases.charts.renderer import SvgRenderer, safe_uid
from cases.drawings.palette import FAINT, HAIR, INK, INK_2, SURFACE
from cases.drawings.svg import FONT, Point, escape, number, tag, text, wrap

__all__ = [
    "LEADING",
    "NARROW",
    "WIDE",
    "Sheet",
    "grid",
    "lines_of",
    "rule",
    "steps_of",
]

WIDE: Final = 740.0
NARROW: Final = 340.0
LEADING: Final = 1.22
# No white space to a splitter, and in no text: the private use area's first.
_KEPT: Final = "\ue000"


def steps_of(highest: float, *, whole: bool = False, at_most: int = 5) -> list[float]:
    """Return round numbers from 0 to just beyond ``highest``."""
    locator = MaxNLocator(nbins=at_most, steps=[1, 2, 2.5, 5, 10], integer=whole)
    top = highest if highest > 0 else 1.0
    return [float(value) for value in locator.tick_values(0, top)]


class Sheet:
    """One picture in the making."""

    def __init__(self, width: float, height: float, *, uid: str) -> None:
        self.width = width
        self.height = height
        self._uid = safe_uid(uid)
        self._figure = Figure(figsize=(width / 72, height / 72), dpi=72)
        self._figure.patch.set_visible(False)
        self._over: list[str] = []

    def axes(
        self,
        box: tuple[float, float, float, float],
        *,
        x: tuple[float, float],
        y: tuple[float, float],
    ) -> Axes:
        """Return axes in a box of left, top, right, bottom with these ends."""
        left, top, right, bottom = box
        made = self._figure.add_axes(
            (
                left / self.width,
                1 - bottom / self.height,
                (right - left) / self.width,
                (bottom - top) / self.height,
            )
        )
        made.set_axis_off()
        made.set_xlim(*x)
        made.set_ylim(*y)
        return made

    def draw(self, artist: Artist) -> None:
        """Draw something whose numbers are pixels of the picture."""
        pixels = Affine2D().scale(1, -1).translate(0, self.height)
        artist.set_transform(pixels)
        self._figure.add_artist(artist)

    def place(self, axes: Axes, x: float, y: float) -> Point:
        """Return where a point of an axes lies in the picture."""
        across, up = axes.transData.transform((x, y))
        return float(across), self.height - float(up)

    def write(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 13,
        bold: bool = False,
        anchor: str = "start",
        quiet: bool = False,
        inverse: bool = False,
    ) -> None:
        """Write a line of words; ``y`` is its baseline, ``inverse`` is on ink."""
        fill, class_ = (INK_2, "c-ink2") if quiet else (INK, "c-ink")
        if inverse:
            fill, class_ = SURFACE, "c-surface"
        self._over.append(
            text(x, y, words, size=size, bold=bold, anchor=anchor, fill=fill,
                 class_=class_)
        )  # fmt: skip

    def column(
        self,
        x: float,
        y: float,
        lines: Iterable[str],
        *,
        size: float = 13,
        bold: bool = False,
        anchor: str = "start",
        quiet: bool = False,
    ) -> float:
        """Write lines below each other; return the baseline of the next one."""
        for one in lines:
            self.write(x, y, one, size=size, bold=bold, anchor=anchor, quiet=quiet)
            y += size * LEADING
        return y

    def over(self, markup: str) -> None:
        """Add a drawing of ``cases.drawings`` above the shapes."""
        self._over.append(markup)

    def svg(self, *, title: str, describe: str) -> str:
        """Return the picture, named and described for a screen reader.

        It has no size of its own and fills the width it is given.
        """
        renderer = SvgRenderer(self.width, self.height, self._uid)
        self._figure.draw(renderer)
        names = [f"{self._uid}-t", f"{self._uid}-d"]
        head = tag("title", escape(title) or " ", id=names[0]) + tag(
            "desc", escape(describe) or " ", id=names[1]
        )
        return tag(
            "svg",
            head + renderer.markup() + "".join(self._over),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {number(self.width)} {number(self.height)}",
            role="img",
            aria_labelledby=" ".join(names),
            font_family=FONT,
            class_=f"chart {'chart-stacked' if self.width == NARROW else 'chart-wide'}",
        )


def grid(axes: Axes, *, x: Iterable[float] = (), y: Iterable[float] = ()) -> None:
    """Draw faint lines behind everything else."""
    for value in x:
        axes.axvline(value, color=FAINT, linewidth=1, zorder=0, clip_on=False)
    for value in y:
        axes.axhline(value, color=FAINT, linewidth=1, zorder=0, clip_on=False)


def rule(axes: Axes, *, x: float | None = None, y: float | None = None) -> None:
    """Draw the line that bars stand on."""
    if x is not None:
        axes.axvline(x, color=HAIR, linewidth=1.2, zorder=1, clip_on=False)
    if y is not None:
        axes.axhline(y, color=HAIR, linewidth=1.2, zorder=1, clip_on=False)


def lines_of(words: str, *, size: float, width: float) -> list[str]:
    """Return the lines of words in a column, at least one; a number keeps its unit."""
    kept = words.replace("\N{NO-BREAK SPACE}", _KEPT)
    lines = wrap(kept, size=size, width=width) or [""]
    return [one.replace(_KEPT, "\N{NO-BREAK SPACE}") for one in lines]

"""One site's scale: what was measured against what is needed."""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Final

from cases.drawings.figures import Captions, SiteMark, mm_text
from cases.drawings.palette import HAIR, INK, INK_2, ROOM, SURFACE, VERDICT
from cases.drawings.svg import line, polygon, tag, text, text_width

__all__ = ["HEIGHT", "Scale", "shared_maximum"]

HEIGHT: Final = 44.0  # need label above, lane, ticks with numbers below
_LANE: Final = 15.0
_BAR: Final = 8.0
_FURTHEST: Final = Decimal(4)  # above the largest need; more only squeezes the rest


def shared_maximum(marks: tuple[SiteMark, ...]) -> float:
    """Return the right end of all scales of one chart, in millimetres.

    Half a millimetre beyond the largest figure, in steps of a half, at least 2;
    a stray reading far beyond every need is clipped rather than followed.
    """
    needs = [v for m in marks for v in (m.need_mm, m.target_mm) if v is not None]
    seen = [v for m in marks for v in (m.low_mm, m.high_mm) if v is not None]
    seen += [m.low_mm + 2 * m.u_mm for m in marks if m.low_mm is not None and m.u_mm]
    largest_need = max(needs, default=Decimal(2))
    largest = max([largest_need, min(max(seen, default=Decimal(0)),
                                     largest_need + _FURTHEST)])  # fmt: skip
    steps = ((largest + Decimal("0.3")) * 2).to_integral_value(ROUND_CEILING)
    return max(2.0, float(steps) / 2)


@dataclass(frozen=True, slots=True)
class Scale:
    """A lane from 0 to ``maximum`` mm between two x coordinates."""

    left: float
    right: float
    maximum: float
    captions: Captions

    def x(self, value: Decimal | float) -> float:
        """Return where a length lies, held inside the lane."""
        share = min(max(float(value) / self.maximum, 0.0), 1.0)
        return self.left + share * (self.right - self.left)

    def off(self, value: Decimal | float) -> bool:
        """Whether a length lies beyond either end."""
        return not 0 <= float(value) <= self.maximum

    def draw(self, mark: SiteMark, y: float) -> str:
        """Return the scale of one site, its top edge at ``y``."""
        lane = y + 13
        # A point lies on top of the line of its need; a bar would hide that line.
        layers = [self._measured(mark, lane + _LANE / 2), self._limits(mark, lane)]
        return "".join(
            (
                self._track(mark, lane),
                self._ticks(lane + _LANE),
                self._missing(mark, lane + _LANE / 2),
                *(layers[::-1] if mark.is_point else layers),
            )
        )

    def _track(self, mark: SiteMark, y: float) -> str:
        parts = []
        if mark.need_mm is not None:
            start = self.x(mark.need_mm)
            parts.append(
                tag("rect", x=start, y=y, width=self.right - start, height=_LANE,
                    fill=ROOM, class_="c-room")
            )  # fmt: skip
        parts.append(
            tag("rect", x=self.left, y=y, width=self.right - self.left,
                height=_LANE, fill="none", stroke=HAIR, stroke_width=1, class_="c-hair")
        )  # fmt: skip
        return "".join(parts)

    def _ticks(self, y: float) -> str:
        parts = []
        for step in range(int(self.maximum * 2) + 1):
            x = self.x(step / 2)
            whole = step % 2 == 0
            parts.append(
                line((x, y), (x, y + (5 if whole else 3)), stroke=HAIR, class_="c-hair")
            )
            if whole:
                label = str(step // 2)
                parts.append(
                    text(x, y + 15, label, size=11, anchor="middle", fill=INK_2,
                         class_="c-ink2")
                )  # fmt: skip
        unit = self.captions.unit
        parts.append(
            text(self.right + 6, y + 15, unit, size=11, fill=INK_2, class_="c-ink2")
        )
        return "".join(parts)

    def _missing(self, mark: SiteMark, y: float) -> str:
        """Return the stretch from the upper end of the reading to the need."""
        high = mark.high_mm
        if high is None or mark.need_mm is None or high >= mark.need_mm:
            return ""
        colour, class_ = VERDICT["insufficient"], "s-insufficient"
        return line(
            (self.x(high), y), (self.x(mark.need_mm), y),
            stroke=colour, class_=class_, width=2.5, dash="3 2",
        )  # fmt: skip

    def _measured(self, mark: SiteMark, y: float) -> str:
        if mark.low_mm is None and mark.high_mm is None:
            return ""
        if mark.is_point and mark.low_mm is not None:
            return self._point(mark.low_mm, mark.u_mm, y)
        return self._interval(mark.low_mm, mark.high_mm, y)

    def _point(self, value: Decimal, u: Decimal | None, y: float) -> str:
        parts = []
        if u:
            low, high = self.x(value - 2 * u), self.x(value + 2 * u)
            parts.append(
                line((low, y), (high, y), stroke=INK, class_="c-line", width=2)
            )
            parts += [
                line((x, y - 4), (x, y + 4), stroke=INK, class_="c-line", width=2)
                for x in (low, high)
            ]
        parts.append(
            tag("circle", cx=self.x(value), cy=y, r=5.5, fill=INK, stroke=SURFACE,
                stroke_width=1.5, class_="c-ink s-halo",
                data_reading="point")
        )  # fmt: skip
        if self.off(value):
            parts.append(self._arrow(y, to_right=value > 0))
        return "".join(parts)

    def _interval(self, low: Decimal | None, high: Decimal | None, y: float) -> str:
        start = self.left if low is None else self.x(low)
        end = self.right if high is None else self.x(high)
        open_left = low is None or low < 0
        open_right = high is None or self.off(high)
        bar_start = start + (7 if open_left else 0)
        bar_end = max(end - (7 if open_right else 0), bar_start + 2)
        parts = [
            tag("rect", x=bar_start, y=y - _BAR / 2, width=bar_end - bar_start,
                height=_BAR, fill=INK, class_="c-ink", data_reading="interval")
        ]  # fmt: skip
        if open_left:
            parts.append(self._arrow(y, to_right=False))
        if open_right:
            parts.append(self._arrow(y, to_right=True))
        return "".join(parts)

    def _arrow(self, y: float, *, to_right: bool) -> str:
        tip = self.right if to_right else self.left
        back = tip - 9 if to_right else tip + 9
        return tag(
            "path", d=polygon(((tip, y), (back, y - 7), (back, y + 7))), fill=INK,
            class_="c-ink", data_end="open",
        )  # fmt: skip

    def _limits(self, mark: SiteMark, y: float) -> str:
        """Return the line of the need with its figure, and the target's."""
        if mark.need_mm is None:
            return ""
        parts = []
        said = f"{self.captions.need} {mm_text(mark.need_mm, self.captions)}"
        target = mark.target_mm
        if target is not None and target != mark.need_mm:
            x = self.x(target)
            parts.append(
                line((x, y - 2), (x, y + _LANE + 2), stroke=INK, class_="c-line",
                     width=1.5, dash="3 2")
            )  # fmt: skip
            said += f", {self.captions.target} {mm_text(target, self.captions)}"
        x = self.x(mark.need_mm)
        parts += [
            line((x, y - 2), (x, y + _LANE + 2), stroke=SURFACE, class_="s-halo", width=6),
            line((x, y - 4), (x, y + _LANE + 4), stroke=INK, class_="c-line", width=2.5),
        ]  # fmt: skip
        half = text_width(said, 12) / 2
        middle = min(max(x, self.left + half), self.right - half)
        parts.append(text(middle, y - 6, said, size=12, anchor="middle"))
        return "".join(parts)

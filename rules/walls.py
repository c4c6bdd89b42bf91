"""What becomes of the axial walls when a preparation is cut deeper (mm, degrees).

Published minima and limiting convergence stand in ``rules.structure``. Below them an
option stays feasible, with auxiliary features: the clinician decides. Only a wall that
would be gone refuses it.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from rules.explain import mm
from rules.request import Unit
from rules.structure import (
    ADVISED_CONVERGENCE,
    MINIMUM_RATIO,
    limiting_convergence,
    minimum_height,
    ratio,
    walls_shortened,
)
from rules.teeth import wall_label
from rules.terms import Message, Site, Wall

__all__ = ["Depth", "lowered_walls", "short_walls", "wall_messages"]


def _(text: str) -> str:
    return text


Depth = tuple[Site, Decimal, Decimal]
_ZERO = Decimal(0)


def lowered_walls(unit: Unit, depths: Sequence[Depth]) -> dict[Wall, Decimal]:
    """Return how much height each affected wall loses at most, in listing order."""
    lowered: dict[Wall, Decimal] = {}
    for site, _low, high in depths:
        for wall in walls_shortened(site, unit.tooth, unit.relation):
            lowered[wall] = max(high, lowered.get(wall, _ZERO))
    return {wall: lowered[wall] for wall in Wall if wall in lowered}


def short_walls(unit: Unit, depths: Sequence[Depth]) -> tuple[Wall, ...]:
    """Return the stated walls below a published minimum, now or once cut."""
    lowered = lowered_walls(unit, depths)
    return tuple(
        wall
        for wall, height in unit.wall_heights_mm
        if _is_short(unit, height - lowered.get(wall, _ZERO))
    )


def _is_short(unit: Unit, height: Decimal) -> bool:
    base = unit.base_width_mm
    low = base is not None and ratio(height, base) < MINIMUM_RATIO
    return low or height < minimum_height(unit.tooth)


def wall_messages(
    unit: Unit, depths: Sequence[Depth]
) -> tuple[list[Message], list[Message]]:
    """Return what becomes of the walls, and reasons where a wall would be gone."""
    lowered, stated = lowered_walls(unit, depths), dict(unit.wall_heights_mm)
    kept: list[Message] = []
    lost: list[Message] = []
    for wall, loss in lowered.items():
        params = {"wall": wall_label(wall, unit.tooth)}
        if wall not in stated:
            kept.append(Message(_STATE_IT, params))
        elif stated[wall] <= loss:
            lost.append(Message(_GONE, params))
        else:
            kept.append(_height(unit, wall, stated[wall], stated[wall] - loss))
            kept += _resistance(unit, wall, stated[wall], stated[wall] - loss)
    return kept + _convergence(unit, lowered), lost


_STATE_IT = _("The {wall} loses height: state it to check it.")
_GONE = _("Nothing would be left of the {wall}.")


def _height(unit: Unit, wall: Wall, before: Decimal, after: Decimal) -> Message:
    base = unit.base_width_mm
    params = {
        "wall": wall_label(wall, unit.tooth),
        "before": mm(before),
        "height": mm(after),
        "least": mm(minimum_height(unit.tooth)),
    }
    if base is not None:
        params |= {
            "ratio_before": f"{ratio(before, base):.2f}",
            "ratio": f"{ratio(after, base):.2f}",
            "share": f"{MINIMUM_RATIO}",
        }
    return Message(_HEIGHT[_is_short(unit, after), base is not None], params)


_HEIGHT = {
    (True, False): _(
        "The {wall} would fall from {before} to {height} mm (published minimum {least} "
        "mm): feasible with grooves, boxes or adhesive cementation; the clinician "
        "decides."
    ),
    (True, True): _(
        "The {wall} would fall from {before} to {height} mm (published minimum {least} "
        "mm) and from {ratio_before} to {ratio} of the base width (minimum {share}): "
        "feasible with grooves, boxes or adhesive cementation; the clinician decides."
    ),
    (False, False): _(
        "The {wall} goes from {before} to {height} mm at least, which is not below the "
        "published minimum of {least} mm."
    ),
    (False, True): _(
        "The {wall} goes from {before} to {height} mm at least and from {ratio_before} "
        "to {ratio} of the base width, which is not below the published minima of "
        "{least} mm and {share}."
    ),
}


def _resistance(
    unit: Unit, wall: Wall, before: Decimal, after: Decimal
) -> list[Message]:
    """Compare limiting convergence before and after with what is stated."""
    base, stated = unit.base_width_mm, unit.convergence_deg
    if base is None:
        return []
    limit = limiting_convergence(after, base)
    params = {
        "wall": wall_label(wall, unit.tooth),
        "before": f"{limiting_convergence(before, base):.1f}",
        "after": f"{limit:.1f}",
    }
    if stated is None:
        return [Message(_LIMIT, params)]
    enough = float(stated) < limit
    params |= {"stated": f"{stated:.1f}"}
    return [Message(_LIMIT_KEPT if enough else _LIMIT_PASSED, params)]


_LIMIT = _(
    "The {wall} resists tipping below {after} degrees of total convergence then, below "
    "{before} now."
)
_LIMIT_KEPT = _(
    "The {wall} resists tipping below {after} degrees of total convergence then, below "
    "{before} now; with {stated} degrees it does."
)
_LIMIT_PASSED = _(
    "The {wall} resists tipping below {after} degrees of total convergence then, below "
    "{before} now; with {stated} degrees it does not: add grooves or boxes."
)


def _convergence(unit: Unit, lowered: Mapping[Wall, Decimal]) -> list[Message]:
    stated = unit.convergence_deg
    if not lowered or stated is None or stated <= ADVISED_CONVERGENCE:
        return []
    params = {"stated": f"{stated:.1f}", "most": f"{ADVISED_CONVERGENCE}"}
    return [
        Message(
            _(
                "The total convergence of {stated} degrees is more than {most}: reduce "
                "it, or add grooves or boxes."
            ),
            params,
        )
    ]

"""The plan before a preparation as sentences.

The laterotrusions are named right and left, with what they are for this tooth: the
side named is the working side of its own teeth.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.guide import WALL_SITES, Plan, PlanSite
from rules.needs import Sharing
from rules.said import mm
from rules.teeth import working_side
from rules.terms import (
    Kind,
    Message,
    Position,
    Quantity,
    Relation,
    Site,
    label,
)

__all__ = ["position_said", "positions_said", "sentences_for"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
_SIDES = (Position.RIGHT_LATEROTRUSION, Position.LEFT_LATEROTRUSION)


def position_said(position: Position, tooth: str) -> str | Message:
    """Return a jaw position; a laterotrusion with what it is for this tooth."""
    if position not in _SIDES:
        return label(position)
    side = (
        _("{position} (working side)")
        if position is working_side(tooth)
        else _("{position} (non-working side)")
    )
    return Message(side, {"position": label(position)})


def positions_said(positions: Sequence[Position], tooth: str) -> str | Message:
    """Return jaw positions as a list; empty for none."""
    said: str | Message = ""
    for number, position in enumerate(positions):
        one = position_said(position, tooth)
        last = number == len(positions) - 1
        joined = _("{first} and {rest}") if last else _("{first}, {rest}")
        said = Message(joined, {"first": said, "rest": one}) if number else one
    return said


def sentences_for(plan: Plan, line: PlanSite) -> tuple[Message, ...]:
    """Return what one line asks for, where to try it too, and where to aim."""
    own = line.need.own
    if own is None:
        return (_unstated(plan, line),)
    said = [_asked(plan, line), *_also(plan, line)]
    least, target = line.need.min_mm, line.need.target_mm
    if least is not None and target is not None and target > least:
        said.append(Message(_AIM, {"target": mm(target)}))
    if own.max_mm is not None and line.need.sharing is Sharing.OWN:
        said.append(Message(_MOST, {"most": mm(own.max_mm)}))
    return tuple(said)


_AIM = _("Aim at {target} mm.")
_MOST = _("More than {most} mm takes tooth without need.")


def _unstated(plan: Plan, line: PlanSite) -> Message:
    material = plan.rule_set.material(plan.unit.material)
    return Message(
        _(
            "At the {site}: no requirement for {material} as {kind}. Take the figure "
            "from the instructions for use."
        ),
        {
            "site": line.label,
            "material": material.label if material else plan.unit.material,
            "kind": label(plan.unit.kind),
        },
    )


def _asked(plan: Plan, line: PlanSite) -> Message:
    need, tooth = line.need, plan.unit.tooth
    params: dict[str, str | Message] = {
        "site": line.label,
        "need": mm(need.min_mm or _ZERO),
        "own": mm(need.own.min_mm) if need.own else "",
        "positions": positions_said(line.required, tooth),
    }
    if line.quantity is Quantity.WIDTH:
        return Message(_("The finish line must be at least {need} mm wide."), params)
    if line.quantity is Quantity.REDUCTION:
        return Message(_reduction(plan, line), params)
    if need.sharing is Sharing.UNKNOWN:
        return Message(_UNKNOWN, params)
    if need.sharing is Sharing.SUMMED and need.facing is not None:
        params |= {"facing": mm(need.facing.min_mm), "tooth": need.facing_tooth}
        return Message(_SHARED[bool(line.required)], params)
    if not line.required:
        open_bite = plan.unit.relation is Relation.OPEN
        return Message(_OPEN if open_bite else _ANYWHERE, params)
    if line.site is Site.IMPLANT_PLATFORM:
        return Message(_PLATFORM, params)
    return Message(_CLEARANCE[plan.unit.kind], params)


def _reduction(plan: Plan, line: PlanSite) -> str:
    """Without contact the tooth is reduced to the plane that is planned for it."""
    meets_nothing = plan.unit.relation in (Relation.NO_ANTAGONIST, Relation.SCISSOR)
    axial = line.site in (*WALL_SITES, Site.FACIAL_SURFACE)
    return _TO_PLANE if meets_nothing and not axial else _TO_CONTOUR


_TO_CONTOUR = _(
    "At the {site} the index must show at least {need} mm of reduction to the planned "
    "contour."
)
_TO_PLANE = _(
    "At the {site} nothing meets the tooth: an index of the planned plane must show at "
    "least {need} mm of reduction."
)
_UNKNOWN = _(
    "At the {site} both teeth are prepared: state what is made for the opposing tooth. "
    "{own} mm is this tooth's own part of the gap."
)
_SHARED = {
    True: _(
        "At the {site} both teeth are prepared: the gap must let {need} mm pass in "
        "{positions}, {own} mm for this tooth and {facing} mm for tooth {tooth}."
    ),
    False: _(
        "At the {site} both teeth are prepared: the gap must let {need} mm pass, {own} "
        "mm for this tooth and {facing} mm for tooth {tooth}."
    ),
}
_OPEN = _(
    "At the {site} the bite is open in maximal intercuspation: the {need} mm thickness "
    "must slide freely in the excursions in which the teeth meet."
)
_ANYWHERE = _(
    "At the {site} the {need} mm thickness must slide freely wherever the teeth meet."
)
_THICKNESS = _(
    "At the {site} the {need} mm thickness must slide freely in {positions}."
)
_RIDGE = _(
    "At the {site} the {need} mm thickness must pass between ridge and antagonist in "
    "{positions}."
)
_ABUTMENT = _(
    "At the {site} the {need} mm thickness must pass between abutment and antagonist "
    "in {positions}."
)
_PLATFORM = _(
    "From the {site} to the antagonist there must be {need} mm in {positions}."
)
_CLEARANCE = dict.fromkeys(Kind, _THICKNESS) | {
    Kind.PONTIC: _RIDGE,
    Kind.IMPLANT_CROWN: _ABUTMENT,
}


def _also(plan: Plan, line: PlanSite) -> list[Message]:
    if not line.advised or line.need.min_mm is None:
        return []
    said = positions_said(line.advised, plan.unit.tooth)
    return [Message(_("Also try {positions}."), {"positions": said})]

"""What to keep in mind beside the plan: sums, walls, convergence, bevel, dentine."""

from dataclasses import dataclass

from rules.dentine import CAUTION_MM, STOP_MM
from rules.guide import Plan
from rules.needs import Sharing
from rules.said import mm
from rules.structure import MINIMUM_RATIO, minimum_height
from rules.teeth import functional_row, is_anterior, site_label
from rules.terms import Kind, Message, Relation

__all__ = ["Kept", "keep_in_mind"]


def _(text: str) -> str:
    return text


_WALLED = (Kind.CROWN, Kind.RETAINER)
_COVERED = (*_WALLED, Kind.ONLAY)


@dataclass(frozen=True, slots=True)
class Kept:
    """Something to keep in mind, and where it comes from."""

    text: Message
    source: str


def _built(plan: Plan) -> tuple[Kept, ...]:
    """Say how needs come from the finished wall of an instruction for use."""
    found: dict[str, Kept] = {}
    for line in plan.stated:
        for own in (line.need.own, line.need.facing):
            if own is None or own.thickness_mm is None:
                continue
            params = {
                "need": mm(own.min_mm),
                "thickness": mm(own.thickness_mm),
                "cement": mm(plan.rule_set.cement_space_mm),
                "adjustment": mm(plan.rule_set.adjustment_mm),
            }
            found.setdefault(params["need"], Kept(Message(_SUM, params), own.source))
    return tuple(found.values())


_SUM = _(
    "{need} mm = {thickness} mm thickness + {cement} mm cement space + {adjustment} mm "
    "adjustment allowance."
)
_GOODACRE = "Goodacre, Campagni, Aquilino, J Prosthet Dent 2001;85:363-376 (abstract)"
_CHAPTER = (
    "chapter on complete cast crowns of a fixed prosthodontics textbook, web copy "
    "without author (secondary)"
)
_PULP = "secondary sources, to be confirmed"
_NO_SOURCE = "common practice, no source"


def keep_in_mind(plan: Plan) -> tuple[Kept, ...]:
    """Return how needs are built, walls, bevel and dentine, as far as there are any."""
    unit, found = plan.unit, list(_built(plan))
    if unit.kind in _WALLED:
        params = {"least": mm(minimum_height(unit.tooth)), "share": f"{MINIMUM_RATIO}"}
        found += [
            Kept(Message(_HEIGHT, params), _GOODACRE),
            Kept(Message(_CONVERGENCE), _GOODACRE),
            Kept(Message(_BELOW), _GOODACRE),
        ]
    if _bevelled(plan):
        row = site_label(functional_row(unit.tooth, unit.relation), unit.tooth)
        found.append(Kept(Message(_BEVEL, {"row": row}), _CHAPTER))
    if unit.kind not in (Kind.PONTIC, Kind.IMPLANT_CROWN):
        params = {"caution": mm(CAUTION_MM), "stop": mm(STOP_MM)}
        found.append(Kept(Message(_DENTINE, params), _PULP))
    if any(line.need.sharing is not Sharing.OWN for line in plan.sites):
        found.append(Kept(Message(_SPLIT), _NO_SOURCE))
    return tuple(found)


def _bevelled(plan: Plan) -> bool:
    meets = plan.unit.relation not in (Relation.SCISSOR, Relation.NO_ANTAGONIST)
    posterior = not is_anterior(plan.unit.tooth)
    return meets and posterior and plan.unit.kind in _COVERED


_HEIGHT = _(
    "Leave every wall at least {least} mm high and at least {share} of the faciolingual "
    "base width."
)
_CONVERGENCE = _("Let opposing walls converge by 10 to 20 degrees in all.")
_BELOW = _(
    "Where height, share or convergence cannot be had: grooves or boxes, preferably "
    "proximal."
)
_BEVEL = _(
    "Bevel the functional cusp on its outer slope ({row}), about 45 degrees to the long "
    "axis, parallel to the inner slope it meets."
)
_DENTINE = _(
    "Keep {caution} mm of dentine over the pulp: caution below it, stop at {stop} mm."
)
_SPLIT = _(
    "A gap does not tell how it is split: fix it by wax-up, index or provisional, and "
    "reduce each tooth against its own planned contour."
)

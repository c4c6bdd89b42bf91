"""What is left over the pulp when a preparation is cut deeper (mm).

Over 2 mm of dentine there is hardly any response of the pulp, and 0.5 mm is the least
that averts irreversible damage (both figures from secondary sources, to be confirmed
by the prosthodontist who signs the rule set): below 2.0 caution, below 0.5 stop.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.explain import mm
from rules.request import Unit
from rules.teeth import arch, tooth_class
from rules.terms import Arch, Message, Site, ToothClass
from rules.walls import Depth

__all__ = ["CAUTION_MM", "STOP_MM", "dentine_messages"]


def _(text: str) -> str:
    return text


CAUTION_MM = Decimal("2.0")
STOP_MM = Decimal("0.5")
_ZERO = Decimal(0)
# Depths that do not go towards the pulp from the occlusal surface.
_AXIAL = frozenset(
    {
        Site.FACIAL_SURFACE,
        Site.FACIAL_WALL,
        Site.LINGUAL_WALL,
        Site.MESIAL_WALL,
        Site.DISTAL_WALL,
        Site.FINISH_LINE,
    }
)


def dentine_messages(
    unit: Unit, depths: Sequence[Depth], needed: Sequence[Depth]
) -> tuple[list[Message], list[Message]]:
    """Return what to know of the dentine left, and reasons where too little is.

    ``depths`` go down to the targets, ``needed`` to the needs alone: where only the
    target would cost too much, the cut stops at the need.
    """
    warnings = [_INCISOR[key] for key in [_incisor(unit.tooth)] if key in _INCISOR]
    most, least = _deepest(depths), _deepest(needed)
    if unit.dentine_mm is None or not most:
        return [_ASK, *warnings], []
    left, at_need = unit.dentine_mm - most, unit.dentine_mm - least
    params = {"left": mm(max(left, _ZERO)), "most": mm(most)}
    limits = {"least": mm(STOP_MM), "caution": mm(CAUTION_MM), "need": mm(least)}
    if at_need < STOP_MM:
        kept = {"left": mm(max(at_need, _ZERO)), "most": mm(least)}
        return warnings, [Message(_STOP, limits | kept)]
    if left < STOP_MM:
        return [Message(_STOP_AT_NEED, limits | params), *warnings], []
    if left < CAUTION_MM:
        return [Message(_CAUTION, limits | params), *warnings], []
    return [Message(_KEPT, params), *warnings], []


def _deepest(depths: Sequence[Depth]) -> Decimal:
    """Return the most that is cut from the occlusal surface towards the pulp."""
    cut = (high for site, _low, high in depths if site not in _AXIAL)
    return max(cut, default=_ZERO)


def _incisor(tooth: str) -> tuple[Arch, ToothClass]:
    return arch(tooth), tooth_class(tooth)


_ASK = Message(
    _(
        "Judge the remaining dentine over the pulp first, and state it: caution below "
        "2.0 mm, stop at 0.5 mm."
    )
)
_STOP = _(
    "Cut by {most} mm, only {left} mm of dentine would be left over the pulp; {least} "
    "mm is the least."
)
_STOP_AT_NEED = _(
    "Stop at the need, {need} mm deep: cut by {most} mm, only {left} mm of dentine "
    "would be left over the pulp; {least} mm is the least."
)
_CAUTION = _(
    "Cut by {most} mm, {left} mm of dentine would be left over the pulp: caution below "
    "{caution} mm."
)
_KEPT = _("Cut by {most} mm, {left} mm of dentine stays over the pulp.")

# Lower incisors: 0.42 mm (SD 0.12) of the proximal cervical wall left after an
# all-ceramic preparation (J Dent Shiraz, article 41176); the shoulder thins it most
# (Borelli et al., Int J Periodontics Restorative Dent 2015;35:41-47). Upper ones:
# considerably less than 2 mm at the labio-proximal line angles (Davis et al., Br Dent
# J 2012, micro-CT).
_INCISOR = {
    (Arch.LOWER, ToothClass.INCISOR): Message(
        _(
            "A lower incisor is thin: about 0.4 mm of the proximal cervical wall was "
            "left after all-ceramic preparation, least with a shoulder."
        )
    ),
    (Arch.UPPER, ToothClass.INCISOR): Message(
        _(
            "An upper incisor is thin at the labio-proximal line angles: less than 2 "
            "mm was left there after preparation."
        )
    ),
}

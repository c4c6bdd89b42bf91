"""What could come first: lengthening, intrusion, plane correction, a raised bite.

Each says when it is acceptable; where it is not, it stays visible with the reason.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.dentine import dentine_messages
from rules.reprep import cut_depths, needed_depths, without_preparation
from rules.results import Option, SiteCheck
from rules.subject import Subject
from rules.teeth import wall_label
from rules.terms import Antagonist, Message, Referral, label
from rules.walls import short_walls
from rules.ways_opposing import clearance_missing

__all__ = ["referrals"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
_CORRECTED = (Antagonist.NATURAL, Antagonist.RESTORED)


def referrals(subject: Subject, short_units: int) -> list[Option]:
    """Return the four referrals; ``short_units`` of the request lack clearance."""
    missing = clearance_missing(subject)
    if subject.provisional:
        return [_option(each, _FOR_A_PROVISIONAL, ()) for each in Referral]
    return [
        _lengthening(subject),
        _orthodontics(subject, missing),
        _plane(subject, missing),
        _vertical_dimension(missing, short_units),
    ]


def _option(
    referral: Referral,
    reason: Message | None,
    consequences: tuple[Message, ...],
    removal: Decimal = _ZERO,
) -> Option:
    if reason is not None:
        return Option("refer", False, reasons=(reason,), referral=referral)
    return Option(
        "refer",
        True,
        consequences=consequences,
        referral=referral,
        removal_mm=removal,
    )


def _lengthening(subject: Subject) -> Option:
    """Feasible where a wall is too short, or would be once cut as deep as needed."""
    unit, depths = subject.unit, cut_depths(subject.doubtful)
    reason, names = None, ""
    if without_preparation(unit):
        reason = _NO_WALLS
    elif not unit.wall_heights_mm:
        reason = _STATE_WALLS
    elif walls := short_walls(unit, depths):
        names = ", ".join(wall_label(wall, unit.tooth) for wall in walls)
    else:
        reason = _LONG_ENOUGH
    if reason is None:
        # What the pulp does not bear is not borne after lengthening either.
        needed = needed_depths(subject.doubtful)
        _kept, stop = dentine_messages(unit, depths, needed)
        reason = stop[0] if stop else None
    removal = max((high for _site, _low, high in depths), default=_ZERO)
    said = (Message(_HELPS_WALLS, {"walls": names}), *_LENGTHENING)
    return _option(Referral.CROWN_LENGTHENING, reason, said, removal)


_NO_WALLS = Message(_("Nothing is prepared here: it has no walls to lengthen."))
_STATE_WALLS = Message(
    _("State the wall heights: it helps only where a wall is or becomes too short.")
)
_LONG_ENOUGH = Message(_("No stated wall is too short, nor becomes so."))
_HELPS_WALLS = _(
    "It gives height to the {walls}, no room: the tooth is cut deeper after it."
)
# 3 mm from margin to crest after a mean attachment of 2.04 mm (Gargiulo 1961), ferrule
# 1.5 to 2.0 mm: a periodontal practice's teaching page, to be confirmed.
_LENGTHENING = (
    Message(
        _(
            "Only where 3 mm from margin to bone crest and a ferrule of 1.5 to 2.0 mm "
            "can be had; mind furcation, crown-root ratio and looks."
        )
    ),
    Message(_("Healing takes weeks to months; the case rests until the review.")),
)


def _orthodontics(subject: Subject, missing: Sequence[SiteCheck]) -> Option:
    natural = subject.unit.antagonist is Antagonist.NATURAL
    reason = _unmet(subject, missing, natural, _ONLY_NATURAL)
    return _option(Referral.ORTHODONTICS, reason, _INTRUSION)


def _unmet(
    subject: Subject, missing: Sequence[SiteCheck], fits: bool, template: str
) -> Message | None:
    if not missing:
        return _NO_CLEARANCE
    if not any(site.proven_short for site in missing):
        return _NOT_PROVEN
    antagonist = label(subject.unit.antagonist)
    return None if fits else Message(template, {"antagonist": antagonist})


_NO_CLEARANCE = Message(_("No shortage of clearance is shown."))
_NOT_PROVEN = Message(_("The shortage is not proven: measure once more first."))
_FOR_A_PROVISIONAL = Message(_("Not for the sake of a provisional."))
_ONLY_NATURAL = _(
    "Only a natural tooth can be intruded; opposite stands: {antagonist}."
)
# 2 to 3 mm over several months: a web page on over-eruption, weak.
_INTRUSION = (
    Message(_("Only where the opposing tooth is sound and over-erupted.")),
    Message(
        _(
            "No tooth is cut: 2 to 3 mm over several months, at a cost and with a risk "
            "of root resorption. The case rests until the review."
        )
    ),
)


def _plane(subject: Subject, missing: Sequence[SiteCheck]) -> Option:
    fits = subject.unit.antagonist in _CORRECTED
    reason = _unmet(subject, missing, fits, _ONLY_TEETH)
    removal = max((site.shortage_high_mm or _ZERO for site in missing), default=_ZERO)
    return _option(Referral.PLANE_CORRECTION, reason, _PLANE, removal)


_ONLY_TEETH = _(
    "Only a natural or restored tooth is brought into the plane; opposite stands: "
    "{antagonist}."
)
# From memory, to be confirmed.
_PLANE = (
    Message(
        _(
            "Only by a plan for both arches, where the opposing tooth stands grossly "
            "out of the plane: it is shaped or crowned first."
        )
    ),
    Message(_("The opposing tooth loses tissue. The case rests until the review.")),
)


def _vertical_dimension(missing: Sequence[SiteCheck], short_units: int) -> Option:
    reason = _NO_CLEARANCE if not missing else None
    if missing and not any(site.proven_short for site in missing):
        reason = _NOT_PROVEN
    if missing and short_units < 2:
        reason = _ONE_UNIT
    return _option(Referral.VERTICAL_DIMENSION, reason, _RAISED)


_ONE_UNIT = Message(_("Not for a single restoration."))
# A review of the short clinical crown (J Pak Dent Assoc 2016;25:115-118).
_RAISED = (
    Message(
        _(
            "Only as a specialist's plan for worn, short teeth of a whole arch; never "
            "for the sake of a few units."
        )
    ),
    Message(_("The case rests until the review.")),
)

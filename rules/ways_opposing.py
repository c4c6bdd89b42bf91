"""Adjusting the opposing tooth: guarded, never a way to hide a shortage.

It takes sound tissue of another tooth than the one prescribed for, so it is feasible
only for a small, proven shortage of clearance under a natural tooth, and never chosen
beforehand. 0.5 mm of enamel as the most is common practice, no source.
"""

from collections.abc import Iterator
from decimal import Decimal

from rules.explain import mm
from rules.reprep import without_preparation
from rules.results import Option, SiteCheck
from rules.subject import CONTRADICTING, Subject
from rules.terms import Antagonist, Kind, Message, Quantity, label

__all__ = ["MOST_MM", "adjust_opposing", "clearance_missing"]


def _(text: str) -> str:
    return text


MOST_MM = Decimal("0.5")
_ZERO = Decimal(0)
# Their room is cut into their own tooth: isthmus, box, enamel of the facial surface.
_OWN_DEPTH = (Kind.INLAY, Kind.VENEER)


def clearance_missing(subject: Subject) -> tuple[SiteCheck, ...]:
    """Return the sites that are or may be short of clearance, by agreeing readings."""
    if subject.unit.kind in _OWN_DEPTH:
        return ()
    return tuple(
        site
        for site in subject.doubtful
        if site.quantity is Quantity.CLEARANCE
        and site.shortage_high_mm
        and not CONTRADICTING & set(site.doubts)
    )


def adjust_opposing(subject: Subject) -> Option | None:
    """Return the option; None for units that stand on no preparation."""
    if without_preparation(subject.unit):
        return None
    reasons = tuple(_reasons(subject))
    if reasons:
        return Option("adjust_opposing", feasible=False, reasons=reasons)
    most = max(site.shortage_high_mm or _ZERO for site in subject.doubtful)
    return Option(
        "adjust_opposing",
        feasible=True,
        consequences=(Message(_ANOTHER_TOOTH, {"most": mm(most)}), *_ALWAYS),
        removal_mm=most,
    )


def _reasons(subject: Subject) -> Iterator[Message]:
    antagonist = subject.unit.antagonist
    if antagonist is not Antagonist.NATURAL:
        yield Message(_NOT_NATURAL, {"antagonist": label(antagonist)})
    if subject.provisional:
        yield _FOR_A_PROVISIONAL
    if subject.unit.kind in _OWN_DEPTH:
        yield Message(_IN_OWN_TOOTH, {"kind": label(subject.unit.kind)})
        return
    missing = clearance_missing(subject)
    if not missing:
        yield _NO_CLEARANCE
        return
    for site in subject.doubtful:
        params = {"site": site.label}
        if site not in missing:
            yield Message(_NOT_ROOM, params)
        elif not site.proven_short:
            yield Message(_UNPROVEN, params)
        elif (site.shortage_high_mm or _ZERO) > MOST_MM:
            params |= {
                "most": mm(MOST_MM),
                "missing": mm(site.shortage_high_mm or _ZERO),
            }
            yield Message(_TOO_MUCH, params)


_NOT_NATURAL = _("Only a natural tooth is adjusted; opposite stands: {antagonist}.")
_FOR_A_PROVISIONAL = Message(_("No other tooth is cut for a provisional."))
_IN_OWN_TOOTH = _("The room of this {kind} is cut in its own tooth.")
_NO_CLEARANCE = Message(_("No shortage of clearance is shown."))
_NOT_ROOM = _("At the {site}: the opposing tooth gives no room here.")
_UNPROVEN = _("At the {site}: the shortage is not proven, and what is cut stays cut.")
_TOO_MUCH = _(
    "At the {site}: {missing} mm may be missing, more than the {most} mm of enamel that "
    "could be taken."
)
_ANOTHER_TOOTH = _(
    "Up to {most} mm of sound tissue of another tooth is lost, in enamel only."
)
_ALWAYS = (
    Message(
        _(
            "Only where that tooth itself calls for it: over-erupted, a plunger cusp, "
            "or a correction of the plane already planned. Never to hide a shortage."
        )
    ),
    Message(
        _(
            "By the clinician, with the patient's recorded consent and grounds, "
            "documented before and after; never on the model alone."
        )
    ),
    Message(_("Afterwards: opposing impression, jaw record and new readings.")),
)

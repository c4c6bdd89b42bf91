"""Ways out of an implant crown: abutment and retention; nothing is ever prepared.

Full contour is a change of surface or material (``rules.ways_material``). From memory,
to be confirmed.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from rules.needs import site_need
from rules.request import Unit
from rules.results import Option, SiteCheck
from rules.said import mm
from rules.subject import Subject
from rules.terms import Kind, Message, Retention, Site
from rules.ways_opposing import clearance_missing

__all__ = ["implant_ways"]


def _(text: str) -> str:
    return text


def implant_ways(subject: Subject) -> list[Option]:
    """Return the changes of design an implant crown has beside its material."""
    if subject.unit.kind is not Kind.IMPLANT_CROWN:
        return []
    missing = clearance_missing(subject)
    return [_abutment(missing), _retention(subject, missing)]


def _abutment(missing: Sequence[SiteCheck]) -> Option:
    """A lower or angled abutment gives room above itself, none above the platform."""
    reasons = tuple(
        Message(_PLATFORM, {"site": site.label})
        for site in missing
        if site.site is Site.IMPLANT_PLATFORM
    )
    if not missing:
        reasons = (_NO_CLEARANCE,)
    return Option(
        "change_design",
        not reasons,
        reasons,
        () if reasons else _ABUTMENT,
        abutment=True,
    )


def _retention(subject: Subject, missing: Sequence[SiteCheck]) -> Option:
    """Offer the other retention; where none is stated, the screw."""
    if subject.unit.retention is Retention.SCREW:
        return Option(
            "change_design",
            False,
            reasons=(_CEMENT_NEEDS_MORE,),
            retention=Retention.CEMENT,
        )
    screwed = replace(subject.unit, retention=Retention.SCREW)
    short = tuple(
        Message(_SCREW_SHORT, {"site": site.label, "need": mm(need)})
        for site in missing
        if site.site is Site.IMPLANT_PLATFORM
        and (need := _least(subject, screwed, site)) is not None
        and site.high_mm is not None
        and site.high_mm < need
    )
    reasons = short if missing else (_NO_CLEARANCE,)
    return Option(
        "change_design",
        not reasons,
        reasons,
        () if reasons else _SCREW,
        retention=Retention.SCREW,
    )


def _least(subject: Subject, screwed: Unit, site: SiteCheck) -> Decimal | None:
    return site_need(subject.rule_set, screwed, site.site, site.quantity).min_mm


_SCREW_SHORT = _("At the {site}: screw-retained it needs {need} mm too.")
_NO_CLEARANCE = Message(_("No shortage of clearance is shown."))
_PLATFORM = _(
    "At the {site}: an abutment changes nothing of the space from the platform to the "
    "antagonist."
)
_CEMENT_NEEDS_MORE = Message(
    _("Cement needs an abutment of some height: it takes room, it gives none.")
)
_ABUTMENT = (
    Message(_("Nothing is removed. A lower or angled abutment gives room above it.")),
    Message(
        _(
            "It must stay high enough to hold the crown; ask the laboratory for "
            "abutments of this system, price and days."
        )
    ),
)
_SCREW = (
    Message(_("Nothing is removed. A screw needs no abutment height.")),
    Message(
        _(
            "The access hole must come out in the fossa or on the lingual surface; an "
            "axis that leans facially needs an angled screw channel."
        )
    ),
    Message(_("Price and days: ask the laboratory.")),
)

"""Accepting a documented risk: what it takes, and what it cannot stand on."""

from collections.abc import Sequence

from rules.explain import mm
from rules.results import Option, SiteCheck
from rules.terms import Doubt, Message

__all__ = ["accept_risk"]


def _(text: str) -> str:
    return text


# A device that does not keep its instructions for use says so in its statement (the
# logic of Regulation (EU) 2017/745, annex XIII; from memory, to be confirmed).
_UNDERCUT = _(
    "The need comes from instructions for use ({sites}): where it is not kept, the "
    "statement of the device must name it and the grounds."
)


def accept_risk(doubtful: Sequence[SiteCheck], unread: Sequence[SiteCheck]) -> Option:
    """Return the option; it is always open, and says what it leaves unsettled."""
    consequences = [_GROUNDS]
    if any(site.need_mm is not None for site in doubtful):
        consequences += [*_amounts(doubtful), _FRACTURE, _WARRANTY]
    built = [site.label for site in doubtful if _instructed(site)]
    if built:
        consequences.append(Message(_UNDERCUT, {"sites": ", ".join(built)}))
    if doubtful and all(site.at_or_above_need for site in doubtful):
        consequences.append(_CLEARABLE)
    for site in doubtful:
        consequences += _unknown(site)
    consequences += [
        Message(
            _("At the {site}: nothing was measured, so nothing can be accepted."),
            {"site": site.label},
        )
        for site in unread
    ]
    return Option("accept_risk", feasible=True, consequences=tuple(consequences))


def _amounts(doubtful: Sequence[SiteCheck]) -> list[Message]:
    """Say how much less than needed is accepted, site by site."""
    return [
        Message(
            _("At the {site}: up to {most} mm less than the {need} mm needed."),
            {
                "site": site.label,
                "most": mm(site.shortage_high_mm),
                "need": mm(site.need_mm),
            },
        )
        for site in doubtful
        if site.shortage_high_mm and site.need_mm is not None
    ]


_GROUNDS = Message(
    _(
        "Needs written grounds, the patient's consent and the responsible technician's "
        "countersignature."
    )
)
_FRACTURE = Message(
    _(
        "Thin spots may perforate or fracture; the work order names the unmet need and "
        "the grounds."
    )
)
_WARRANTY = Message(
    _("Say what it means for the warranty, and until when the acceptance holds.")
)
_CLEARABLE = Message(
    _(
        "Every reading in doubt is at or above the need: a technician may clear it "
        "within measuring uncertainty instead."
    )
)


def _instructed(site: SiteCheck) -> bool:
    """Tell whether the need was built from, or stated by, instructions for use."""
    own, rule_set = site.grounds.need.own, site.grounds.rule_set
    material = rule_set.material(own.material) if own else None
    return site.thickness_mm is not None or bool(material and material.instructions)


def _unknown(site: SiteCheck) -> list[Message]:
    """Say where the size of the risk is not known."""
    found = []
    if Doubt.INTERPENETRATION in site.doubts:
        found.append(
            _(
                "At the {site}: the scan passes through the antagonist, so the risk "
                "cannot be judged yet. Re-register the bite first."
            )
        )
    elif Doubt.DISAGREEMENT in site.doubts:
        found.append(
            _(
                "At the {site}: the readings contradict each other, so the risk cannot "
                "be judged yet. Verify them first."
            )
        )
    if Doubt.NO_NEED in site.doubts:
        found.append(
            _(
                "At the {site}: no need is stated, so the grounds must say by what the "
                "room was judged."
            )
        )
    return [Message(text, {"site": site.label}) for text in found]

"""Sentences: what a verdict means and what to do, as templates with parameters.

The interface translates templates and parameters apart. Lengths are written with a
point and the unit stands in the template.
"""

from decimal import Decimal

from rules.judge import PositionCheck
from rules.needs import Sharing, SiteNeed
from rules.readings import Reading, plain
from rules.terms import Doubt, Message, Position, Quantity, Site, label

__all__ = [
    "doubt_sentence",
    "insufficient_sentence",
    "mm",
    "need_notes",
    "reading_notes",
    "sufficient_sentence",
    "unmeasured_sentence",
]


def _(text: str) -> str:
    return text


_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)


def mm(length: Decimal) -> str:
    """Return a length for a sentence: at least one decimal, two at most."""
    text = plain(length.quantize(Decimal("0.01")))
    return text if "." in text else f"{text}.0"


def unmeasured_sentence(site: str, quantity: Quantity) -> Message:
    """Say that a required site was not read."""
    if quantity is Quantity.REDUCTION:
        return Message(
            _("At the {site}: measure the reduction to the planned contour."),
            {"site": site},
        )
    return Message(_("At the {site}: take a reading."), {"site": site})


def sufficient_sentence(site: str, check: PositionCheck, need: Decimal) -> Message:
    """Say what was shown and what is needed."""
    params = {"site": site, "low": mm(check.combined.low), "need": mm(need)}
    if check.combined.point is not None:
        return Message(
            _("At the {site}: {low} mm, of {need} mm needed. Nothing to do."), params
        )
    return Message(
        _("At the {site}: at least {low} mm, of {need} mm needed. Nothing to do."),
        params,
    )


def insufficient_sentence(
    site: Site, name: str, low: Decimal, high: Decimal, need: Decimal
) -> Message:
    """Say how much is missing; a row is short somewhere, not at each cusp."""
    params = {"site": name, "low": mm(low), "high": mm(high), "need": mm(need)}
    shape = "exact" if low == high else "range" if low > 0 else "up to"
    return Message((_ROW_SHORT if site in _ROWS else _SHORT)[shape], params)


_ROW_SHORT = {
    "exact": _(
        "Somewhere along the {site}: short by {high} mm of the {need} mm needed. "
        "Choose one of the options."
    ),
    "range": _(
        "Somewhere along the {site}: short by {low} to {high} mm of the {need} mm "
        "needed. Choose one of the options."
    ),
    "up to": _(
        "Somewhere along the {site}: short by up to {high} mm of the {need} mm needed. "
        "Choose one of the options."
    ),
}
_SHORT = {
    "exact": _(
        "At the {site}: short by {high} mm of the {need} mm needed. Choose one of the "
        "options."
    ),
    "range": _(
        "At the {site}: short by {low} to {high} mm of the {need} mm needed. Choose "
        "one of the options."
    ),
    "up to": _(
        "At the {site}: short by up to {high} mm of the {need} mm needed. Choose one "
        "of the options."
    ),
}


def doubt_sentence(
    doubt: Doubt,
    site: str,
    check: PositionCheck,
    need: SiteNeed,
    missing: Position | None = None,
) -> Message:
    """Say why a site is undecided and what would decide it."""
    combined = check.combined
    params = {
        "site": site,
        "low": mm(combined.low),
        "need": mm(need.min_mm) if need.min_mm is not None else "",
        "own": mm(need.own.min_mm) if need.own else "",
    }
    if combined.high is not None:
        params["high"] = mm(combined.high)
    if check.position is not None:
        params["position"] = label(check.position)
    if missing is not None:
        params["position"] = label(missing)
    if doubt is Doubt.DISAGREEMENT and check.position is None:
        return Message(_DISAGREE_NO_POSITION, params)
    if doubt is Doubt.INTERVAL_HOLDS_NEED and combined.high is None:
        return Message(_OPEN_STRIP, params)
    if doubt is Doubt.WITHIN_UNCERTAINTY:
        above = need.min_mm is not None and combined.low >= need.min_mm
        return Message(_ABOVE if above else _BELOW, params)
    return Message(_DOUBTS[doubt], params)


_DISAGREE_NO_POSITION = _(
    "At the {site}: the readings disagree. Check die and index, then re-measure."
)
_OPEN_STRIP = _(
    "At the {site}: at least {low} mm, of {need} mm needed. Try a thicker strip."
)
_ABOVE = _(
    "At the {site}: {low} mm is at or above the {need} mm needed, but within the "
    "measuring uncertainty. Measure once more, or clear it on the record."
)
_BELOW = _(
    "At the {site}: {low} mm is below the {need} mm needed, but within the measuring "
    "uncertainty. Measure once more; if it stays so, the clinician chooses."
)
_DOUBTS = {
    Doubt.INTERPENETRATION: _(
        "At the {site}: the scan passes through the antagonist. Re-register the bite."
    ),
    Doubt.DISAGREEMENT: _(
        "At the {site}: the readings in {position} disagree. Verify die and mounting "
        "against the jaw record, then re-measure."
    ),
    Doubt.NO_NEED: _(
        "At the {site}: the rule set states no need for this material and kind. The "
        "laboratory adds one from the instructions for use, or the clinician accepts "
        "the site on written grounds."
    ),
    Doubt.FACING_NEED_UNKNOWN: _(
        "At the {site}: the opposing tooth is prepared and its restoration is not "
        "known here. State what is made for it; {own} mm is this unit's own part."
    ),
    Doubt.POSITION_MISSING: _("At the {site}: take a reading in {position} too."),
    Doubt.SPLIT_NOT_FIXED: _(
        "At the {site}: both teeth are prepared and nothing fixes how the gap is "
        "split. Fix it by wax-up, index or provisional, then state that it is fixed."
    ),
    Doubt.INTERVAL_HOLDS_NEED: _(
        "At the {site}: between {low} and {high} mm, of {need} mm needed. Try a strip "
        "in between, or another method."
    ),
}


def need_notes(need: SiteNeed, cement: Decimal, adjustment: Decimal) -> list[Message]:
    """Show how a need was built: thickness plus allowances, own plus facing part."""
    notes = []
    if need.sharing is Sharing.SUMMED and need.own and need.facing and need.min_mm:
        notes.append(
            Message(
                _(
                    "Both teeth are prepared: {need} mm = {own} mm for this unit + "
                    "{facing} mm for tooth {tooth}."
                ),
                {
                    "need": mm(need.min_mm),
                    "own": mm(need.own.min_mm),
                    "facing": mm(need.facing.min_mm),
                    "tooth": need.facing_tooth,
                },
            )
        )
    notes += [
        Message(
            _(
                "{need} mm = {thickness} mm thickness + {cement} mm cement space + "
                "{adjustment} mm adjustment allowance."
            ),
            {
                "need": mm(line.min_mm),
                "thickness": mm(line.thickness_mm),
                "cement": mm(cement),
                "adjustment": mm(adjustment),
            },
        )
        for line in (need.own, need.facing)
        if line and line.thickness_mm is not None
    ]
    return notes


def reading_notes(
    readings: tuple[Reading, ...],
    need: SiteNeed,
    low: Decimal,
    advised: tuple[Position, ...],
) -> list[Message]:
    """Say what else to know: contact, stale readings, excess, advised positions.

    Last comes the note of the need, where other figures for the site are recorded.
    """
    notes = []
    if any(0 in (r.value_mm, r.passes_mm, r.drags_mm) for r in readings):
        notes.append(Message(_("A reading of 0 means contact.")))
    if any(r.stale for r in readings):
        notes.append(
            Message(
                _(
                    "A reading was taken before the provisional was lost or found "
                    "high; the tooth may have moved since."
                ),
            )
        )
    most = need.own.max_mm if need.own else None
    if most is not None and low > most:
        notes.append(
            Message(
                _(
                    "More than {most} mm: mind the remaining dentine and the wall "
                    "heights."
                ),
                {"most": mm(most)},
            )
        )
    notes += [
        Message(
            _("A reading in {position} is advised."),
            {"position": label(position)},
        )
        for position in advised
    ]
    if need.own and need.own.note:
        note = need.own.note.rstrip(".")
        notes.append(Message(_("The rule set notes: {note}."), {"note": note}))
    return notes

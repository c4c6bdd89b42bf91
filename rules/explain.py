"""Sentences: what a verdict means and what to do, as templates with parameters.

The interface translates templates and parameters apart. Lengths are written with a
point and the unit stands in the template. The first sentence of a site is its advice.
"""

from decimal import Decimal

from rules.disagreement import disagreement_sentence
from rules.grounds import Grounds
from rules.judge import PositionCheck, shortage
from rules.notes import no_need_note, notes_of
from rules.said import mm
from rules.terms import (
    Doubt,
    Message,
    Position,
    Quantity,
    Relation,
    Site,
    Verdict,
    label,
)

__all__ = ["doubt_sentence", "mm", "sentences"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
# Thickness strips come up to about 2 mm (common practice, no source).
_THICK_MM = Decimal("2.0")
_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)


def sentences(grounds: Grounds) -> tuple[Message, ...]:
    """Return the advice first, then what else stands in the way, then notes."""
    if grounds.leading is None:
        return (_unmeasured(grounds), *notes_of(grounds))
    leading, found = grounds.leading, []
    if grounds.verdict is Verdict.INSUFFICIENT and grounds.need.min_mm is not None:
        found.append(_insufficient(grounds, leading, grounds.need.min_mm))
    doubtful = sorted(
        (check for check in grounds.checks if check.doubts),
        key=lambda check: check is not leading,
    )
    found += [
        doubt_sentence(doubt, grounds, check)
        for check in doubtful
        for doubt in check.doubts
    ]
    found += [_missing(grounds, position) for position in grounds.lacking]
    if not found and grounds.need.min_mm is not None:
        found.append(_sufficient(grounds, leading, grounds.need.min_mm))
    # A doubt about the site as a whole is said once, not once for each position.
    once = [text for index, text in enumerate(found) if text not in found[:index]]
    return (*once, *notes_of(grounds))


def _unmeasured(grounds: Grounds) -> Message:
    """Say that a required site was not read, and what would be read there."""
    params = {"site": grounds.label}
    if grounds.verdict is Verdict.NOT_APPLICABLE:
        return Message(
            _("At the {site}: not covered by this restoration, as prescribed."), params
        )
    if grounds.quantity is Quantity.REDUCTION:
        return Message(
            _("At the {site}: measure the reduction to the planned contour."), params
        )
    if grounds.unit.relation is Relation.OPEN:
        return Message(
            _(
                "At the {site}: take a reading in protrusion or a laterotrusion; the "
                "bite is open in intercuspation."
            ),
            params,
        )
    return Message(_("At the {site}: take a reading."), params)


def _missing(grounds: Grounds, position: Position) -> Message:
    return Message(
        _("At the {site}: take a reading in {position} too."),
        {"site": grounds.label, "position": label(position)},
    )


def _sufficient(grounds: Grounds, check: PositionCheck, need: Decimal) -> Message:
    """Say what was shown and what is needed."""
    params = {"site": grounds.label, "low": mm(check.combined.low), "need": mm(need)}
    if check.combined.point is not None:
        return Message(
            _("At the {site}: {low} mm, of {need} mm needed. Nothing to do."), params
        )
    return Message(
        _("At the {site}: at least {low} mm, of {need} mm needed. Nothing to do."),
        params,
    )


def _insufficient(grounds: Grounds, check: PositionCheck, need: Decimal) -> Message:
    """Say how much is missing; a row is short somewhere, not at each cusp."""
    low, high = shortage(check, grounds.need) or (_ZERO, _ZERO)
    params = {
        "site": grounds.label,
        "low": mm(low),
        "high": mm(high),
        "need": mm(need),
    }
    shape = "exact" if low == high else "range" if low > 0 else "up to"
    return Message((_ROW_SHORT if grounds.site in _ROWS else _SHORT)[shape], params)


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


def doubt_sentence(doubt: Doubt, grounds: Grounds, check: PositionCheck) -> Message:
    """Say why a site is undecided and what would decide it."""
    combined, need = check.combined, grounds.need
    if doubt is Doubt.DISAGREEMENT:
        return disagreement_sentence(grounds.label, grounds.unit.tooth, check)
    if doubt is Doubt.NO_NEED:
        return no_need_note(grounds)
    params = {
        "site": grounds.label,
        "low": mm(combined.low),
        "need": mm(need.min_mm) if need.min_mm is not None else "",
        "own": mm(need.own.min_mm) if need.own else "",
    }
    if combined.high is not None:
        params["high"] = mm(combined.high)
    if doubt is Doubt.INTERVAL_HOLDS_NEED and combined.high is None:
        thick = need.min_mm is not None and need.min_mm > _THICK_MM
        return Message(_BEYOND_STRIPS if thick else _OPEN_STRIP, params)
    if doubt is Doubt.WITHIN_UNCERTAINTY:
        above = need.min_mm is not None and combined.low >= need.min_mm
        return Message(_ABOVE if above else _BELOW, params)
    if doubt is Doubt.NO_CONTACT and grounds.unit.relation is Relation.OPEN:
        return Message(_OPEN_BITE, params)
    return Message(_DOUBTS[doubt], params)


_OPEN_STRIP = _(
    "At the {site}: at least {low} mm, of {need} mm needed. Try a thicker strip."
)
_BEYOND_STRIPS = _(
    "At the {site}: at least {low} mm, of {need} mm needed. Measure it by another "
    "method: strips are rarely that thick."
)
_ABOVE = _(
    "At the {site}: {low} mm is at or above the {need} mm needed, but within the "
    "measuring uncertainty. Measure once more, or clear it on the record."
)
_BELOW = _(
    "At the {site}: {low} mm is below the {need} mm needed, but within the measuring "
    "uncertainty. Measure once more; if it stays so, the clinician chooses."
)
_OPEN_BITE = _(
    "At the {site}: the bite is open, so room in intercuspation proves nothing. Take a "
    "reading in protrusion or a laterotrusion, or measure the reduction to the planned "
    "contour."
)
_DOUBTS = {
    Doubt.INTERPENETRATION: _(
        "At the {site}: the scan passes through the antagonist. Re-register the bite."
    ),
    Doubt.FACING_NEED_UNKNOWN: _(
        "At the {site}: the opposing tooth is prepared and its restoration is not "
        "known here. State what is made for it; {own} mm is this unit's own part."
    ),
    Doubt.SPLIT_NOT_FIXED: _(
        "At the {site}: both teeth are prepared and nothing fixes how the gap is "
        "split. Fix it by wax-up, index or provisional, then state that it is fixed."
    ),
    Doubt.INTERVAL_HOLDS_NEED: _(
        "At the {site}: between {low} and {high} mm, of {need} mm needed. Try a strip "
        "in between, or another method."
    ),
    Doubt.STALE: _(
        "At the {site}: the reading was taken before the provisional was lost or found "
        "high, and the tooth may have moved since. Measure again."
    ),
    Doubt.NO_CONTACT: _(
        "At the {site}: in a scissor bite nothing meets it, so room to the antagonist "
        "proves nothing. Measure the reduction to the planned contour."
    ),
}

"""Notes beside a verdict: how its need was built and what else to know."""

from collections.abc import Sequence

from rules.grounds import Grounds
from rules.needs import Sharing
from rules.said import mm
from rules.teeth import CONTACT_FREE
from rules.terms import (
    Antagonist,
    Message,
    Position,
    Quantity,
    label,
)

__all__ = ["no_need_note", "notes_of"]


def _(text: str) -> str:
    return text


# The two laterotrusions are said in one breath.
_BOTH = 2


def notes_of(grounds: Grounds) -> list[Message]:
    """Return how the need was built, then what else to know of the readings."""
    read = _reading_notes(grounds) if grounds.leading else []
    return [*_need_notes(grounds), *read]


def no_need_note(grounds: Grounds) -> Message:
    """Say that the rule set has no line, and what to do about it."""
    return Message(
        _(
            "Not decided: no requirement for {material} as {kind} at the {site}. The "
            "laboratory adds one from the instructions for use, or the clinician "
            "accepts the site on written grounds."
        ),
        {
            "material": grounds.material,
            "kind": label(grounds.unit.kind),
            "site": grounds.label,
        },
    )


def _need_notes(grounds: Grounds) -> list[Message]:
    """Show how a need was built: thickness plus allowances, own plus facing part."""
    need, notes = grounds.need, []
    if need.own is None and grounds.leading is None:
        notes.append(no_need_note(grounds))
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
                "cement": mm(grounds.rule_set.cement_space_mm),
                "adjustment": mm(grounds.rule_set.adjustment_mm),
            },
        )
        for line in (need.own, need.facing)
        if line and line.thickness_mm is not None
    ]
    return notes


def _reading_notes(grounds: Grounds) -> list[Message]:
    """Say what else to know: contact, readings set aside, excess, advised positions.

    Last comes the note of the need, where other figures for the site are recorded.
    """
    need, notes = grounds.need, []
    if any(0 in (r.value_mm, r.passes_mm, r.drags_mm) for r in grounds.readings):
        notes.append(Message(_("A reading of 0 means contact.")))
    if any(check.combined.set_aside for check in grounds.checks):
        notes.append(
            Message(
                _(
                    "A reading from before the provisional was lost or found high is "
                    "set aside: a newer one counts."
                )
            )
        )
    most = need.own.max_mm if need.own and not _another_gap(grounds) else None
    low = grounds.leading.combined.low if grounds.leading else None
    if most is not None and low is not None and low > most:
        notes.append(
            Message(
                _(
                    "More than {most} mm: mind the remaining dentine and the wall "
                    "heights."
                ),
                {"most": mm(most)},
            )
        )
    notes += _advised(grounds.advised)
    if need.own and need.own.note:
        note = need.own.note.rstrip(".")
        notes.append(Message(_("The rule set notes: {note}."), {"note": note}))
    return notes


def _another_gap(grounds: Grounds) -> bool:
    """Tell whether the gap is more than what was cut here: shared, or without contact."""
    unit = grounds.unit
    return grounds.quantity is Quantity.CLEARANCE and (
        unit.antagonist is Antagonist.PREPARED or unit.relation in CONTACT_FREE
    )


def _advised(positions: Sequence[Position]) -> list[Message]:
    if len(positions) == _BOTH:
        one, other = (label(position) for position in positions)
        text = _("Readings in {one} and {other} are advised.")
        return [Message(text, {"one": one, "other": other})]
    return [
        Message(_("A reading in {position} is advised."), {"position": label(position)})
        for position in positions
    ]

"""A case of clinic A at laboratory L, played to each state the rows ask for."""

from cases.lifecycle import AnswerKind
from cases.models import Case
from cases.services import bench, drafts, outcome, submission
from cases.services.outcome import FitInput
from cases.tenancy import acting
from tests.play import Play, draft_of, sufficient_unit, unit

__all__ = [
    "at_check",
    "at_try_in",
    "awaiting",
    "cleared",
    "corrected",
    "deferred",
    "dispatched",
    "draft",
    "fitted",
    "in_fabrication",
    "incomplete",
    "submitted",
    "sufficient",
]


def draft(play: Play) -> Case:
    """Begin a draft with one short unit."""
    return play.draft(unit())


def submitted(play: Play) -> Case:
    """Send the draft."""
    return play.submit(draft(play))


def at_check(play: Play) -> Case:
    """Log the case in at the laboratory; a site is short."""
    return play.at_check(unit())


def sufficient(play: Play) -> Case:
    """Log a case in that has room everywhere."""
    return play.at_check(sufficient_unit())


def incomplete(play: Play) -> Case:
    """Send the case back for what is missing."""
    case = at_check(play)
    with acting(play.world.technician):
        submission.case_incomplete(
            actor=play.world.technician,
            code=case.code,
            version=None,
            missing="The shade.",
            at=play.tick(),
        )
    return play.fresh(case)


def corrected(play: Play) -> Case:
    """Begin the correction of what was sent back."""
    case = incomplete(play)
    with acting(play.world.assistant):
        drafts.draft_save(
            actor=play.world.assistant,
            code=case.code,
            version=None,
            draft=draft_of(unit()),
            at=play.tick(),
        )
    return play.fresh(case)


def awaiting(play: Play) -> Case:
    """Answer the query by promising a new jaw record."""
    case = at_check(play)
    play.answer(play.flag(case), AnswerKind.NEW_JAW_RECORD)
    return play.fresh(case)


def deferred(play: Play) -> Case:
    """Answer the query by referring the patient."""
    case = at_check(play)
    play.answer(
        play.flag(case),
        AnswerKind.REFER,
        grounds="Too short.",
        referral="crown_lengthening",
        review_on=play.at.date().replace(year=play.at.year + 1),
    )
    return play.fresh(case)


def cleared(play: Play) -> Case:
    """Clear the case for fabrication."""
    return play.clear(sufficient(play))


def in_fabrication(play: Play) -> Case:
    """Release the work order."""
    case = cleared(play)
    play.release(case)
    return play.fresh(case)


def at_try_in(play: Play) -> Case:
    """Send the work to the clinic for a try-in."""
    case = in_fabrication(play)
    with acting(play.world.technician):
        bench.case_try_in(
            actor=play.world.technician,
            code=case.code,
            version=None,
            note="",
            at=play.tick(),
        )
    return play.fresh(case)


def dispatched(play: Play) -> Case:
    """Send the finished work to the clinic."""
    case = in_fabrication(play)
    with acting(play.world.technician):
        bench.case_dispatch(
            actor=play.world.technician,
            code=case.code,
            version=None,
            note="",
            at=play.tick(),
        )
    return play.fresh(case)


def fitted(play: Play) -> Case:
    """Report that the crown was fitted as delivered."""
    case = dispatched(play)
    with acting(play.world.assistant):
        outcome.fit_report(
            actor=play.world.assistant,
            code=case.code,
            version=None,
            report=FitInput(fitted=True, findings=["as_delivered"]),
            at=play.tick(),
        )
    return play.fresh(case)

"""The clinic's pages: chair check, draft, signature, answer, records, outcome."""

from collections.abc import Callable

from cases.forms.signing import digest_of
from cases.lifecycle import AnswerKind
from cases.models import Case
from cases.services import bench, outcome, submission
from cases.services.outcome import FitInput
from cases.tenancy import acting
from tests.factories import PASSWORD
from tests.permissions.pages import case_in
from tests.permissions.shape import Row, Target, play_of
from tests.personas import Personas
from tests.play import Play, sufficient_unit, unit


def _draft(play: Play) -> Case:
    return play.draft(unit())


def _incomplete(play: Play) -> Case:
    case = play.at_check(unit())
    with acting(play.world.technician):
        submission.case_incomplete(
            actor=play.world.technician,
            code=case.code,
            version=None,
            missing="The shade.",
            at=play.tick(),
        )
    return play.fresh(case)


def _awaiting(play: Play) -> Case:
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.NEW_JAW_RECORD)
    return play.fresh(case)


def _deferred(play: Play) -> Case:
    case = play.at_check(unit())
    play.answer(
        play.flag(case),
        AnswerKind.REFER,
        grounds="Too short.",
        referral="crown_lengthening",
        review_on=play.at.date().replace(year=play.at.year + 1),
    )
    return play.fresh(case)


def _dispatched(play: Play) -> Case:
    case = play.at_check(sufficient_unit())
    play.clear(case)
    play.release(case)
    with acting(play.world.technician):
        bench.case_dispatch(
            actor=play.world.technician,
            code=case.code,
            version=None,
            note="",
            at=play.tick(),
        )
    return play.fresh(case)


def _fitted(play: Play) -> Case:
    case = _dispatched(play)
    with acting(play.world.assistant):
        outcome.fit_report(
            actor=play.world.assistant,
            code=case.code,
            version=None,
            report=FitInput(fitted=True, findings=["as_delivered"]),
            at=play.tick(),
        )
    return play.fresh(case)


def new_draft(personas: Personas) -> Target:
    """Fill what a draft begins with, as clinic A would."""
    return Target(
        data={
            "do": "create",
            "once": "key",
            "laboratory": personas.laboratory.code,
            "prescriber": personas.clinician.user.email,
            "reference": "P-1",
        }
    )


def edited_draft(personas: Personas) -> Target:
    """Fill the form of a draft without units."""
    case = _draft(play_of(personas))
    data = {
        "version": case.version,
        "prescriber": personas.clinician.user.email,
        "reference": "P-1",
    }
    return Target(kwargs={"code": case.code}, data=data)


def signed_draft(personas: Personas) -> Target:
    """Fill the signing block of a draft."""
    play = play_of(personas)
    case = play.fresh(_draft(play))
    with acting(play.world.dentist):
        digest = digest_of(submission.submission_content(case))
    data = {"version": case.version, "content_sha256": digest, "password": PASSWORD}
    return Target(kwargs={"code": case.code}, data=data)


def query(**data: str) -> Callable[[Personas], Target]:
    """Return what raises a query and fills the answer's form."""

    def arrange(personas: Personas) -> Target:
        play = play_of(personas)
        case = play.at_check(unit())
        flag = play.flag(case)
        fields = {"version": play.fresh(case).version, **data}
        return Target(kwargs={"code": flag.code}, data=fields)

    return arrange


LOOKED_AT = {"look": "look", "choice": "re_preparation"}

# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("chair_check", "GET", "200 200 403 403 403 200 403 403 302"),
    Row("chair_check", "POST", "422 422 403 403 403 422 403 403 302"),
    Row("case_new", "GET", "200 200 403 403 403 200 403 403 302"),
    # Clinic B may begin drafts, but not with a clinician of clinic A.
    Row("case_new", "POST", "302 302 403 403 403 422 403 403 302", new_draft),
    Row(
        "case_edit_draft", "GET", "200 200 403 404 404 404 404 403 302", case_in(_draft)
    ),
    Row("case_edit_draft", "POST", "302 302 403 404 404 404 404 403 302", edited_draft),
    Row("case_discard", "GET", "200 200 403 404 404 404 404 403 302", case_in(_draft)),
    Row("case_discard", "POST", "302 302 403 404 404 404 404 403 302", case_in(_draft)),
    Row("case_submit", "GET", "200 200 403 404 404 404 404 403 302", case_in(_draft)),
    Row("case_submit", "POST", "302 403 403 404 404 404 404 403 302", signed_draft),
    Row(
        "case_resubmit",
        "GET",
        "200 200 403 403 403 404 404 403 302",
        case_in(_incomplete),
    ),
    Row(
        "case_resubmit",
        "POST",
        "422 403 403 403 403 404 404 403 302",
        case_in(_incomplete),
    ),
    Row(
        "case_records", "GET", "200 200 403 403 403 404 404 403 302", case_in(_awaiting)
    ),
    Row(
        "case_records",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(_awaiting, sent=["jaw_record"]),
    ),
    Row(
        "case_receipt",
        "POST",
        "302 302 302 403 403 404 404 403 302",
        case_in(_dispatched),
    ),
    Row(
        "case_return",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(_dispatched, note="Contact."),
    ),
    Row(
        "case_resume",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(_deferred),
    ),
    Row("case_fit", "GET", "200 200 403 403 403 404 404 403 302", case_in(_dispatched)),
    Row(
        "case_fit",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(_dispatched, quick="as_delivered"),
    ),
    Row(
        "case_remake",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(_fitted, cause="shade"),
    ),
    Row("flag_answer", "GET", "200 403 403 403 403 404 404 403 302", query()),
    Row(
        "flag_answer",
        "POST",
        "200 403 403 403 403 404 404 403 302",
        query(**LOOKED_AT),
    ),
)

"""The clinic's pages: chair check, draft, signature, answer, records, outcome."""

from collections.abc import Callable

from cases.forms.signing import digest_of
from cases.services import submission
from cases.tenancy import acting
from tests.factories import PASSWORD
from tests.permissions.pages import case_in
from tests.permissions.shape import Row, Target, play_of
from tests.permissions.states import (
    awaiting,
    deferred,
    dispatched,
    draft,
    fitted,
    incomplete,
    submitted,
)
from tests.personas import Personas
from tests.play import unit


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
    case = draft(play_of(personas))
    data = {
        "version": case.version,
        "prescriber": personas.clinician.user.email,
        "reference": "P-1",
    }
    return Target(kwargs={"code": case.code}, data=data)


def signed_draft(personas: Personas) -> Target:
    """Fill the signing block of a draft."""
    play = play_of(personas)
    case = play.fresh(draft(play))
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
        "case_edit_draft", "GET", "200 200 403 404 404 404 404 403 302", case_in(draft)
    ),
    Row("case_edit_draft", "POST", "302 302 403 404 404 404 404 403 302", edited_draft),
    Row("case_discard", "GET", "200 200 403 404 404 404 404 403 302", case_in(draft)),
    Row("case_discard", "POST", "302 302 403 404 404 404 404 403 302", case_in(draft)),
    Row("case_submit", "GET", "200 200 403 404 404 404 404 403 302", case_in(draft)),
    Row("case_submit", "POST", "302 403 403 404 404 404 404 403 302", signed_draft),
    Row(
        "case_resubmit",
        "GET",
        "200 200 403 403 403 404 404 403 302",
        case_in(incomplete),
    ),
    Row(
        "case_resubmit",
        "POST",
        "422 403 403 403 403 404 404 403 302",
        case_in(incomplete),
    ),
    Row(
        "case_records", "GET", "200 200 403 403 403 404 404 403 302", case_in(awaiting)
    ),
    Row(
        "case_records",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(awaiting, sent=["jaw_record"]),
    ),
    Row(
        "case_receipt",
        "POST",
        "302 302 302 403 403 404 404 403 302",
        case_in(dispatched),
    ),
    Row(
        "case_return",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(dispatched, note="Contact."),
    ),
    Row(
        "case_resume",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(deferred),
    ),
    Row(
        "case_provisional",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(submitted, note="Lost on Friday."),
    ),
    Row("case_fit", "GET", "200 200 403 403 403 404 404 403 302", case_in(dispatched)),
    Row(
        "case_fit",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(dispatched, quick="as_delivered"),
    ),
    Row(
        "case_remake",
        "POST",
        "302 302 403 403 403 404 404 403 302",
        case_in(fitted, cause="shade"),
    ),
    Row("flag_answer", "GET", "200 403 403 403 403 404 404 403 302", query()),
    Row(
        "flag_answer",
        "POST",
        "200 403 403 403 403 404 404 403 302",
        query(**LOOKED_AT),
    ),
)

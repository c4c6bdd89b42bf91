"""Lists, the case page, the laboratory's commands, thread, files, notices."""

from collections.abc import Callable

from cases.models import Case
from cases.services.attachments import attachment_add
from cases.tenancy import acting
from tests.permissions.shape import Row, Target, play_of
from tests.permissions.states import (
    at_check,
    cleared,
    in_fabrication,
    submitted,
    sufficient,
)
from tests.personas import Personas
from tests.play import Play

PDF = b"%PDF-1.7\n%%EOF\n"
CLIENT_ID = "7b7f2a3e-1111-4222-8333-444455556666"

Arrange = Callable[[Personas], Target]


def case_in(played: Callable[[Play], Case], **data: object) -> Arrange:
    """Return what plays a case somewhere and fills the form with its version."""

    def arrange(personas: Personas) -> Target:
        case = played(play_of(personas))
        fields = {"version": case.version, **data}
        return Target(kwargs={"code": case.code}, data=fields)

    return arrange


def flag_of(reason: str) -> Arrange:
    """Return what raises a query and fills a form with a reason."""

    def arrange(personas: Personas) -> Target:
        play = play_of(personas)
        case = at_check(play)
        flag = play.flag(case)
        version = play.fresh(case).version
        return Target(
            kwargs={"code": flag.code}, data={"version": version, "reason": reason}
        )

    return arrange


def file_of_a_case(personas: Personas) -> Target:
    """Add a document to a case."""
    play = play_of(personas)
    case = at_check(play)
    with acting(play.world.dentist):
        row = attachment_add(
            actor=play.world.dentist,
            code=case.code,
            name="letter.pdf",
            content=PDF,
            internal=False,
            at=play.tick(),
        )
    return Target(kwargs={"code": case.code, "attachment": row.code})


def order_of_a_case(personas: Personas) -> Target:
    """Release a work order whose document nobody has made."""
    play = play_of(personas)
    return Target(kwargs={"code": play.release(cleared(play)).code})


def site_of_a_case(personas: Personas) -> Target:
    """Name a judged site of a case at check."""
    case = at_check(play_of(personas))
    place = {"tooth": "36", "site": "lingual_cusps", "quantity": "clearance"}
    return Target(kwargs={"code": case.code, **place})


def no_order(personas: Personas) -> Target:
    """Name a work order that does not exist."""
    return Target(kwargs={"code": "0" * 10, "digest": "0" * 64})


MESSAGE = {"client_id": CLIENT_ID, "body": "Hello."}

# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("guide", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("work", "GET", "200 200 200 403 403 200 403 403 302"),
    Row("cases", "GET", "200 200 200 403 403 200 403 403 302"),
    Row("bench", "GET", "403 403 403 200 200 403 200 403 302"),
    Row("case", "GET", "200 200 200 200 200 404 404 403 302", case_in(at_check)),
    Row("case_why", "GET", "200 200 200 200 200 404 404 403 302", site_of_a_case),
    Row(
        "case_receive",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(submitted),
    ),
    Row(
        "case_incomplete",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(at_check, missing="The scan."),
    ),
    Row(
        "case_recheck",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(at_check),
    ),
    Row(
        "case_try_in",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(in_fabrication),
    ),
    Row(
        "case_dispatch",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(in_fabrication),
    ),
    Row(
        "case_internal_remake",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(in_fabrication, cause="fracture"),
    ),
    Row(
        "case_readings",
        "GET",
        "403 403 403 200 200 404 404 403 302",
        case_in(at_check),
    ),
    # The clinic raises a query at try-in only; before, it asks for a change.
    Row(
        "case_flag",
        "POST",
        "409 409 403 302 302 404 404 403 302",
        case_in(at_check, reasons=["shade"], text="Which shade?"),
    ),
    Row(
        "case_clear",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(sufficient),
    ),
    Row(
        "case_release",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        case_in(cleared),
    ),
    Row(
        "case_cancel",
        "POST",
        "302 403 403 403 403 404 404 403 302",
        case_in(at_check, reason="Moved away."),
    ),
    Row(
        "case_change_request",
        "GET",
        "200 403 403 403 403 404 404 403 302",
        case_in(at_check),
    ),
    Row(
        "case_message",
        "POST",
        "302 302 302 302 302 404 404 403 302",
        case_in(at_check, **MESSAGE),
    ),
    Row("case_file", "GET", "200 200 200 200 200 404 404 403 302", file_of_a_case),
    Row(
        "flag_withdraw",
        "POST",
        "403 403 403 302 302 404 404 403 302",
        flag_of("Found it."),
    ),
    # Nobody of these is a responsible technician.
    Row("flag_countersign", "GET", "403 403 403 403 403 404 404 403 302", flag_of("")),
    Row(
        "work_order_pdf",
        "GET",
        "503 503 503 503 503 404 404 403 302",
        order_of_a_case,
    ),
    Row("notices", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("notices_mark", "POST", "302 302 302 302 302 302 302 403 302"),
    Row("verify", "GET", "200 200 200 200 200 200 200 200 200", no_order),
)

"""A day that has passed is late only while somebody still has to act."""

from cases.services.bench import case_cancel
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit

LATE = '<span class="due due-late">'


def test_a_case_that_ended_is_not_late(desk: Desk):
    case = desk.play.at_check(unit())
    page = f"/cases/{case.code}/"
    assert LATE in desk.browser("technician").get(page).content.decode()

    dentist = desk.play.world.dentist
    with acting(dentist):
        case_cancel(
            actor=dentist,
            code=case.code,
            version=None,
            reason="The patient moved away.",
            at=desk.play.tick(),
        )
    assert LATE not in desk.browser("technician").get(page).content.decode()

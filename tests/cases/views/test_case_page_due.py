"""A day that has passed is late only while somebody still has to act."""

from datetime import date

from cases.models import Case
from cases.services.bench import case_cancel
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit

LATE = '<span class="due due-late">'


def test_a_case_that_ended_is_not_late(desk: Desk):
    case = desk.play.at_check(unit())
    dentist = desk.play.world.dentist
    with acting(dentist):
        Case.objects.filter(pk=case.pk).update(wanted_on=date(2026, 3, 16))
    page = f"/cases/{case.code}/"
    assert LATE in desk.browser("technician").get(page).content.decode()

    with acting(dentist):
        case_cancel(
            actor=dentist,
            code=case.code,
            version=None,
            reason="The patient moved away.",
            at=desk.play.tick(),
        )
    assert LATE not in desk.browser("technician").get(page).content.decode()

"""The list by itself shows what is open; what ended has its own and is found."""

from cases.models import Case
from cases.services.bench import case_cancel
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit


def cancelled(desk: Desk) -> Case:
    case = desk.play.at_check(unit())
    dentist = desk.play.world.dentist
    with acting(dentist):
        return case_cancel(
            actor=dentist,
            code=case.code,
            version=None,
            reason="The patient moved away.",
            at=desk.play.tick(),
        )


def listed(desk: Desk, query: str = "") -> str:
    return desk.browser("technician").get(f"/bench/{query}").content.decode()


def test_what_ended_does_not_stand_before_what_is_open(desk: Desk):
    ended, waiting = cancelled(desk), desk.play.at_check(unit())

    assert f"/cases/{waiting.code}/" in listed(desk)
    assert f"/cases/{ended.code}/" not in listed(desk)
    for query in ("?whose=nobody", f"?search={ended.code}", "?state=cancelled"):
        assert f"/cases/{ended.code}/" in listed(desk, query)


def test_a_bench_on_which_all_has_ended_says_so(desk: Desk):
    cancelled(desk)

    assert "Nothing is open" in listed(desk)
    assert "No case has been sent yet" not in listed(desk)

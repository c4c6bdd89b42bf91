"""Cases played up to a remake, for the tests of remakes."""

from collections.abc import Callable
from typing import Any

import pytest

from cases.enums import Role
from cases.errors import Invalid
from cases.lifecycle import AnswerKind
from cases.models import Case, Flag, Organisation, Remake
from cases.services import answers, bench, outcome
from cases.services.outcome import FitInput
from cases.tenancy import Actor, acting
from tests.factories import actor_of, make_membership, make_user
from tests.play import Play, reading, signature_over, unit

__all__ = [
    "PDF",
    "built_at_risk",
    "corrected_and_built",
    "delivered",
    "do",
    "manager_of",
    "opened",
    "pointers",
]

PDF = b"%PDF-1.7\n%%EOF\n"


def do(play: Play, service: Any, who: Actor, code: str, **values: Any) -> Any:
    """Call a service of a case as somebody."""
    with acting(who):
        return service(actor=who, code=code, at=play.tick(), **values)


def pointers(call: Callable[[], object]) -> list[str]:
    """Return which fields a call refuses."""
    with pytest.raises(Invalid) as refused:
        call()
    return [fault.pointer for fault in refused.value.fields]


def manager_of(who: Actor, role: Role, name: str) -> Actor:
    """Return a manager beside somebody of an organisation."""
    with acting(who):
        organisation = Organisation.objects.get(pk=who.organisation_id)
    user = make_user(f"{name.lower()}@example.org", name)
    return actor_of(make_membership(organisation, user, role))


def built_at_risk(play: Play) -> Case:
    """A crown that is short lingually, built because the risk was accepted."""
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(flag, AnswerKind.ACCEPT_RISK, grounds="Away.", consent=True)
    who = play.world.responsible
    with acting(who):
        fresh = Flag.objects.select_related("case").get(pk=flag.pk)
        content = answers.countersign_content(
            case=fresh.case, flag=fresh, answer=answers.pending_answer(fresh)
        )
        answers.flag_countersign(
            actor=who,
            code=flag.code,
            version=None,
            accept=True,
            reason="",
            signature=signature_over(content),
            at=play.tick(),
        )
    play.clear(case)
    play.release(case)
    return play.fresh(case)


def corrected_and_built(play: Play) -> Case:
    """A crown that was short at first; prepared again, then sufficient."""
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.RE_PREPARATION, grounds="Agreed.")
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        reading("lingual_cusps", passes_mm="1.5"),
        reading("central_fossa", passes_mm="1.5"),
    ]
    play.records(case, [{"tooth": "36", **row} for row in rows])
    play.receive(case)
    play.clear(case)
    play.release(case)
    return play.fresh(case)


def delivered(play: Play, case: Case, *findings: str) -> Case:
    """Dispatch the case and report that it could not be fitted."""
    lab = play.world.technician
    do(play, bench.case_dispatch, lab, case.code, version=None, note="")
    report = FitInput(fitted=False, findings=list(findings) or ["perforated"])
    who = play.world.assistant
    do(play, outcome.fit_report, who, case.code, version=None, report=report)
    return play.fresh(case)


def opened(play: Play, case: Case, cause: str = "perforation", **values: Any) -> Remake:
    """Open a remake as the prescriber."""
    given = {"attribution": "", "note": "", "version": None, **values}
    who = play.world.dentist
    made = do(play, outcome.remake_open, who, case.code, cause=cause, **given)
    assert isinstance(made, Remake)
    return made

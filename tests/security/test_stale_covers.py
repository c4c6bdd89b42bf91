"""A cover given for readings that went stale afterwards opens no gate."""

import pytest

from cases.errors import Conflict, Invalid
from cases.lifecycle import AnswerKind
from cases.models import Case
from cases.services.readings import provisional_lost, readings_add
from cases.tenancy import acting
from tests.play import Play, reading, sufficient_unit, unit
from tests.security.test_forging import refused

CLEARED = "UPDATE cases_case SET state = 'cleared' WHERE id = %s"


def lost(play: Play, case: Case) -> None:
    who = play.world.assistant
    with acting(who):
        provisional_lost(
            actor=who, code=case.code, version=None, note="Lost.", at=play.tick()
        )


def test_what_was_answered_before_the_provisional_was_lost_covers_nothing(play: Play):
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="Cut it there.")
    assert play.fresh(case).state == "at_check"
    lost(play, case)
    with pytest.raises(Conflict) as shut:
        play.clear(case)
    assert any("lingual cusps" in reason for reason in shut.value.reasons)
    assert refused(play.world.technician, CLEARED, case.pk) == "CB001"


def test_what_is_answered_afterwards_covers_the_site(play: Play):
    case = play.at_check(unit())
    lost(play, case)
    for site, thick in (("buccal_cusps", "2.0"), ("central_fossa", "1.5")):
        fresh(play, case, site, passes_mm=thick)
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="Cut it there.")
    assert play.clear(case).state == "cleared"


def fresh(play: Play, case: Case, site: str, **values: str) -> None:
    who = play.world.technician
    row = {"tooth": "36", **reading(site, **values), "basis": "model"}
    with acting(who):
        readings_add(
            actor=who, code=case.code, version=None, readings=[row], at=play.tick()
        )


def test_a_stale_point_is_not_cleared_within_uncertainty(play: Play):
    point = reading("lingual_cusps", method="wax_caliper", value_mm="1.55")
    rows = [*sufficient_unit()["readings"][::2], point]
    case = play.at_check(unit(readings=rows))
    covered = play.at_check(unit(readings=rows))
    site = ("36", "lingual_cusps")
    assert play.clear(covered, [site]).state == "cleared"
    lost(play, case)
    with pytest.raises(Invalid) as shut:
        play.clear(case, [site])
    assert [f.pointer for f in shut.value.fields] == ["/within_uncertainty/0"]
    assert refused(play.world.technician, CLEARED, case.pk) == "CB001"

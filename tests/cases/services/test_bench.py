"""After release: try-in, return, dispatch, remake inside, cancel; and races."""

import threading

import pytest
from django.db import connections

from cases.errors import Conflict, IllegalTransition, Invalid, NotAllowed
from cases.lifecycle import AnswerKind
from cases.models import Answer, Flag, Remake, WorkOrder
from cases.services import answers, bench, thread
from cases.services.answers import AnswerInput
from cases.tenancy import Actor, acting
from tests.play import AT, Play, build_world, signature_over, sufficient_unit, unit


@pytest.fixture
def made(play: Play) -> tuple[Play, str]:
    case = play.at_check(sufficient_unit())
    play.clear(case)
    play.release(case)
    return play, case.code


def _do(play: Play, command, who: Actor, code: str, **values):
    with acting(who):
        return command(actor=who, code=code, version=None, at=play.tick(), **values)


def test_a_try_in_comes_back_with_notes(made):
    play, code = made
    lab, clinic = play.world.technician, play.world.assistant
    case = _do(play, bench.case_try_in, lab, code, note="Framework only.")
    assert case.state == "at_try_in"
    with pytest.raises(Invalid):
        _do(play, bench.case_return, clinic, code, note="")
    case = _do(play, bench.case_return, clinic, code, note="Open the contact.")
    assert case.state == "in_fabrication"
    case = _do(play, bench.case_dispatch, lab, code, note="Courier 1")
    assert _do(play, bench.case_receipt, clinic, code, note="").state == "dispatched"
    with pytest.raises(IllegalTransition):
        _do(play, bench.case_cancel, play.world.dentist, code, reason="No.")


def test_an_internal_remake_is_recorded_and_stays(made):
    play, code = made
    lab = play.world.technician
    with pytest.raises(Invalid):
        _do(
            play,
            bench.internal_remake,
            lab,
            code,
            cause="bad_luck",
            detected_at="ceramic",
            note="",
        )
    _do(
        play,
        bench.internal_remake,
        lab,
        code,
        cause="fracture",
        detected_at="ceramic",
        note="Chipped in the furnace.",
    )
    with acting(lab):
        remake = Remake.objects.get()
        assert (remake.internal, remake.case.state) == (True, "in_fabrication")


def test_only_the_prescriber_cancels_and_the_order_is_superseded(made):
    play, code = made
    with pytest.raises(NotAllowed):
        _do(play, bench.case_cancel, play.world.assistant, code, reason="Moved away.")
    with pytest.raises(NotAllowed):
        _do(play, bench.case_cancel, play.world.colleague, code, reason="Moved away.")
    case = _do(
        play,
        bench.case_cancel,
        play.world.dentist,
        code,
        reason="Moved away.",
        charged_work="Framework made.",
    )
    assert (case.state, case.charged_work) == ("cancelled", "Framework made.")
    with acting(play.world.technician):
        assert WorkOrder.objects.get().status == "superseded"


def test_the_same_message_sent_twice_is_one(play: Play):
    case = play.at_check(unit())
    who = play.world.assistant
    with acting(who):
        sent = [
            thread.message_post(
                actor=who,
                code=case.code,
                body="<b>Look</b> at the palatal cusp.",
                internal=False,
                client_id="c-1",
                attachments=[],
                at=AT,
            )
            for _ in range(2)
        ]
        assert sent[0].pk == sent[1].pk
        with pytest.raises(Invalid):
            thread.message_post(
                actor=who,
                code=case.code,
                body="x" * 10_000_000,
                internal=False,
                client_id="c-2",
                attachments=[],
                at=AT,
            )
        with pytest.raises(NotAllowed):
            thread.message_post(
                actor=who,
                code=case.code,
                body="hidden",
                internal=True,
                client_id="c-3",
                attachments=[],
                at=AT,
            )


def test_of_two_answers_at_once_one_wins(transactional_db):
    play = Play(build_world())
    case = play.at_check(unit())
    flag = play.flag(case)
    who = play.world.dentist
    chosen = AnswerInput(kind=AnswerKind.RE_PREPARATION)
    with acting(who):
        content = answers.answer_preview(case=case, flag=flag, answer=chosen, at=AT)
    outcomes: list[str] = []
    barrier = threading.Barrier(2)

    def answer() -> None:
        barrier.wait()
        try:
            with acting(who):
                answers.flag_answer(
                    actor=who,
                    code=flag.code,
                    version=None,
                    answer=chosen,
                    signature=signature_over(content),
                    at=AT,
                )
            outcomes.append("signed")
        except (Conflict, IllegalTransition):
            outcomes.append("refused")
        finally:
            connections.close_all()

    threads = [threading.Thread(target=answer) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(20)
    assert sorted(outcomes) == ["refused", "signed"]
    with acting(who):
        assert Answer.objects.count() == 1
        assert Flag.objects.get().status == "settled"

"""The transition table against design section 4, row by row; no database."""

import pytest

from cases.errors import IllegalTransition
from cases.lifecycle import (
    ANSWER_TARGETS,
    TABLE,
    AnswerKind,
    CaseState,
    Command,
    Mover,
    commands_for,
    next_state,
    settled_target,
    whose_move,
)
from cases.policies import ROLES

S, C = CaseState, Command

# State, command, where it may lead: copied by hand from the design's table.
DESIGN = [
    ("draft", "submit", {"submitted"}),
    ("submitted", "receive", {"at_check"}),
    ("at_check", "clear", {"cleared"}),
    ("at_check", "flag", {"on_hold"}),
    ("at_check", "incomplete", {"incomplete"}),
    ("incomplete", "resubmit", {"submitted"}),
    ("awaiting_records", "records", {"submitted"}),
    ("deferred", "resume", {"awaiting_records"}),
    ("cleared", "release", {"in_fabrication"}),
    ("cleared", "flag", {"on_hold"}),
    ("in_fabrication", "try_in", {"at_try_in"}),
    ("in_fabrication", "dispatch", {"dispatched"}),
    ("in_fabrication", "internal_remake", {"in_fabrication"}),
    ("in_fabrication", "flag", {"on_hold"}),
    ("at_try_in", "return", {"in_fabrication"}),
    ("at_try_in", "flag", {"on_hold"}),
    ("dispatched", "receipt", {"dispatched"}),
    ("dispatched", "fit", {"fitted", "not_fitted"}),
    ("dispatched", "return", {"in_fabrication"}),
    ("fitted", "remake", {"fitted"}),
    ("not_fitted", "remake", {"not_fitted"}),
    ("not_fitted", "return", {"in_fabrication"}),
    ("at_check", "change_request", {"on_hold"}),
    ("cleared", "change_request", {"on_hold"}),
    ("in_fabrication", "change_request", {"on_hold"}),
]


@pytest.mark.parametrize(("state", "command", "targets"), DESIGN)
def test_the_table_says_what_the_design_says(state, command, targets):
    assert {t.value for t in TABLE[S(state), C(command)]} == targets


def test_a_hold_leaves_to_what_its_answers_say():
    assert set(TABLE[S.ON_HOLD, C.ANSWER]) == {
        S.ON_HOLD,
        S.AT_CHECK,
        S.AWAITING_RECORDS,
        S.DEFERRED,
        S.CANCELLED,
    }
    assert set(ANSWER_TARGETS.values()) <= set(TABLE[S.ON_HOLD, C.ANSWER])
    assert set(ANSWER_TARGETS) == set(AnswerKind)


def test_nothing_after_dispatch_is_cancelled():
    cancellable = {state for state, command in TABLE if command is C.CANCEL}
    assert not cancellable & {S.DISPATCHED, S.FITTED, S.NOT_FITTED, S.CANCELLED}
    assert S.AT_TRY_IN in cancellable


@pytest.mark.parametrize("state", list(S))
@pytest.mark.parametrize("command", list(C))
def test_what_does_not_stand_in_the_table_is_refused(state, command):
    if (state, command) in TABLE:
        assert command in commands_for(state)
        return
    with pytest.raises(IllegalTransition) as refused:
        next_state(state, command)
    assert refused.value.status == 409


def test_a_target_outside_the_row_is_refused():
    with pytest.raises(IllegalTransition):
        next_state(S.DISPATCHED, C.FIT, target=S.DRAFT)
    assert next_state(S.DISPATCHED, C.FIT, target=S.NOT_FITTED) is S.NOT_FITTED


def test_the_strongest_answer_decides():
    every = [S.AT_CHECK, S.AWAITING_RECORDS, S.DEFERRED, S.CANCELLED]
    for strongest in range(1, 5):
        assert settled_target(every[:strongest]) is every[strongest - 1]


def test_whose_move_it_is():
    assert whose_move(S.ON_HOLD) is Mover.CLINIC
    assert whose_move(S.ON_HOLD, countersign_due=True) is Mover.LABORATORY
    assert whose_move(S.SUBMITTED) is Mover.LABORATORY
    assert whose_move(S.DISPATCHED) is Mover.CLINIC
    assert whose_move(S.FITTED) is Mover.NOBODY


def test_every_command_has_somebody_who_may():
    assert set(ROLES) == set(Command)

"""The state machine of a case, pure: one table, one question.

The table is design section 4. A command that does not stand in it for a state
is refused; a case is never rewound. Commands whose target depends on more than
the state (an answer, a withdrawal) list every target they may reach, and the
service names which one.
"""

from enum import StrEnum

from cases.errors import IllegalTransition

__all__ = [
    "ANSWER_TARGETS",
    "TABLE",
    "TERMINAL",
    "AnswerKind",
    "CaseState",
    "Command",
    "Mover",
    "commands_for",
    "next_state",
    "settled_target",
    "whose_move",
]


class CaseState(StrEnum):
    """Where a case stands."""

    DRAFT = "draft"
    SUBMITTED = "submitted"
    AT_CHECK = "at_check"
    INCOMPLETE = "incomplete"
    ON_HOLD = "on_hold"
    AWAITING_RECORDS = "awaiting_records"
    DEFERRED = "deferred"
    CLEARED = "cleared"
    IN_FABRICATION = "in_fabrication"
    AT_TRY_IN = "at_try_in"
    DISPATCHED = "dispatched"
    FITTED = "fitted"
    NOT_FITTED = "not_fitted"
    CANCELLED = "cancelled"


class Command(StrEnum):
    """What a person may ask of a case."""

    SUBMIT = "submit"
    DISCARD = "discard"
    RECEIVE = "receive"
    INCOMPLETE = "incomplete"
    RESUBMIT = "resubmit"
    READINGS = "readings"
    RECORDS = "records"
    RECHECK = "recheck"
    PROVISIONAL = "provisional"
    CLEAR = "clear"
    FLAG = "flag"
    CHANGE_REQUEST = "change_request"
    WITHDRAW = "withdraw"
    ANSWER = "answer"
    COUNTERSIGN = "countersign"
    RESUME = "resume"
    RELEASE = "release"
    TRY_IN = "try_in"
    RETURN = "return"
    DISPATCH = "dispatch"
    RECEIPT = "receipt"
    FIT = "fit"
    INTERNAL_REMAKE = "internal_remake"
    REMAKE = "remake"
    CANCEL = "cancel"
    MESSAGE = "message"
    ATTACH = "attach"
    EDIT_DRAFT = "edit_draft"


class AnswerKind(StrEnum):
    """The clinician's signed choices (design section 4, second table)."""

    RE_PREPARATION = "re_preparation"
    RE_MEASURE = "re_measure"
    NEW_JAW_RECORD = "new_jaw_record"
    CHANGE_MATERIAL = "change_material"
    CHANGE_DESIGN = "change_design"
    REDUCTION_COPING = "reduction_coping"
    ADJUST_OPPOSING = "adjust_opposing"
    REFER = "refer"
    ACCEPT_RISK = "accept_risk"
    CANCEL = "cancel"


class Mover(StrEnum):
    """Whose move it is; nobody when the case has ended."""

    CLINIC = "clinic"
    LABORATORY = "laboratory"
    NOBODY = "nobody"


S = CaseState
C = Command

_BEFORE_DISPATCH = (
    S.SUBMITTED,
    S.AT_CHECK,
    S.INCOMPLETE,
    S.ON_HOLD,
    S.AWAITING_RECORDS,
    S.DEFERRED,
    S.CLEARED,
    S.IN_FABRICATION,
    S.AT_TRY_IN,
)
# Once cleared or in fabrication the clinic stops the work by a change request.
_BEFORE_CLEARANCE = (
    S.SUBMITTED,
    S.AT_CHECK,
    S.INCOMPLETE,
    S.ON_HOLD,
    S.AWAITING_RECORDS,
    S.DEFERRED,
)
_SETTLED = (S.AT_CHECK, S.AWAITING_RECORDS, S.DEFERRED, S.CANCELLED)
_HOLDABLE = (S.AT_CHECK, S.CLEARED, S.IN_FABRICATION, S.AT_TRY_IN)

TABLE: dict[tuple[CaseState, Command], tuple[CaseState, ...]] = {
    (S.DRAFT, C.EDIT_DRAFT): (S.DRAFT,),
    (S.DRAFT, C.SUBMIT): (S.SUBMITTED,),
    (S.DRAFT, C.DISCARD): (),
    (S.SUBMITTED, C.RECEIVE): (S.AT_CHECK,),
    (S.AT_CHECK, C.CLEAR): (S.CLEARED,),
    (S.AT_CHECK, C.INCOMPLETE): (S.INCOMPLETE,),
    (S.AT_CHECK, C.READINGS): (S.AT_CHECK,),
    (S.AT_CHECK, C.RECHECK): (S.AT_CHECK,),
    (S.INCOMPLETE, C.EDIT_DRAFT): (S.INCOMPLETE,),
    (S.INCOMPLETE, C.RESUBMIT): (S.SUBMITTED,),
    (S.ON_HOLD, C.FLAG): (S.ON_HOLD,),
    (S.ON_HOLD, C.ANSWER): (S.ON_HOLD, *_SETTLED),
    (S.ON_HOLD, C.COUNTERSIGN): (S.ON_HOLD, *_SETTLED),
    (S.ON_HOLD, C.WITHDRAW): (S.ON_HOLD, *_HOLDABLE, *_SETTLED[1:]),
    (S.AWAITING_RECORDS, C.RECORDS): (S.SUBMITTED,),
    (S.DEFERRED, C.RESUME): (S.AWAITING_RECORDS,),
    (S.CLEARED, C.RELEASE): (S.IN_FABRICATION,),
    (S.IN_FABRICATION, C.TRY_IN): (S.AT_TRY_IN,),
    (S.IN_FABRICATION, C.DISPATCH): (S.DISPATCHED,),
    (S.IN_FABRICATION, C.INTERNAL_REMAKE): (S.IN_FABRICATION,),
    (S.AT_TRY_IN, C.RETURN): (S.IN_FABRICATION,),
    (S.DISPATCHED, C.RECEIPT): (S.DISPATCHED,),
    (S.DISPATCHED, C.FIT): (S.FITTED, S.NOT_FITTED),
    (S.DISPATCHED, C.RETURN): (S.IN_FABRICATION,),
    (S.FITTED, C.REMAKE): (S.FITTED,),
    (S.NOT_FITTED, C.REMAKE): (S.NOT_FITTED,),
    (S.NOT_FITTED, C.RETURN): (S.IN_FABRICATION,),
    **{(state, C.FLAG): (S.ON_HOLD,) for state in _HOLDABLE},
    **{
        (state, C.CHANGE_REQUEST): (S.ON_HOLD,)
        for state in (S.AT_CHECK, S.CLEARED, S.IN_FABRICATION)
    },
    **{(state, C.CANCEL): (S.CANCELLED,) for state in _BEFORE_DISPATCH},
    **{(state, C.PROVISIONAL): (state,) for state in _BEFORE_CLEARANCE},
    **{
        (state, C.MESSAGE): (state,)
        for state in S
        if state not in (S.DRAFT, S.CANCELLED)
    },
    **{(state, C.ATTACH): (state,) for state in S if state is not S.CANCELLED},
}

TERMINAL = frozenset({S.FITTED, S.NOT_FITTED, S.CANCELLED})

ANSWER_TARGETS: dict[AnswerKind, CaseState] = {
    AnswerKind.RE_PREPARATION: S.AWAITING_RECORDS,
    AnswerKind.RE_MEASURE: S.AT_CHECK,
    AnswerKind.NEW_JAW_RECORD: S.AWAITING_RECORDS,
    AnswerKind.CHANGE_MATERIAL: S.AT_CHECK,
    AnswerKind.CHANGE_DESIGN: S.AT_CHECK,
    AnswerKind.REDUCTION_COPING: S.AT_CHECK,
    AnswerKind.ADJUST_OPPOSING: S.AWAITING_RECORDS,
    AnswerKind.REFER: S.DEFERRED,
    AnswerKind.ACCEPT_RISK: S.AT_CHECK,
    AnswerKind.CANCEL: S.CANCELLED,
}

# Strongest first: when several queries are settled, this one decides.
_STRENGTH = (S.CANCELLED, S.DEFERRED, S.AWAITING_RECORDS, S.AT_CHECK)

_CLINIC = frozenset(
    {
        S.DRAFT,
        S.INCOMPLETE,
        S.ON_HOLD,
        S.AWAITING_RECORDS,
        S.DEFERRED,
        S.AT_TRY_IN,
        S.DISPATCHED,
    }
)


def commands_for(state: CaseState) -> frozenset[Command]:
    """Return the commands that stand in the table for a state."""
    return frozenset(command for (at, command) in TABLE if at is state)


def next_state(
    state: CaseState, command: Command, *, target: CaseState | None = None
) -> CaseState:
    """Return the state a command leads to.

    ``target`` names which one, where the table allows several.

    Raises:
        IllegalTransition: the command, or that target, is not in the table.
    """
    targets = TABLE.get((state, command))
    if targets is None:
        raise IllegalTransition(
            "“{command}” is not possible while the case is “{state}”.",
            command=command.value.replace("_", " "),
            state=state.value.replace("_", " "),
        )
    chosen = target if target is not None else (targets[0] if targets else state)
    if targets and chosen not in targets:
        raise IllegalTransition(
            "“{command}” does not lead from “{state}” to “{target}”.",
            command=command.value.replace("_", " "),
            state=state.value.replace("_", " "),
            target=chosen.value.replace("_", " "),
        )
    return chosen


def settled_target(targets: list[CaseState]) -> CaseState:
    """Return where a case goes when its last query is settled.

    ``targets`` are the states the answers of this hold lead to, at least one.
    """
    return min(targets, key=_STRENGTH.index)


def whose_move(state: CaseState, *, countersign_due: bool = False) -> Mover:
    """Return whose move it is; a due countersignature is the laboratory's."""
    if state in TERMINAL:
        return Mover.NOBODY
    if state is S.ON_HOLD and countersign_due:
        return Mover.LABORATORY
    return Mover.CLINIC if state in _CLINIC else Mover.LABORATORY

"""The next-move bar: what this person may do now, and whose move it is otherwise.

A button shows only when the lifecycle table and the policies both say yes; the
service decides again when it is pressed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from cases.enums import FlagStatus
from cases.forms.words import word
from cases.lifecycle import CaseState, Command, Mover, commands_for
from cases.policies import can
from cases.tenancy import Actor

if TYPE_CHECKING:
    from cases.models import Flag
    from cases.selectors.cases import CaseDetail

__all__ = ["Move", "Moves", "moves_of"]

C = Command
S = CaseState

# In the order of the bar; the first that may be pressed is the primary one.
_ORDER = (
    C.COUNTERSIGN,
    C.ANSWER,
    C.SUBMIT,
    C.RESUBMIT,
    C.EDIT_DRAFT,
    C.RECEIVE,
    C.RECORDS,
    C.CLEAR,
    C.RELEASE,
    C.DISPATCH,
    C.FIT,
    C.FLAG,
    C.RETURN,
    C.RECEIPT,
    C.RESUME,
    C.TRY_IN,
    C.READINGS,
    C.INCOMPLETE,
    C.RECHECK,
    C.PROVISIONAL,
    C.INTERNAL_REMAKE,
    C.REMAKE,
    C.CHANGE_REQUEST,
    C.WITHDRAW,
    C.DISCARD,
    C.CANCEL,
)
_OF_A_FLAG = frozenset({C.ANSWER, C.COUNTERSIGN, C.WITHDRAW})
# What the bar never leads with: it stops or undoes something.
_SIDEWAYS = frozenset(
    {C.WITHDRAW, C.DISCARD, C.CANCEL, C.CHANGE_REQUEST, C.RECHECK, C.PROVISIONAL}
)
_KEYS = {C.FLAG: "f", C.CLEAR: "c", C.RELEASE: "r", C.ANSWER: "a", C.RECEIVE: "e"}


@dataclass(frozen=True, slots=True)
class Move:
    """One button."""

    command: str
    label: str
    url: str
    key: str
    style: str


@dataclass(frozen=True, slots=True)
class Moves:
    """The bar: what leads on, what else is possible, and a line of text."""

    lead: tuple[Move, ...]
    more: tuple[Move, ...]
    text: str
    yours: bool


def _flag_for(detail: "CaseDetail", command: Command, actor: Actor) -> "Flag | None":
    """Return the oldest query this command concerns, if there is one."""
    for flag in detail.flags:
        if command is C.ANSWER and flag.status == FlagStatus.OPEN:
            return flag
        if command is C.COUNTERSIGN and flag.status == FlagStatus.COUNTERSIGN_DUE:
            return flag
        waiting = flag.status in (FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE)
        if command is C.WITHDRAW and waiting and flag.origin == actor.side:
            return flag
    return None


def _fits(detail: "CaseDetail", command: Command, actor: Actor) -> bool:
    """Return whether what the two tables cannot know allows the command too."""
    case = detail.case
    if command is C.FLAG and actor.is_clinic:
        return case.state == S.AT_TRY_IN
    if command is C.CANCEL:
        return actor.user_id == case.prescriber_id
    if command is C.CLEAR:
        return _gate_can_open(detail)
    if command in (C.SUBMIT, C.RESUBMIT):
        return detail.draft is not None
    return True


def _gate_can_open(detail: "CaseDetail") -> bool:
    """Return whether nothing shuts the gate that a technician could not clear."""
    clearable = sum(1 for ground in detail.grounds if ground.clearable)
    return len(detail.gate) <= clearable


def _address(detail: "CaseDetail", command: Command, actor: Actor) -> str:
    """Return where the command is given, or nothing where it cannot be."""
    code = detail.case.code
    name = f"case_{command.value}"
    if command in _OF_A_FLAG:
        flag = _flag_for(detail, command, actor)
        if flag is None:
            return ""
        code, name = flag.code, f"flag_{command.value}"
    try:
        return reverse(name, args=[code])
    except NoReverseMatch:
        return ""


def _possible(detail: "CaseDetail", actor: Actor) -> Iterator[tuple[Command, str]]:
    standing = commands_for(CaseState(detail.case.state))
    for command in _ORDER:
        if command not in standing or not can(actor, command):
            continue
        url = _address(detail, command, actor)
        if url and _fits(detail, command, actor):
            yield command, url


def _style(command: Command, first: bool) -> str:
    if command in (C.CANCEL, C.DISCARD):
        return "btn-stop"
    return "btn-primary" if first else ""


def moves_of(detail: "CaseDetail", actor: Actor) -> Moves:
    """Return the bar of a case for one person."""
    lead: list[Move] = []
    more: list[Move] = []
    for command, url in _possible(detail, actor):
        sideways = command in _SIDEWAYS
        move = Move(
            command=command.value,
            label=word("command", command.value),
            url=url,
            key=_KEYS.get(command, ""),
            style=_style(command, first=not lead and not sideways),
        )
        (more if sideways or len(lead) == 3 else lead).append(move)
    yours = detail.mover == actor.side
    return Moves(tuple(lead), tuple(more), _line(detail, yours, bool(lead)), yours)


def _line(detail: "CaseDetail", yours: bool, able: bool) -> str:
    """Return whose move it is, in a sentence."""
    case = detail.case
    due = any(f.status == FlagStatus.COUNTERSIGN_DUE for f in detail.flags)
    if case.state == S.ON_HOLD and due:
        text = _("The responsible technician countersigns or declines.")
    else:
        text = word("move", case.state)
    if detail.mover == Mover.NOBODY:
        return text
    if not yours:
        side = word("mover", detail.mover)
        return _("It is the {side}'s move. {text}").format(side=side, text=text)
    if not able:
        return _("{text} This is for another role of your side.").format(text=text)
    return text

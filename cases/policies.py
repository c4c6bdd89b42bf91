"""Who may do what: one table from command to side and roles.

Tenancy (whose row) is a queryset; state (whether now) is the lifecycle table;
this file answers only "may this role". Templates use the same table to show or
hide a button.
"""

from cases.enums import Role, Side
from cases.errors import NotAllowed
from cases.lifecycle import Command
from cases.tenancy import Actor

__all__ = [
    "ORGANISATION_RIGHTS",
    "ROLES",
    "can",
    "can_manage",
    "require",
    "require_right",
]

_CHAIR = frozenset({Role.CLINICIAN, Role.ASSISTANT})
_CLINIC = _CHAIR | {Role.CLINIC_MANAGER}
_BENCH = frozenset({Role.TECHNICIAN, Role.LAB_MANAGER})
_SIGNER = frozenset({Role.CLINICIAN})

ROLES: dict[Command, dict[str, frozenset[Role]]] = {
    Command.EDIT_DRAFT: {Side.CLINIC: _CHAIR},
    Command.SUBMIT: {Side.CLINIC: _SIGNER},
    Command.RESUBMIT: {Side.CLINIC: _SIGNER},
    Command.DISCARD: {Side.CLINIC: _CHAIR},
    Command.RECEIVE: {Side.LABORATORY: _BENCH},
    Command.INCOMPLETE: {Side.LABORATORY: _BENCH},
    Command.READINGS: {Side.LABORATORY: _BENCH},
    Command.RECORDS: {Side.CLINIC: _CHAIR},
    Command.RECHECK: {Side.LABORATORY: _BENCH},
    Command.PROVISIONAL: {Side.CLINIC: _CHAIR},
    Command.CLEAR: {Side.LABORATORY: _BENCH},
    Command.FLAG: {Side.LABORATORY: _BENCH, Side.CLINIC: _CHAIR},
    Command.CHANGE_REQUEST: {Side.CLINIC: _SIGNER},
    Command.WITHDRAW: {Side.LABORATORY: _BENCH, Side.CLINIC: _SIGNER},
    Command.ANSWER: {Side.CLINIC: _SIGNER},
    Command.COUNTERSIGN: {Side.LABORATORY: _BENCH},
    Command.RESUME: {Side.CLINIC: _CHAIR},
    Command.RELEASE: {Side.LABORATORY: _BENCH},
    Command.TRY_IN: {Side.LABORATORY: _BENCH},
    Command.RETURN: {Side.CLINIC: _CHAIR},
    Command.DISPATCH: {Side.LABORATORY: _BENCH},
    Command.RECEIPT: {Side.CLINIC: _CLINIC},
    Command.FIT: {Side.CLINIC: _CHAIR},
    Command.INTERNAL_REMAKE: {Side.LABORATORY: _BENCH},
    Command.REMAKE: {Side.CLINIC: _CHAIR},
    Command.CANCEL: {Side.CLINIC: _SIGNER},
    Command.MESSAGE: {Side.CLINIC: _CLINIC, Side.LABORATORY: _BENCH},
    Command.ATTACH: {Side.CLINIC: _CLINIC, Side.LABORATORY: _BENCH},
}

# What concerns an organisation rather than a case.
ORGANISATION_RIGHTS: dict[str, frozenset[Role]] = {
    "people": frozenset({Role.CLINIC_MANAGER, Role.LAB_MANAGER}),
    "partners": frozenset({Role.CLINIC_MANAGER, Role.LAB_MANAGER}),
    "delegate": _SIGNER,
    "rule_sets": frozenset({Role.LAB_MANAGER}),
    "instruments": _CLINIC | _BENCH,
    "audit": frozenset({Role.CLINICIAN, Role.CLINIC_MANAGER, Role.LAB_MANAGER}),
    "audit_set_up": frozenset({Role.CLINIC_MANAGER, Role.LAB_MANAGER}),
    "remake_causes": frozenset({Role.LAB_MANAGER}),
    "remakes": frozenset(
        {Role.CLINICIAN, Role.CLINIC_MANAGER, Role.TECHNICIAN, Role.LAB_MANAGER}
    ),
}


def can(actor: Actor, command: Command) -> bool:
    """Return whether the actor's role may ever use a command."""
    roles = ROLES.get(command, {}).get(actor.side, frozenset())
    if command is Command.COUNTERSIGN and not actor.responsible_technician:
        return False
    return actor.role in roles


def require(actor: Actor, command: Command) -> None:
    """Raise NotAllowed unless the actor's role may use the command."""
    if can(actor, command):
        return
    if command is Command.COUNTERSIGN:
        raise NotAllowed("Only a responsible technician may countersign.")
    raise NotAllowed(
        "Your role does not allow “{command}”. Ask a colleague whose role does.",
        command=command.value.replace("_", " "),
    )


def can_manage(actor: Actor, right: str) -> bool:
    """Return whether the actor holds a right over their organisation."""
    return actor.role in ORGANISATION_RIGHTS[right]


def require_right(actor: Actor, right: str) -> None:
    """Raise NotAllowed unless the actor holds the right."""
    if not can_manage(actor, right):
        raise NotAllowed("Your role does not allow this. Ask your manager.")

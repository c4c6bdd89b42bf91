"""The shape of a row of the permission table, and how to arrange its object."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.personas import Personas
from tests.play import Play, World

__all__ = ["PERSONAS", "Row", "Target", "nothing", "play_of"]

PERSONAS = (
    "clinician",
    "assistant",
    "clinic_manager",
    "technician",
    "lab_manager",
    "clinician_b",
    "technician_m",
    "operator",
    "anonymous",
)


@dataclass(frozen=True, slots=True)
class Target:
    """What is sent where: URL arguments, form fields or a JSON body, headers."""

    kwargs: dict[str, Any] = field(default_factory=dict)
    data: dict[str, Any] = field(default_factory=dict)
    json: Any = None
    headers: dict[str, str] = field(default_factory=dict)


def nothing(personas: Personas) -> Target:
    """Arrange nothing: the address has no object and the request no fields."""
    return Target()


@dataclass(frozen=True, slots=True)
class Row:
    """One address and method with the status each persona gets.

    ``case`` tells two rows of one address and method apart.
    """

    name: str
    method: str
    expected: str
    arrange: Callable[[Personas], Target] = nothing
    case: str = ""

    def statuses(self) -> dict[str, int]:
        """Return the expected status of each persona."""
        numbers = [int(word) for word in self.expected.split()]
        return dict(zip(PERSONAS, numbers, strict=True))


def play_of(personas: Personas) -> Play:
    """Return a play whose people are the personas (prescriber: clinician)."""
    return Play(
        World(
            dentist=personas.clinician.actor,
            colleague=personas.colleague.actor,
            assistant=personas.assistant.actor,
            outsider=personas.clinician_b.actor,
            technician=personas.technician.actor,
            responsible=personas.responsible.actor,
            other_laboratory=personas.technician_m.actor,
        )
    )

"""Whose cases they are: a laboratory, its clinics and their people, as the rows say."""

from dataclasses import dataclass, field
from functools import cached_property

from cases.management.volume.text import told

__all__ = ["Clinic", "Laboratory", "Person"]


@dataclass(frozen=True)
class Person:
    """One person acting through one membership."""

    membership: int
    user: int
    name: str
    role: str
    licence: str = ""

    @cached_property
    def prescribes(self) -> str:
        """Return what signed content says of a prescriber, as canonical JSON."""
        return told({"name": self.name, "licence_number": self.licence})


@dataclass(frozen=True)
class _House:
    """What signed content says of an organisation."""

    pk: int
    code: str
    name: str
    address: str
    time_zone: str

    @cached_property
    def named(self) -> str:
        """Return code and name as canonical JSON."""
        return told({"code": self.code, "name": self.name})


@dataclass(frozen=True)
class Clinic(_House):
    """A clinic. ``share``: how much of the laboratory's work comes from here."""

    tooth_system: str
    clinicians: tuple[Person, ...]
    assistant: Person
    share: float = 1.0
    twice: bool = False

    @cached_property
    def addressed(self) -> str:
        """Return what a work order says of the clinic, as canonical JSON."""
        return told(
            {
                "code": self.code,
                "name": self.name,
                "address": self.address,
                "tooth_system": self.tooth_system,
                "time_zone": self.time_zone,
            }
        )


@dataclass(frozen=True)
class Laboratory(_House):
    """A laboratory with the clinics it works for; ``last_number`` of its orders."""

    technicians: tuple[Person, ...]
    responsible: Person
    clinics: tuple[Clinic, ...]
    last_number: int = field(default=0)

    @cached_property
    def addressed(self) -> str:
        """Return what a work order says of the laboratory, as canonical JSON."""
        return told({"code": self.code, "name": self.name, "address": self.address})

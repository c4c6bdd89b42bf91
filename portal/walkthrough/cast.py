"""Who of a credentials file plays which part."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from portal.walkthrough.client import Person

__all__ = ["Cast", "cast_from"]


@dataclass(frozen=True, slots=True)
class Cast:
    """A clinic's two, a laboratory's technician, and a clinician of elsewhere."""

    clinician: Person
    assistant: Person
    technician: Person
    outsider: Person

    @property
    def base_url(self) -> str:
        """Where the server answers."""
        return self.clinician.base_url


def cast_from(credentials: Path) -> Cast:
    """Return the cast of a credentials file.

    Raises:
        ValueError: the file is not one, or lacks somebody.
    """
    try:
        written = json.loads(credentials.read_text(encoding="utf-8"))
        people = [_person(written["base_url"], entry) for entry in written["people"]]
    except (OSError, KeyError, TypeError) as error:
        raise ValueError(f"{credentials}: no credentials file ({error!r})") from error
    clinician = _first(people, lambda p: p.role == "clinician")
    home = clinician.organisation
    return Cast(
        clinician=clinician,
        assistant=_first(
            people, lambda p: p.role == "assistant" and p.organisation == home
        ),
        technician=_first(people, lambda p: p.role == "technician"),
        outsider=_first(
            people, lambda p: p.role == "clinician" and p.organisation != home
        ),
    )


def _person(base_url: str, entry: dict[str, Any]) -> Person:
    told = ("role", "organisation", "name", "email", "password", "token")
    return Person(base_url.rstrip("/"), **{key: str(entry[key]) for key in told})


def _first(people: list[Person], fits: Callable[[Person], bool]) -> Person:
    for person in people:
        if fits(person):
            return person
    raise ValueError("The credentials lack a person the walkthrough needs.")

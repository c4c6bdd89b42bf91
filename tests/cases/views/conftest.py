"""Everybody of the tests with a browser each, and a case at any point of its life."""

from dataclasses import dataclass

import pytest
from django.test import Client

from cases.models import Case
from tests.permissions.shape import play_of
from tests.personas import Personas, client_of
from tests.play import Play


@dataclass(frozen=True)
class Desk:
    """Browsers by persona, and the player of cases."""

    personas: Personas
    play: Play

    def browser(self, name: str) -> Client:
        return client_of(self.personas.named(name))

    def fresh(self, case: Case) -> Case:
        return self.play.fresh(case)


@pytest.fixture
def desk(personas: Personas) -> Desk:
    return Desk(personas, play_of(personas))

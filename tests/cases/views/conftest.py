"""Everybody of the tests with a browser each, and a case at any point of its life."""

from dataclasses import dataclass

import pytest
from allauth.mfa.totp.internal import auth
from django.test import Client

from cases.models import Case
from tests.factories import TOTP_SECRET
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


@pytest.fixture
def code_now(monkeypatch: pytest.MonkeyPatch) -> str:
    """The authenticator's code, with its clock stopped.

    On a busy machine half a minute may pass between reading a code and sending it.
    """
    monkeypatch.setattr(auth, "yield_hotp_counters_from_time", lambda: iter([57]))
    return str(auth.format_hotp_value(auth.hotp_value(TOTP_SECRET, 57)))

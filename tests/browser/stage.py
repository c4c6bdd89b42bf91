"""The demo's invented scenario as the world of tests that only look."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from allauth.mfa.totp.internal.auth import (
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.core.management import call_command
from django.test import override_settings
from pytest_django.plugin import DjangoDbBlocker

from cases import clock
from cases.enums import Role
from cases.management.demo.load import load_scenario
from cases.management.demo.people import Player
from cases.models import Attachment, Case, Flag, WorkOrder
from cases.services import invitations
from cases.services.people import password_reset_path
from cases.tenancy import acting
from tests.database import truncate_as_owner
from tests.factories import PASSWORD, make_user

__all__ = ["Demo", "code_of", "demo_stage"]

OPERATOR = "operator@example.org"


@dataclass
class Demo:
    """Who is there, and where what they work on is found."""

    people: dict[str, Player]
    cases: dict[str, str] = field(default_factory=dict)
    flags: dict[str, str] = field(default_factory=dict)
    orders: dict[str, tuple[str, str]] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    invitation: str = ""
    reset: str = ""

    def login(self, who: str) -> tuple[str, str, str | None]:
        """Return address, password and the secret of the second factor, if any."""
        if who == "operator":
            return OPERATOR, PASSWORD, None
        player = self.people[who]
        return player.email, player.password, player.totp_secret


def code_of(secret: str) -> str:
    """Return what an authenticator with this secret shows now."""
    counter = next(iter(yield_hotp_counters_from_time()))
    return str(format_hotp_value(hotp_value(secret, counter)))


def _read_codes(demo: Demo) -> None:
    """Note the codes of every case by its patient reference."""
    for who in ("velka", "ildo", "tarka"):
        with acting(demo.people[who].actor):
            for case in Case.objects.select_related("patient").order_by("pk"):
                name = case.patient.reference
                if name in demo.cases:  # a remake carries its patient's reference
                    name += " again"
                demo.cases[name] = case.code
                for flag in Flag.objects.filter(case=case).order_by("pk"):
                    demo.flags[name] = flag.code
                for order in WorkOrder.objects.filter(case=case).order_by("pk"):
                    demo.orders[name] = (order.code, order.content_sha256)
                for file in Attachment.objects.filter(case=case):
                    demo.files[name] = file.code


def _add_what_the_demo_lacks(demo: Demo) -> None:
    """Invite somebody, forget a password, appoint an operator."""
    make_user(OPERATOR, "Operator Test", is_operator=True, second_factor=False)
    now = clock.now()
    manager = demo.people["jorv"].actor
    with acting(manager):
        invited = invitations.invitation_create(
            actor=manager,
            email="new.person@example.org",
            role=Role.CLINICIAN,
            at=now,
        )
    demo.invitation = invitations.invitation_link(invited.code).split("/")[-2]
    forgetful = make_user("forgetful@example.org", second_factor=False)
    demo.reset = password_reset_path(forgetful).split("/")[-2]


@contextmanager
def demo_stage(folder: Path, blocker: DjangoDbBlocker) -> Iterator[Demo]:
    """Load the scenario, hand it out, and empty the database again."""
    file = folder / "people.json"
    with (
        blocker.unblock(),
        override_settings(DEMO_PEOPLE_FILE=str(file), REQUIRE_SECOND_FACTOR=False),
    ):
        try:
            call_command("load_demo", verbosity=0)
            people, _first = load_scenario(file, now=clock.now())  # finds them
            demo = Demo(people)
            _read_codes(demo)
            _add_what_the_demo_lacks(demo)
            yield demo
        finally:
            truncate_as_owner()

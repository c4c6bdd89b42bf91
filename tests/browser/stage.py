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
from cases.models import Attachment, Case, Flag, Remake, WorkOrder
from cases.services import instruments, instruments_studies, invitations
from cases.services.people import password_reset_path
from cases.tenancy import acting
from tests.browser.audit_stage import write_audit
from tests.browser.rule_set_stage import write_rule_sets
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
    instruments: dict[str, str] = field(default_factory=dict)
    studies: dict[str, str] = field(default_factory=dict)
    rule_sets: dict[str, str] = field(default_factory=dict)
    remakes: dict[str, str] = field(default_factory=dict)
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
                for remake in Remake.objects.filter(case=case).order_by("pk"):
                    demo.remakes[name] = str(remake.pk)
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
    demo.rule_sets = write_rule_sets(demo.people["brum"].actor)
    write_audit(demo.people["brum"].actor, demo.people["velka"].actor)


# Invented: repeated measurements of a gauge block of 1.50 mm.
_VALUES = "1.50 1.52 1.49 1.51 1.50 1.53 1.48 1.50 1.51 1.50 1.47 1.52"


def _equip(demo: Demo, who: str, method: str) -> None:
    """Give somebody's organisation a strip set, a worn caliper and a study."""
    actor, now = demo.people[who].actor, clock.now()
    sheet: dict[str, tuple[str, list[tuple[str, str]], dict[str, str]]] = {
        "strips": (
            "Strips, spare set",
            [("1.0", "1.02"), ("1.5", "1.49"), ("2.0", "")],
            {"most_uses": "300", "uses": "41"},
        ),
        "caliper": (
            "Spring caliper 3",
            [],
            {"resolution_mm": "0.1", "u_mm": "0.03", "most_uses": "50", "uses": "50"},
        ),
        "scanner": ("Scanner in room 1", [], {"note": "Leaves the room on Fridays."}),
    }
    blank = dict.fromkeys(("resolution_mm", "u_mm", "most_uses", "note"), "")
    with acting(actor):
        for kind, (label, strips, more) in sheet.items():
            made = instruments.instrument_save(
                actor=actor,
                code=None,
                kind=kind,
                label=label,
                strips=strips,
                at=now,
                **{**blank, **more},
            )
            demo.instruments.setdefault(f"{who} {kind}", made.code)
        instruments.instrument_retire(
            actor=actor,
            code=demo.instruments[f"{who} scanner"],
            reason="Sent back to its maker.",
            at=now,
        )
        study = instruments_studies.study_record(
            actor=actor,
            method=method,
            instrument=demo.instruments[f"{who} caliper"],
            object_note="Gauge block 1.50",
            reference_mm="1.5",
            values=_VALUES.split(),
            at=now,
        )
    demo.studies[who] = study.code


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
            _equip(demo, "pim", "silicone_caliper")
            _equip(demo, "orrix", "cast_caliper")
            yield demo
        finally:
            truncate_as_owner()

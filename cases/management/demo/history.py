"""What lies behind the scenes: a year and more of ended cases, so that managers find an
audit with something in it.

Invented like everything here, by the generator of ``load_volume``: every case has been
fitted or not fitted, none stands on a list of open work. All of them were judged by the
shipped rule set. One clinic has more remakes than the others, and one material comes back
the more often the more room was missing; the audit is to find both.
"""

from datetime import datetime, timedelta

import psycopg
from django.db import connections, transaction

from cases.management.demo.cast import LABORATORY
from cases.management.demo.people import Player
from cases.management.volume.houses import Clinic, Laboratory, Person
from cases.management.volume.load import load_cases
from cases.management.volume.plan import Plan
from cases.models import Case, Organisation
from cases.tenancy import acting

__all__ = ["MONTHS", "REFERENCE", "load_history"]

MONTHS = 14
# Stands before the number of every patient of the history.
REFERENCE = "INVENTED"
_CASES = 560
_SEED = 20
# Clinic, its clinician and its assistant, and how much of the work it sends.
_CLINICS = (
    ("quill", "velka", "pim", 1.2),
    ("moss", "ildo", "wen", 1.0),
    ("tangle", "tarka", "ubbe", 0.8),
)
_TWICE = "moss"


def load_history(players: dict[str, Player], *, now: datetime) -> None:
    """Load the history once, in a transaction of the owner's own.

    The people must be stored already: another connection writes here.
    """
    with acting(players["orrix"].actor):
        if Case.objects.exists():
            return
    plan = Plan(
        cases=_CASES,
        seed=_SEED,
        months=MONTHS,
        until=(now - timedelta(days=1)).date(),
        effects=frozenset({"clinic_twice", "material_dose", "queries_help"}),
        remade=0.07,
        ended=True,
        reference=REFERENCE,
    )
    with transaction.atomic(using="owner"):
        connections["owner"].ensure_connection()
        connection: psycopg.Connection = connections["owner"].connection
        load_cases(connection, plan, [_laboratory(players)])


def _person(player: Player) -> Person:
    part, actor = player.part, player.actor
    return Person(
        actor.membership_id,
        actor.user_id,
        part.name,
        part.role.value,
        part.licence_number,
    )


def _organisation(player: Player) -> Organisation:
    with acting(player.actor):
        return Organisation.objects.get(pk=player.actor.organisation_id)


def _clinic(
    players: dict[str, Player], key: str, who: str, with_: str, share: float
) -> Clinic:
    row = _organisation(players[who])
    return Clinic(
        *(row.pk, row.code, row.name, row.address, row.time_zone, row.tooth_system),
        clinicians=(_person(players[who]),),
        assistant=_person(players[with_]),
        share=share,
        twice=key == _TWICE,
    )


def _laboratory(players: dict[str, Player]) -> Laboratory:
    row = _organisation(players["orrix"])
    technicians = [p for p in players.values() if p.company.key == LABORATORY]
    benches = tuple(_person(p) for p in technicians if p.part.role == "technician")
    return Laboratory(
        *(row.pk, row.code, row.name, row.address, row.time_zone),
        technicians=benches,
        responsible=_person(players["sedda"]),
        clinics=tuple(_clinic(players, *one) for one in _CLINICS),
    )

"""Invented facts and queries of two clinics at a laboratory, from a seed."""

import random
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from psycopg.rows import dict_row
from psycopg.types.json import Jsonb

from cases.audit.figures import CLASSES
from cases.enums import Role
from cases.tenancy import Actor
from tests.cases.services.remade import manager_of
from tests.database import superuser
from tests.play import Play, World, build_world, unit

__all__ = ["FIRST", "LAST", "Stage", "build_stage", "insert"]

FIRST, LAST = date(2025, 11, 1), date(2026, 4, 1)
BEGIN = datetime(2025, 11, 1, tzinfo=UTC)
DAYS = 181


@dataclass(frozen=True)
class Stage:
    """Who looks, and everything there is to count, as dicts."""

    play: Play
    lab_manager: Actor
    clinic_manager: Actor
    facts: list[dict[str, Any]]
    queries: list[dict[str, Any]]

    @property
    def world(self) -> World:
        """The people."""
        return self.play.world


def _fact(chance: random.Random, world: World, case_id: int, part: str) -> dict:
    ours = chance.random() < 0.7
    prescribers = (world.dentist, world.colleague) if ours else (world.outsider,)
    who = chance.choice(prescribers)
    at = BEGIN + timedelta(minutes=chance.randrange(DAYS * 24 * 60))
    reported = chance.random() < 0.8
    remade = reported and chance.random() < 0.3
    fitted = reported and chance.random() < 0.85
    opposing = fitted and chance.random() < 0.3
    adjusted = fitted and chance.random() < 0.3
    flagged = chance.random() < 0.4
    internal = chance.choice((0, 0, 0, 1, 2))
    technicians = (
        world.technician.membership_id,
        world.responsible.membership_id,
        None,
    )
    laboratory = world.technician if chance.random() < 0.85 else world.other_laboratory
    return {
        "case_id": case_id,
        "part": part,
        "laboratory_id": laboratory.organisation_id,
        "clinic_id": who.organisation_id,
        "prescriber_id": who.user_id,
        "technician_id": chance.choice(technicians),
        "teeth": Jsonb([part]),
        "tooth_class": chance.choice(("molar", "premolar", "canine")),
        "kind": chance.choice(("crown", "bridge", "onlay")),
        "material": chance.choice(("metal_ceramic", "zirconia_3y", "full_metal")),
        "method": chance.choice(("strip", "scan", "")),
        "submitted_at": at - timedelta(days=5),
        "dispatched_at": at,
        "dispatched_on": at.date(),
        "month": at.date().replace(day=1),
        "first_verdict": chance.choice(("insufficient", "undecided", "sufficient")),
        "first_class": chance.choice((*CLASSES, "unmeasured", "")),
        "first_shortage_mm": 0,
        "built_verdict": "sufficient",
        "built_class": chance.choice((*CLASSES, "")),
        "built_shortage_mm": 0,
        "accepted": chance.random() < 0.2,
        "flagged": flagged,
        "option": chance.choice(("re_preparation", "withdrawn")) if flagged else "",
        "reported": reported,
        "fitted": fitted,
        "as_delivered": fitted and not opposing and not adjusted,
        "restoration_adjusted": adjusted,
        "opposing_adjusted": opposing,
        "provisional": False,
        "internal_remakes": internal,
        "internal_cause": chance.choice(("shade", "fracture")) if internal else "",
        "remade": remade,
        "remade_at": at + timedelta(days=9) if remade else None,
        "remake_days": chance.randrange(60) if remade else None,
        "remake_cause": chance.choice(("fracture", "shade")) if remade else "",
        "remake_detected": chance.choice(("seating", "try_in")) if remade else "",
        "attribution": chance.choice(("clinic", "disputed")) if remade else "",
    }


def _query(chance: random.Random, world: World, case_id: int, flag_id: int) -> dict:
    who = chance.choice((world.dentist, world.colleague, world.outsider))
    at = BEGIN + timedelta(minutes=chance.randrange(DAYS * 24 * 60))
    closed = chance.choice(("answered", "answered", "withdrawn", ""))
    said = {"answered": "re_preparation", "withdrawn": "withdrawn", "": ""}
    return {
        "flag_id": flag_id,
        "case_id": case_id,
        "laboratory_id": world.technician.organisation_id,
        "clinic_id": who.organisation_id,
        "prescriber_id": who.user_id,
        "tooth_class": chance.choice(("molar", "premolar")),
        "kind": chance.choice(("crown", "bridge")),
        "material": chance.choice(("metal_ceramic", "zirconia_3y")),
        "method": chance.choice(("strip", "scan", "")),
        "raised_at": at,
        "month": at.date().replace(day=1),
        "asked_minutes": chance.choice((0, 15, 16, chance.randrange(5000))),
        "answered_minutes": chance.randrange(9000) if closed else None,
        "closed": closed,
        "option": said[closed],
    }


def insert(table: str, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Store rows past every policy, with the triggers; return them as stored."""
    names = list(rows[0])
    columns = ", ".join(f'"{name}"' for name in names)
    places = ", ".join(f"%({name})s" for name in names)
    statement = f"INSERT INTO {table} ({columns}) VALUES ({places}) RETURNING *"
    with superuser() as raw, raw.cursor(row_factory=dict_row) as cursor:
        cursor.execute("SET timezone TO 'UTC'")
        found = []
        for row in rows:
            cursor.execute(statement, row)
            found += cursor.fetchall()
        return found


_FLAGS = """
INSERT INTO cases_flag (code, case_id, status, origin, reasons, text, sites, options,
  revision, round, rule_set_digest, verified, raised_by_id, raised_by_name, raised_at,
  withdrawn_reason)
SELECT 'F' || lpad(n::text, 9, '0'), %(case)s, 'open', 'laboratory', '["shade"]', '',
  '[]', '[]', 1, 1, '', false, CASE WHEN n %% 2 = 0 THEN %(one)s ELSE %(two)s END, '',
  now(), ''
FROM generate_series(1, %(many)s) n RETURNING id, raised_by_id
"""


def _flags(world: World, case_id: int, many: int) -> dict[int, int]:
    """Return flags that stand behind the queries, and who raised each."""
    with superuser() as raw:
        raw.execute("SET LOCAL session_replication_role = replica")
        values = {
            "case": case_id,
            "many": many,
            "one": world.technician.membership_id,
            "two": world.responsible.membership_id,
        }
        return dict(raw.execute(_FLAGS, values).fetchall())


def build_stage(facts: int = 500, queries: int = 150, seed: int = 4) -> Stage:
    """Return a stage; needs a test whose rows are really committed."""
    chance = random.Random(seed)  # noqa: S311 -- invented facts, not secrets
    play = Play(build_world())
    world = play.world
    case = play.at_check(unit())
    raised_by = _flags(world, case.pk, queries)
    stored = insert(
        "cases_auditfact",
        [_fact(chance, world, case.pk, f"{n}") for n in range(facts)],
    )
    asked = insert(
        "cases_auditquery",
        [_query(chance, world, case.pk, flag) for flag in raised_by],
    )
    for one in asked:
        one["raised_by_id"] = raised_by[one["flag_id"]]
    return Stage(
        play=play,
        lab_manager=manager_of(world.technician, Role.LAB_MANAGER, "Lead"),
        clinic_manager=manager_of(world.dentist, Role.CLINIC_MANAGER, "Head"),
        facts=stored,
        queries=asked,
    )

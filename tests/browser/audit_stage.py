"""Two years of invented restorations, for the pages of the audit to be looked at.

Facts are put in beside the demo's few cases as the superuser, deterministically: one
clinic comes back twice as often, shortage does harm, queries help. The cases behind
them are the demo's, each named many times.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import count
from random import Random
from typing import Any

import psycopg
from psycopg import sql
from psycopg.types.json import Jsonb

from cases import clock
from cases.services import audit_set_up
from cases.tenancy import Actor, acting
from tests.database import superuser

__all__ = ["write_audit"]

_CLASSES = ("sufficient", "undecided", "up_to_025", "up_to_050", "over_050")
_HARM = (0.02, 0.04, 0.06, 0.1, 0.18)
_WAYS = ("re_preparation", "change_material", "reduction_coping", "accept_risk")
_CAUSES = ("occlusion_thin", "marginal_fit", "shade", "fracture", "proximal_contact")
_MATERIALS = ("metal_ceramic", "zirconia_3y", "lithium_disilicate", "full_metal")
_METHODS = ("strip", "silicone_caliper", "scan", "")
_TEETH = (("36", "molar"), ("15", "premolar"), ("23", "canine"), ("11", "incisor"))
_MONTHS, _A_MONTH = 24, 16
# Beyond every number a row of the demo can have.
_FLAGS = 10_000_000


def _insert(connection: psycopg.Connection, table: str, row: dict[str, Any]) -> None:
    connection.execute(
        sql.SQL("INSERT INTO {} ({}) VALUES ({})").format(
            sql.Identifier(table),
            sql.SQL(", ").join(map(sql.Identifier, row)),
            sql.SQL(", ").join(sql.Placeholder() * len(row)),
        ),
        list(row.values()),
    )


def _fact(dice: Random, at: datetime, *, harm: float) -> dict[str, Any]:
    """Return one restoration dispatched at a moment."""
    place = dice.choices(range(5), weights=(12, 3, 2, 2, 1))[0]
    short = place > 1
    flagged = short and dice.random() < 0.6
    hurt = dice.random() < _HARM[place] * harm * (0.5 if flagged else 1)
    ground = not flagged and dice.random() < 0.05 + 0.05 * place
    reported = hurt or dice.random() < 0.85
    tooth, tooth_class = dice.choice(_TEETH)
    verdict = ("sufficient", "undecided")[place] if place < 2 else "insufficient"
    internal = dice.random() < 0.04
    return {
        "teeth": Jsonb([tooth]),
        "tooth_class": tooth_class,
        "kind": dice.choice(("crown", "crown", "onlay", "bridge")),
        "material": dice.choice(_MATERIALS),
        "method": dice.choice(_METHODS),
        "submitted_at": at - timedelta(days=9),
        "dispatched_at": at,
        "dispatched_on": at.date(),
        "month": at.date().replace(day=1),
        "first_verdict": verdict,
        "first_class": _CLASSES[place],
        "first_shortage_mm": (0, 0, 0.2, 0.4, 0.7)[place],
        "built_verdict": "sufficient" if flagged else verdict,
        "built_class": "sufficient" if flagged else _CLASSES[place],
        "built_shortage_mm": 0,
        "accepted": short and not flagged,
        "flagged": flagged,
        "option": dice.choice(_WAYS) if flagged else "",
        "reported": reported,
        "fitted": reported and not hurt,
        "as_delivered": reported and not hurt and not ground,
        "restoration_adjusted": reported and not hurt and dice.random() < 0.1,
        "opposing_adjusted": reported and not hurt and ground,
        "provisional": False,
        "internal_remakes": int(internal),
        "internal_cause": "fracture" if internal else "",
        "remade": hurt,
        "remade_at": at + timedelta(days=21) if hurt else None,
        "remake_days": dice.randrange(5, 90) if hurt else None,
        "remake_cause": dice.choices(_CAUSES, weights=(6, 4, 2, 2, 1))[0]
        if hurt
        else "",
        "remake_detected": "final_check" if hurt else "",
        "attribution": dice.choice(("clinic", "laboratory", "disputed"))
        if hurt
        else "",
    }


def _moments(dice: Random, now: datetime) -> Iterator[datetime]:
    for back in range(_MONTHS):
        index = now.year * 12 + now.month - 1 - back
        first = date(index // 12, index % 12 + 1, 1)
        for _each in range(_A_MONTH):
            at = datetime(first.year, first.month, dice.randrange(1, 28), 9, tzinfo=UTC)
            if at < now - timedelta(days=1):
                yield at


def _cases(connection: psycopg.Connection, laboratory: int) -> Sequence[Sequence[int]]:
    """Return case, clinic and prescriber of one case of each clinic."""
    return connection.execute(
        "SELECT DISTINCT ON (c.clinic_id) c.id, c.clinic_id, m.user_id"
        " FROM cases_case c JOIN cases_membership m ON m.organisation_id = c.clinic_id"
        " AND m.role = 'clinician' WHERE c.laboratory_id = %s"
        " AND c.state = ANY (ARRAY['dispatched', 'fitted', 'not_fitted'])"
        " ORDER BY c.clinic_id, m.id",
        [laboratory],
    ).fetchall()


def _query(dice: Random, fact: dict[str, Any], flag: int) -> dict[str, Any]:
    """Return the query of a restoration; no row of the case stands behind it."""
    waits = dice.random() < 0.03
    return {
        "flag_id": flag,
        "tooth_class": fact["tooth_class"],
        "kind": fact["kind"],
        "material": fact["material"],
        "method": fact["method"],
        "raised_at": fact["submitted_at"],
        "month": fact["submitted_at"].date().replace(day=1),
        "asked_minutes": round(dice.expovariate(1 / 400) / 15 + 1) * 15,
        "answered_minutes": None if waits else round(dice.expovariate(1 / 2000)) + 15,
        "closed": "" if waits else "answered",
        "option": "" if waits else fact["option"],
    }


def _write_facts(laboratory: int, technician: int, now: datetime) -> None:
    dice = Random(4)  # noqa: S311 -- invented figures, not secrets
    months: set[tuple[int, date]] = set()
    flags = count(_FLAGS)
    with superuser() as connection:
        connection.execute("SET LOCAL session_replication_role = replica")
        for case, clinic, prescriber in _cases(connection, laboratory):
            harm = 2.0 if not months else 1.0
            for number, at in enumerate(_moments(dice, now)):
                fact = _fact(dice, at, harm=harm)
                owners = {"laboratory_id": laboratory, "clinic_id": clinic}
                people = {"prescriber_id": prescriber, "technician_id": technician}
                named = {"case_id": case, "part": f"invented {number}"}
                row = {**named, **owners, **people, **fact}
                _insert(connection, "cases_auditfact", row)
                months |= {(laboratory, fact["month"]), (clinic, fact["month"])}
                if not fact["flagged"]:
                    continue
                query = _query(dice, fact, next(flags))
                asked = {"case_id": case, "prescriber_id": prescriber, **owners}
                _insert(connection, "cases_auditquery", {**asked, **query})
                months |= {(laboratory, query["month"]), (clinic, query["month"])}
        for organisation, month in sorted(months):
            connection.execute(
                "INSERT INTO cases_auditmonth (organisation_id, month, version,"
                " changed_at) VALUES (%s, %s, 1, %s) ON CONFLICT (organisation_id,"
                " month) DO UPDATE SET version = cases_auditmonth.version + 1",
                [organisation, month, now],
            )


def write_audit(manager: Actor, clinician: Actor) -> dict[str, str]:
    """Write facts, a note, and a view of each; return their codes."""
    now = clock.now()
    _write_facts(manager.organisation_id, manager.membership_id, now)
    found = {}
    with acting(manager):
        noted = audit_set_up.note_add(
            actor=manager,
            on=now.date() - timedelta(days=200),
            text="Training in reading thickness strips",
            at=now,
        )
        found["note"] = noted.code
    for actor in (manager, clinician):
        with acting(actor):
            kept = audit_set_up.view_save(
                actor=actor,
                name="Zirconia, molars",
                page="rates",
                query="material=zirconia_3y&tooth_class=molar",
                at=now,
            )
        found[f"view {actor.role}"] = kept.code
    return found

"""Remakes and what is counted from them, against a program that writes past services.

Raw SQL as the application's login, in the tenant and membership of a real person.
"""

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from cases import timeline
from cases.enums import AuditEvent
from cases.models import AuditFact, Case, Remake
from cases.tenancy import Actor, acting
from tests.cases.services.remade import (
    built_at_risk,
    corrected_and_built,
    delivered,
    opened,
)
from tests.cases.test_rule_set_guards import rows
from tests.play import AT, Play, unit

POLICY = "42501"

REMAKE = """
INSERT INTO cases_remake (case_id, new_case_id, internal, cause, detected_at,
  attribution_clinic, attribution_laboratory, note, recorded_by_id, recorded_at)
VALUES (%(case)s, %(new)s, %(internal)s, 'fracture', 'seating', %(clinic)s,
  %(laboratory)s, '', %(who)s, now())
"""


@pytest.fixture
def remade(play: Play) -> Remake:
    """A case that could not be fitted is made again, as a linked draft."""
    case = delivered(play, built_at_risk(play))
    return opened(play, case, attribution="laboratory")


def run(who: Actor, statement: str, values: dict[str, Any]) -> None:
    with acting(who), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)


def sqlstate(who: Actor, statement: str, values: dict[str, Any] | None = None) -> str:
    """Return how the database refuses a statement; "" when it does it (undone again)."""
    try:
        with acting(who), transaction.atomic():
            run(who, statement, values or {})
            transaction.set_rollback(True)
    except DatabaseError as error:
        return str(getattr(error.__cause__, "sqlstate", ""))
    return ""


def recorded(
    case: Case, who: Actor, *, new: int | None, clinic: str = "", laboratory: str = ""
) -> dict[str, Any]:
    return {
        "case": case.pk,
        "new": new,
        "internal": new is None,
        "clinic": clinic,
        "laboratory": laboratory,
        "who": who.membership_id,
    }


def test_nobody_states_a_remake_for_the_other_side(play: Play, remade: Remake) -> None:
    """Not even for the own one: what a side states has a row that says who."""
    lab, chair, new = play.world.technician, play.world.dentist, remade.new_case_id
    for said in ({"clinic": "clinic"}, {"laboratory": "laboratory"}):
        inside = recorded(remade.case, lab, new=None, **said)
        assert sqlstate(lab, REMAKE, inside) == POLICY
        outside = recorded(remade.case, chair, new=new, **said)
        assert sqlstate(chair, REMAKE, outside) == POLICY


def test_each_side_records_its_own_kind_of_remake(play: Play, remade: Remake) -> None:
    lab, chair, new = play.world.technician, play.world.dentist, remade.new_case_id
    assert sqlstate(lab, REMAKE, recorded(remade.case, lab, new=new)) == POLICY
    assert sqlstate(chair, REMAKE, recorded(remade.case, chair, new=None)) == POLICY
    assert sqlstate(lab, REMAKE, recorded(remade.case, lab, new=None)) == ""
    assert sqlstate(chair, REMAKE, recorded(remade.case, chair, new=new)) == ""


def test_a_remake_leads_to_the_case_it_opened(play: Play, remade: Remake) -> None:
    chair, other = play.world.dentist, play.draft(unit())
    anothers = recorded(remade.case, chair, new=other.pk)
    assert sqlstate(chair, REMAKE, anothers) == POLICY


STATE = """
INSERT INTO cases_remakestatement (remake_id, side, attribution, note, made_by_id,
  made_by_name, made_at) VALUES (%(remake)s, %(side)s, 'clinic', '', %(who)s, '', now())
"""


def test_a_statement_is_of_the_side_that_makes_it(play: Play, remade: Remake) -> None:
    lab, chair = play.world.technician, play.world.dentist
    stated = {"remake": remade.pk, "side": "clinic", "who": lab.membership_id}
    assert sqlstate(lab, STATE, stated) == POLICY
    named = {**stated, "side": "laboratory", "who": chair.membership_id}
    assert sqlstate(lab, STATE, named) == POLICY
    assert sqlstate(lab, STATE, {**named, "who": lab.membership_id}) == ""


WITHDRAW = """
UPDATE cases_remaketrace SET withdrawn_at = now(), withdrawn_by_id = %(who)s,
  withdrawn_by_name = '', withdrawn_reason = 'x' WHERE remake_id = %(remake)s
"""


def test_no_line_is_taken_back_in_anothers_name(play: Play, remade: Remake) -> None:
    lab, chair = play.world.technician, play.world.dentist
    named = {"remake": remade.pk, "who": chair.membership_id}
    assert sqlstate(lab, WITHDRAW, named) == POLICY
    assert sqlstate(lab, WITHDRAW.replace("%(who)s", "NULL"), named) == POLICY
    assert sqlstate(lab, WITHDRAW, {**named, "who": lab.membership_id}) == ""


def test_a_line_leads_to_a_verdict_of_its_own_case(play: Play, remade: Remake) -> None:
    chair = play.world.dentist
    other = corrected_and_built(play)
    draw = """
INSERT INTO cases_remaketrace (remake_id, site_verdict_id, automatic, made_by_id,
  made_by_name, made_at, withdrawn_by_name, withdrawn_reason)
SELECT %(remake)s, min(v.id), true, %(who)s, '', now(), '', '' FROM cases_siteverdict v
WHERE v.case_id = %(case)s
"""
    values = {"remake": remade.pk, "who": chair.membership_id, "case": other.pk}
    assert sqlstate(chair, draw, values) == POLICY


def test_what_a_remake_costs_is_the_own_sides(play: Play, remade: Remake) -> None:
    lab, chair = play.world.technician, play.world.dentist
    lose = """
INSERT INTO cases_remakeloss (remake_id, organisation_id, currency, made_by_id, made_at)
VALUES (%(remake)s, %(organisation)s, '', %(who)s, now())
"""
    values = {
        "remake": remade.pk,
        "organisation": chair.organisation_id,
        "who": lab.membership_id,
    }
    assert sqlstate(lab, lose, values) == POLICY
    assert sqlstate(lab, lose, {**values, "organisation": lab.organisation_id}) == ""


MEMO = """
INSERT INTO cases_auditmemo (organisation_id, month, key, version, figures, made_at)
VALUES (%(organisation)s, '2026-01-01', 'x', 1, '{}', now())
"""


def test_no_figures_are_kept_for_another_organisation(play: Play) -> None:
    lab, chair = play.world.technician, play.world.dentist
    anothers = {"organisation": chair.organisation_id}
    assert sqlstate(lab, MEMO, anothers) == POLICY
    assert sqlstate(chair, MEMO, anothers) == ""


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE cases_auditfact SET remade = false",
        "DELETE FROM cases_auditfact",
        "UPDATE cases_auditquery SET asked_minutes = 0",
        "UPDATE cases_auditmonth SET version = version + 1",
        "INSERT INTO cases_auditmonth (organisation_id, month, version, changed_at)"
        " VALUES (1, '2026-01-01', 1, now())",
        "UPDATE cases_remake SET attribution_clinic = 'laboratory'",
        "DELETE FROM cases_remake",
        "UPDATE cases_remakestatement SET attribution = 'clinic'",
        "DELETE FROM cases_remaketrace",
        "SELECT audit_refresh(ARRAY[1]::bigint[])",
        "SELECT audit_refresh_queries(ARRAY[1]::bigint[])",
        "SELECT * FROM audit_fact_rows(ARRAY[1]::bigint[])",
        "SELECT * FROM audit_query_rows(ARRAY[1]::bigint[])",
        "SELECT * FROM audit_parts(1, 1)",
    ],
)
@pytest.mark.parametrize("who", ["technician", "dentist"])
def test_facts_are_written_by_the_database_alone(
    play: Play, who: str, statement: str
) -> None:
    assert sqlstate(getattr(play.world, who), statement) == POLICY


def test_a_stranger_reads_nothing_of_it(play: Play, remade: Remake) -> None:
    for table in (
        "auditfact",
        "auditquery",
        "auditmonth",
        "remake",
        "remakestatement",
        "remaketrace",
    ):
        query = f"SELECT 1 FROM cases_{table}"
        assert rows(play.world.dentist, query), table
        assert not rows(play.world.other_laboratory, query), table
        assert not rows(play.world.outsider, query), table


def test_a_clinic_does_not_send_work_out(play: Play) -> None:
    """Else it would thin the laboratory's remakes with work that never left."""
    chair = play.world.dentist
    case = play.at_check(unit())
    with acting(chair), transaction.atomic():
        timeline.record(
            case=case,
            event=AuditEvent.DISPATCHED,
            actor=chair,
            at=AT,
            before=case.state,
            content={},
        )
        assert not AuditFact.objects.filter(case=case).exists()

"""People's rows as the database shows them: raw SQL as the application."""

import pytest
from django.db import DatabaseError, connection, transaction

from cases.services import delegations, invitations, operators, tokens
from cases.tenancy import acting, operator, tenant
from tests.factories import AT
from tests.personas import Personas

# Tables of people with tenant data, and how many rows of clinic A there are.
TABLES = (
    "cases_membership",
    "cases_invitation",
    "cases_apitoken",
    "cases_delegation",
    "cases_partnership",
    "cases_outboxrow",
)


@pytest.fixture
def filled(personas: Personas) -> Personas:
    """Clinic A has something in every table."""
    actor = personas.clinician.actor
    with acting(actor):
        tokens.api_token_create(actor=actor, name="x", days=3, at=AT)
        delegations.delegation_create(
            actor=actor,
            delegate_membership_id=personas.colleague.membership.pk,
            starts_on=AT.date(),
            ends_on=AT.date(),
            note="On leave.",
            at=AT,
        )
    manager = personas.clinic_manager.actor
    with acting(manager):
        invitations.invitation_create(
            actor=manager, email="new@example.org", role="assistant", at=AT
        )
    return personas


def owners(table: str) -> set[tuple[int, ...]]:
    """Return whose rows the current tenant sees, without any WHERE."""
    sides = "clinic_id, laboratory_id" if "partnership" in table else "organisation_id"
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT DISTINCT {sides} FROM {table}")
        return set(cursor.fetchall())


@pytest.mark.parametrize("table", TABLES)
def test_clinic_a_sees_its_rows_and_no_others(filled: Personas, table: str):
    mine = filled.clinic_a.pk
    with tenant(mine):
        seen = owners(table)

    assert seen
    assert all(mine in row for row in seen)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("name", ["clinic_b", "laboratory_m"])
def test_a_stranger_sees_nothing_of_clinic_a(filled: Personas, table: str, name: str):
    with tenant(getattr(filled, name).pk):
        seen = owners(table)

    assert not any(filled.clinic_a.pk in row for row in seen)


@pytest.mark.parametrize("table", TABLES)
def test_a_partner_sees_the_partnership_alone(filled: Personas, table: str):
    with tenant(filled.laboratory.pk):
        seen = owners(table)

    ours = any(filled.clinic_a.pk in row for row in seen)
    assert ours is (table == "cases_partnership")


@pytest.mark.parametrize("table", TABLES)
def test_without_a_tenant_there_are_no_rows(filled: Personas, table: str):
    assert owners(table) == set()


def test_the_operator_sees_organisations_and_invitations_alone(filled: Personas):
    with operator():
        seen = {table: owners(table) for table in TABLES}

    assert seen.pop("cases_invitation") == {(filled.clinic_a.pk,)}
    assert set(map(frozenset, seen.values())) == {frozenset()}


def refused(sql: str, values: list[int]) -> bool:
    """Return whether the database refused, or changed no row."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql, values)
            return cursor.rowcount == 0
    except DatabaseError:
        return True


def test_nobody_writes_into_another_organisation(filled: Personas):
    a, b = filled.clinic_a.pk, filled.clinic_b.pk
    user = filled.clinician_b.user.pk
    with tenant(b):
        assert refused(
            "INSERT INTO cases_membership (organisation_id, user_id, role,"
            " responsible_technician, created_at) VALUES (%s, %s, 'clinician', false,"
            " now())",
            [a, user],
        )
        assert refused(
            "UPDATE cases_membership SET organisation_id = %s WHERE user_id = %s",
            [a, user],
        )
        assert refused("UPDATE cases_apitoken SET revoked_at = now()", [])
        assert refused("UPDATE cases_invitation SET revoked_at = now()", [])


def test_a_partner_cannot_rename_an_organisation(filled: Personas):
    with tenant(filled.laboratory.pk):
        assert refused(
            "UPDATE cases_organisation SET name = 'x' WHERE id = %s",
            [filled.clinic_a.pk],
        )
        assert not refused(
            "UPDATE cases_organisation SET name = name WHERE id = %s",
            [filled.laboratory.pk],
        )


def test_the_operators_functions_give_no_case_or_member(filled: Personas):
    made, _invitation = operators.organisation_create(
        operator_id=filled.operator.pk,
        kind="clinic",
        name="C",
        manager_email="c@example.org",
        at=AT,
    )
    with operator():
        assert refused(
            "INSERT INTO cases_membership (organisation_id, user_id, role,"
            " responsible_technician, created_at) VALUES (%s, %s, 'clinician', false,"
            " now())",
            [made.pk, filled.operator.pk],
        )

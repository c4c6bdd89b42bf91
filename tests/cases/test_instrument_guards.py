"""Instruments and studies as the database guards them: raw SQL as the application."""

from collections.abc import Sequence

import pytest
from django.db import DatabaseError, connection, transaction

from cases.tenancy import tenant
from tests.cases.services.test_instruments import save
from tests.cases.services.test_instruments_studies import record
from tests.permissions.shape import play_of
from tests.personas import Personas
from tests.play import unit

TABLES = {
    "cases_instrument": "organisation_id",
    "cases_repeatabilitystudy": "organisation_id",
    "cases_instrumentstrip": "instrument_id",
}


@pytest.fixture
def filled(personas: Personas) -> Personas:
    """Clinic A has a strip set and a study."""
    save(personas.assistant.actor)
    record(personas.assistant.actor)
    return personas


def count(table: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        return int(cursor.fetchone()[0])


def refused(sql: str, values: Sequence[int | str] = ()) -> bool:
    """Return whether the database refused, or changed no row."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql, values)
            return cursor.rowcount == 0
    except DatabaseError:
        return True


@pytest.mark.parametrize("table", TABLES)
def test_only_their_organisation_sees_them(filled: Personas, table: str):
    with tenant(filled.clinic_a.pk):
        assert count(table) > 0
    for stranger in (filled.clinic_b, filled.laboratory, filled.laboratory_m):
        with tenant(stranger.pk):
            assert count(table) == 0
    assert count(table) == 0


def test_nobody_writes_into_another_organisation(filled: Personas):
    a = filled.clinic_a.pk
    with tenant(filled.clinic_b.pk):
        for table in TABLES:
            assert refused(f"DELETE FROM {table}")
        assert refused("UPDATE cases_instrument SET label = 'x'")
        assert refused("UPDATE cases_instrumentstrip SET measured_mm = 1")
        assert refused("UPDATE cases_repeatabilitystudy SET withdrawn_at = now()")
        assert refused(
            "INSERT INTO cases_instrument (code, organisation_id, kind, label, uses,"
            " note, created_by_name, created_at, retired_reason)"
            " VALUES ('X', %s, 'caliper', 'x', 0, '', '', now(), '')",
            [a],
        )


def test_an_instrument_is_never_deleted_and_a_study_never_edited(filled: Personas):
    with tenant(filled.clinic_a.pk, filled.assistant.membership.pk):
        assert refused("DELETE FROM cases_instrument")
        assert refused("DELETE FROM cases_repeatabilitystudy")
        assert refused("UPDATE cases_repeatabilitystudy SET u_mm = 0.001")
        assert not refused("UPDATE cases_repeatabilitystudy SET withdrawn_at = now()")
        assert refused("UPDATE cases_repeatabilitystudy SET withdrawn_at = NULL")


def test_a_reading_names_an_instrument_of_its_own_side(filled: Personas):
    foreign = save(filled.technician.actor, label="Of the laboratory").code
    own = save(filled.assistant.actor, label="Of the clinic").code
    case = play_of(filled).draft(unit())
    copied = (
        "INSERT INTO cases_reading (case_id, round, tooth, site, position, method,"
        " passes_mm, basis, side, taken_by_id, taken_by_name, taken_at, note,"
        " instrument_id, instrument_label, u_origin)"
        " SELECT case_id, round, tooth, site, position, method, passes_mm, basis, side,"
        " taken_by_id, taken_by_name, taken_at, note, %s, '', ''"
        " FROM cases_reading WHERE case_id = %s LIMIT 1"
    )
    clinician = filled.clinician.membership.pk
    with tenant(filled.clinic_a.pk, clinician):
        assert refused(copied, [foreign, case.pk])
        assert not refused(copied, [own, case.pk])

"""What the database alone shows and refuses, asked by raw SQL as the application."""

import psycopg
import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction

from cases.models import Case, Message, Reading, Signature, TimelineEntry
from cases.services import thread
from cases.tenancy import NoTenant, acting, tenant
from cases.timeline import chain_faults
from tests.database import superuser
from tests.play import (
    AT,
    Play,
    build_world,
    sufficient_unit,
    unit,
)

# Tables without tenant data: name, and why no policy guards them.
OPEN_TABLES = {
    "cases_user": "read at sign-in, before a tenant exists; a name and a hash",
    "rules_rulesetversion": "published rule sets are the same for everybody",
    "django_session": "read before a tenant exists",
    "django_content_type": "schema, not content",
    "django_migrations": "schema, not content",
    "auth_permission": "Django's own, unused",
    "auth_group": "Django's own, unused and not granted",
    "auth_group_permissions": "Django's own, unused and not granted",
    "account_emailaddress": "read at sign-in, before a tenant exists",
    "account_emailconfirmation": "read at sign-in, before a tenant exists",
    "mfa_authenticator": "read at sign-in, before a tenant exists",
}


def rows(query: str, values: list[int] | None = None) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(query, values or [])
        return cursor.fetchall()


def test_every_table_has_a_policy_or_a_reason(db):
    tables = dict(
        rows(
            "SELECT relname, relrowsecurity AND relforcerowsecurity FROM pg_class c"
            " JOIN pg_namespace n ON n.oid = c.relnamespace"
            " WHERE n.nspname = 'public' AND relkind = 'r'"
        )
    )
    assert {name for name, forced in tables.items() if not forced} == set(OPEN_TABLES)


def test_every_tenant_model_refuses_to_be_read_without_a_tenant(db):
    tenant_models = [
        model
        for model in apps.get_app_config("cases").get_models()
        if model._meta.db_table not in OPEN_TABLES
    ]
    assert len(tenant_models) > 25
    for model in tenant_models:
        with pytest.raises(NoTenant):
            model._default_manager.count()


def test_the_application_is_neither_owner_nor_superuser(db):
    assert rows(
        "SELECT current_user::text, rolsuper OR rolbypassrls FROM pg_roles"
        " WHERE rolname = current_user"
    ) == [("chairbench_app", False)]
    assert rows("SELECT count(*) FROM pg_tables WHERE tableowner = current_user") == [
        (0,)
    ]


def test_without_tenant_there_are_no_rows(play: Play):
    play.at_check(unit())
    assert rows("SELECT count(*) FROM cases_case") == [(0,)]
    assert rows("SELECT count(*) FROM cases_reading") == [(0,)]


@pytest.mark.parametrize("who", ["outsider", "other_laboratory"])
def test_another_organisation_sees_no_row_of_the_case(play: Play, who):
    case = play.at_check(unit())
    play.flag(case)
    with superuser() as raw:
        tables = [
            name
            for (name,) in raw.execute(
                "SELECT table_name FROM information_schema.columns"
                " WHERE column_name = 'case_id' AND table_schema = 'public'"
            )
        ]
    assert len(tables) > 15
    with acting(getattr(play.world, who)):
        for table in tables:
            assert rows(f"SELECT count(*) FROM {table}") == [(0,)], table
        assert rows("SELECT count(*) FROM cases_case") == [(0,)]


def test_a_laboratory_sees_no_draft(play: Play):
    case = play.draft(unit())
    with acting(play.world.technician):
        for table in ("case", "prescription", "unit", "reading", "patientidentity"):
            assert rows(f"SELECT count(*) FROM cases_{table}") == [(0,)], table
    play.submit(case)
    with acting(play.world.technician):
        assert rows("SELECT count(*) FROM cases_reading") == [(3,)]


def test_internal_notes_do_not_exist_for_the_clinic(play: Play):
    case = play.at_check(unit())
    who = play.world.technician
    with acting(who):
        thread.message_post(
            actor=who,
            code=case.code,
            body="Second thin one this month.",
            internal=True,
            client_id="1",
            attachments=[],
            at=AT,
        )
        assert Message.objects.count() == 1
    with acting(play.world.dentist):
        assert rows("SELECT count(*) FROM cases_message") == [(0,)]
        assert rows("SELECT count(*) FROM cases_timelineentry WHERE internal") == [(0,)]


def test_a_clinic_cannot_write_into_anothers_case(play: Play):
    case = play.at_check(unit())
    with acting(play.world.outsider):
        for statement in (
            "UPDATE cases_case SET state = 'cancelled' WHERE id = %s RETURNING 1",
            "UPDATE cases_flag SET status = 'settled' WHERE case_id = %s RETURNING 1",
        ):
            assert rows(statement, [case.pk]) == []
    with (
        acting(play.world.outsider),
        pytest.raises(DatabaseError, match="row-level security"),
        transaction.atomic(),
    ):
        Message.objects.create(
            case_id=case.pk,
            author_id=play.world.outsider.membership_id,
            author_name="x",
            side="clinic",
            body="x",
            client_id="x",
            written_at=AT,
        )


def test_a_case_needs_an_accepted_partnership(play: Play):
    case = play.draft(sufficient_unit())
    elsewhere = play.world.other_laboratory.organisation_id
    with (
        acting(play.world.dentist),
        pytest.raises(DatabaseError, match="row-level security"),
        transaction.atomic(),
    ):
        Case.objects.create(
            clinic_id=case.clinic_id,
            laboratory_id=elsewhere,
            prescriber_id=case.prescriber_id,
            created_by_id=case.created_by_id,
            created_at=AT,
            moved_at=AT,
        )


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE cases_timelineentry SET event = 'x'",
        "DELETE FROM cases_timelineentry",
        "TRUNCATE cases_timelineentry CASCADE",
        "UPDATE cases_signature SET printed_name = 'x'",
        "DELETE FROM cases_message",
        "UPDATE cases_coverage SET kind = 'answer'",
        "UPDATE cases_timelinehead SET position = 0",
        "INSERT INTO cases_caseparty (case_id, organisation_id, scope) VALUES (1, 1, 'x')",
    ],
)
def test_the_application_may_not_touch_what_is_append_only(play: Play, statement):
    play.at_check(unit())
    with (
        acting(play.world.dentist),
        pytest.raises(DatabaseError),
        transaction.atomic(),
    ):
        rows(statement)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE cases_timelineentry SET event = 'x'",
        "DELETE FROM cases_timelineentry",
        "UPDATE cases_signature SET printed_name = 'x'",
        "UPDATE cases_prescription SET notes = 'x'",
        "UPDATE cases_unit SET material = 'x'",
        "UPDATE cases_reading SET value_mm = 9",
    ],
)
def test_not_even_the_owner_edits_what_was_signed(transactional_db, statement):
    Play(build_world()).at_check(unit())
    with superuser() as raw:
        raw.execute("SET ROLE chairbench_owner")
        with pytest.raises(psycopg.Error) as refused:
            raw.execute(statement)
        raw.rollback()
    assert refused.value.sqlstate == "CB003"


def test_tenant_puts_back_what_was_there(play: Play):
    one, two = play.world.dentist, play.world.technician
    with acting(one):
        with tenant(two.organisation_id):
            assert rows("SELECT app_org()") == [(two.organisation_id,)]
        assert rows("SELECT app_org()") == [(one.organisation_id,)]
        with pytest.raises(DatabaseError), tenant(two.organisation_id):
            rows("SELECT no_such_thing")
        assert rows("SELECT app_org()") == [(one.organisation_id,)]
    assert rows("SELECT app_org()") == [(None,)]


def test_timeline_finds_what_a_superuser_changed(transactional_db):
    play = Play(build_world())
    case = play.at_check(unit())
    play.flag(case)
    with superuser() as raw:
        raw.execute("SET session_replication_role = replica")
        raw.execute(
            "UPDATE cases_timelineentry SET state_after = 'cleared' WHERE position = 2"
        )
        raw.execute("DELETE FROM cases_timelinecontent")
        raw.execute("DELETE FROM cases_timelineentry WHERE position = 1")
    with acting(play.world.dentist):
        faults = chain_faults(
            TimelineEntry.objects.filter(case=case).order_by("position")
        )
    assert faults == [
        "position 1 is missing",
        "entry 2 does not follow its predecessor",
        "columns of entry 2 were changed",
    ]


def test_reading_and_signature_keep_their_side(play: Play):
    case = play.at_check(unit())
    with acting(play.world.technician):
        assert {r.side for r in Reading.objects.filter(case=case)} == {"clinic"}
        signed = Signature.objects.get(case=case)
        assert signed.printed_name == "Dentist"
        assert "P-100" not in str(signed.content)

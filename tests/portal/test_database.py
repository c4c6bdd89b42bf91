"""The test database itself: who we are there, and that nothing stays behind."""

from datetime import UTC, datetime

import pytest
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db import ProgrammingError, connection
from psycopg import sql

from tests.database import superuser, truncate_as_owner


def count(table):
    with superuser() as past_the_policies:
        query = sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier(table))
        found = past_the_policies.execute(query).fetchone()
    return found[0] if found else None


def leave_something():
    expires = datetime(2026, 1, 5, 9, tzinfo=UTC)
    Session.objects.create(session_key="k", session_data="", expire_date=expires)


@pytest.mark.django_db
def test_the_default_connection_is_the_applications_login():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT session_user, current_user, rolsuper OR rolbypassrls"
            " FROM pg_roles WHERE rolname = current_user"
        )
        assert cursor.fetchone() == ("chairbench_app", "chairbench_app", False)


@pytest.mark.django_db
def test_the_application_can_make_nothing():
    with connection.cursor() as cursor, pytest.raises(ProgrammingError):
        cursor.execute("CREATE TABLE public.mine (id int)")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", ["first", "second"])
def test_what_a_transactional_test_commits_is_gone_in_the_next(turn):
    assert count("django_session") == 0, turn
    leave_something()
    assert count("django_session") == 1


@pytest.mark.django_db(transaction=True)
def test_what_the_migrations_put_in_comes_back():
    before = list(ContentType.objects.order_by("pk").values_list("pk", "model"))
    assert before
    leave_something()
    with superuser() as past_the_policies:
        past_the_policies.execute("TRUNCATE django_content_type CASCADE")

    truncate_as_owner()

    assert count("django_session") == 0
    assert before == list(ContentType.objects.order_by("pk").values_list("pk", "model"))

"""The test database itself: who we are there, and that nothing stays behind."""

import pytest
from django.db import ProgrammingError, connection


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

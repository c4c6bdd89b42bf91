"""The database of a test process: made, migrated as owner, used as application.

Tests log in as ``chairbench_app``: a superuser or an owner would pass every
policy and hide every tenancy fault.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass

import psycopg
import pytest
from django.core.management import call_command
from django.db import connections
from django.test import TransactionTestCase
from psycopg import sql
from pytest_django.plugin import DjangoDbBlocker

from portal.embedded.provision import provision
from tests.plugin_postgres import DSN, database_name, role_passwords

__all__ = ["Seed", "django_db_setup", "superuser", "truncate_as_owner"]

# Migration records say what the schema is, not what is in it.
_KEPT = "django_migrations"
_TABLES = """
    SELECT c.relname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
    WHERE n.nspname = 'public' AND c.relkind = 'r' AND c.relname <> %s
    ORDER BY c.relname
"""
_COLUMNS = """
    SELECT attname FROM pg_attribute
    WHERE attrelid = %s::regclass AND attnum > 0
      AND NOT attisdropped AND attgenerated = ''
    ORDER BY attnum
"""


@dataclass(frozen=True, slots=True)
class Seed:
    """The rows a migration put into one table, as COPY text."""

    table: str
    columns: tuple[str, ...]
    rows: bytes


_seeds: tuple[Seed, ...] = ()


def superuser() -> psycopg.Connection:
    """Connect to this process's database past every policy and trigger guard.

    For preparing and inspecting only; code under test never gets it.
    """
    return psycopg.connect(os.environ[DSN], dbname=database_name())


def _tables(connection: psycopg.Connection) -> list[str]:
    return [name for (name,) in connection.execute(_TABLES, [_KEPT])]


def _non_empty(connection: psycopg.Connection, tables: list[str]) -> list[str]:
    probes = sql.SQL(" UNION ALL ").join(
        sql.SQL("SELECT {} WHERE EXISTS (SELECT FROM {})").format(
            sql.Literal(table), sql.Identifier(table)
        )
        for table in tables
    )
    return [name for (name,) in connection.execute(probes)] if tables else []


def _copy(seed_table: str, columns: tuple[str, ...], direction: str) -> sql.Composed:
    return sql.SQL("COPY {} ({}) {}").format(
        sql.Identifier(seed_table),
        sql.SQL(", ").join(map(sql.Identifier, columns)),
        sql.SQL(direction),
    )


def _read_seeds(connection: psycopg.Connection) -> tuple[Seed, ...]:
    seeds = []
    for table in _non_empty(connection, _tables(connection)):
        quoted = sql.Identifier(table).as_string(connection)
        columns = tuple(
            name for (name,) in connection.execute(_COLUMNS, [quoted]).fetchall()
        )
        command = _copy(table, columns, "TO STDOUT")
        with connection.cursor() as cursor, cursor.copy(command) as copy:
            rows = b"".join(map(bytes, copy))
        seeds.append(Seed(table, columns, rows))
    return tuple(seeds)


def truncate_as_owner() -> None:
    """Empty every table and put the migrations' own rows back.

    Replaces the flush of TransactionTestCase, which runs as the application and
    may not do this. Append-only tables refuse even their owner by trigger, so it
    runs with triggers off, which takes a superuser. A connection left inside a
    transaction fails the test after ten seconds instead of hanging it.
    """
    with superuser() as connection:
        connection.execute("SET LOCAL lock_timeout = '10s'")
        connection.execute("SET LOCAL session_replication_role = replica")
        filled = _non_empty(connection, _tables(connection))
        if not filled:
            return
        connection.execute(
            sql.SQL("TRUNCATE {} CASCADE").format(
                sql.SQL(", ").join(map(sql.Identifier, filled))
            )
        )
        for seed in _seeds:
            command = _copy(seed.table, seed.columns, "FROM STDIN")
            with connection.cursor() as cursor, cursor.copy(command) as copy:
                copy.write(seed.rows)


def _teardown(self: TransactionTestCase) -> None:
    truncate_as_owner()


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Make this process's database; pytest-django's own would need a superuser."""
    global _seeds
    dsn, name = os.environ[DSN], database_name()
    _drop(dsn, name)
    with django_db_blocker.unblock():
        provision(dsn, name, passwords=role_passwords())
        call_command("migrate", database="owner", interactive=False, verbosity=0)
        connections["owner"].close()
        with superuser() as connection:
            _seeds = _read_seeds(connection)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", _teardown)
        yield
    with django_db_blocker.unblock():
        connections.close_all()
    _drop(dsn, name)


def _drop(dsn: str, name: str) -> None:
    with psycopg.connect(dsn, autocommit=True) as connection:
        connection.execute(
            sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(
                sql.Identifier(name)
            )
        )

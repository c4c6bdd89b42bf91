"""Tables without their guards, for one transaction and for nobody else.

COPY passes no policy of row-level security and would run every trigger of every row,
so the owner takes both off. Foreign keys are dropped and made again at the end, which
looks at all rows at once instead of at each. The ways that were not taken:
``session_replication_role`` needs a superuser, or a grant to a login that would outlive
this, and looks at no reference ever; switching triggers off in a transaction of its own
would leave the tables without guards after a crash, and for everybody meanwhile. Within
one transaction the statements hold exclusive locks until it ends, so nobody sees the
tables unguarded, and a crash brings everything back. Unique and check constraints stay.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import psycopg
from psycopg import sql

__all__ = ["unguarded"]

# In a database that is in use the locks cannot be had; say so instead of waiting.
_PATIENCE = "10s"


@dataclass(frozen=True, slots=True)
class _Key:
    """A foreign key as the catalogue writes it."""

    table: str
    name: str
    meaning: str

    @property
    def dropped(self) -> sql.Composed:
        """Return the statement that takes it off its table."""
        return sql.SQL("ALTER TABLE {} DROP CONSTRAINT {}").format(
            sql.Identifier(self.table), sql.Identifier(self.name)
        )

    @property
    def added(self) -> sql.Composed:
        """Return the statement that puts it back, which looks at every row."""
        return sql.SQL("ALTER TABLE {} ADD CONSTRAINT {} {}").format(
            sql.Identifier(self.table),
            sql.Identifier(self.name),
            sql.SQL(self.meaning),
        )


def _forced(connection: psycopg.Connection, tables: Sequence[str]) -> list[str]:
    rows = connection.execute(
        "SELECT relname FROM pg_class WHERE relforcerowsecurity"
        " AND relnamespace = 'public'::regnamespace AND relname = ANY (%s)"
        " ORDER BY relname",
        [list(tables)],
    )
    return [name for (name,) in rows]


def _alter(connection: psycopg.Connection, tables: Sequence[str], change: str) -> None:
    for table in tables:
        connection.execute(
            sql.SQL("ALTER TABLE {} {}").format(sql.Identifier(table), sql.SQL(change))
        )


def _references(connection: psycopg.Connection, tables: Sequence[str]) -> list[_Key]:
    rows = connection.execute(
        "SELECT c.relname, k.conname, pg_get_constraintdef(k.oid) FROM pg_constraint k"
        " JOIN pg_class c ON c.oid = k.conrelid WHERE k.contype = 'f'"
        " AND c.relnamespace = 'public'::regnamespace AND c.relname = ANY (%s)"
        " ORDER BY c.relname, k.conname",
        [list(tables)],
    )
    return [_Key(*row) for row in rows]


@contextmanager
def unguarded(connection: psycopg.Connection, tables: Sequence[str]) -> Iterator[None]:
    """Take triggers, forced policies and references off these tables for the block.

    Has to run inside a transaction of the owner. After an error nothing is put back:
    the transaction is to be rolled back, which does it.

    Raises:
        psycopg.errors.LockNotAvailable: somebody works with the tables.
        psycopg.errors.ForeignKeyViolation: a row names one that is not there.
    """
    connection.execute(sql.SQL("SET LOCAL lock_timeout = {}").format(_PATIENCE))
    # What the transaction has written so far is looked at now: tables with checks still
    # due cannot be altered.
    connection.execute("SET CONSTRAINTS ALL IMMEDIATE")
    forced = _forced(connection, tables)
    _alter(connection, forced, "NO FORCE ROW LEVEL SECURITY")
    _alter(connection, tables, "DISABLE TRIGGER USER")
    keys = _references(connection, tables)
    for key in keys:
        connection.execute(key.dropped)
    yield
    connection.execute("SET LOCAL maintenance_work_mem = '256MB'")
    for key in keys:
        connection.execute(key.added)
    _alter(connection, tables, "ENABLE TRIGGER USER")
    _alter(connection, forced, "FORCE ROW LEVEL SECURITY")

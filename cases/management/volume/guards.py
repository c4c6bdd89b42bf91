"""Tables without their guards, for one transaction and for nobody else.

COPY passes no policy of row-level security and would run every trigger of every row,
so the owner takes both off. The ways that were not taken: ``session_replication_role``
needs a superuser, or a grant to a login that would outlive this; switching triggers off
in a transaction of its own would leave the tables without guards after a crash, and for
everybody meanwhile. Within one transaction the statements hold exclusive locks until it
ends, so nobody sees the tables unguarded, and a crash brings everything back. Foreign
keys, unique and check constraints stay in force.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import psycopg
from psycopg import sql

__all__ = ["unguarded"]

# In a database that is in use the locks cannot be had; say so instead of waiting.
_PATIENCE = "10s"


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


@contextmanager
def unguarded(connection: psycopg.Connection, tables: Sequence[str]) -> Iterator[None]:
    """Take triggers and forced policies off these tables until the block ends.

    Has to run inside a transaction of the owner. After an error nothing is put back:
    the transaction is to be rolled back, which does it.

    Raises:
        psycopg.errors.LockNotAvailable: somebody works with the tables.
    """
    connection.execute(sql.SQL("SET LOCAL lock_timeout = {}").format(_PATIENCE))
    forced = _forced(connection, tables)
    _alter(connection, forced, "NO FORCE ROW LEVEL SECURITY")
    _alter(connection, tables, "DISABLE TRIGGER USER")
    yield
    connection.execute("SET CONSTRAINTS ALL IMMEDIATE")
    _alter(connection, tables, "ENABLE TRIGGER USER")
    _alter(connection, forced, "FORCE ROW LEVEL SECURITY")

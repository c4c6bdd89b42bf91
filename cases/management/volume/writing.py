"""Chunks of lines go into the tables while the next chunk is being written."""

from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import psycopg
from psycopg import sql

from cases.management.volume.sheets import COLUMNS, NUMBERED

__all__ = ["copy_chunks", "last_numbers", "set_numbers"]


def last_numbers(connection: psycopg.Connection) -> dict[str, int]:
    """Return the highest number in use of every table numbered here."""
    found = {}
    for table in NUMBERED:
        row = connection.execute(
            sql.SQL("SELECT coalesce(max(id), 0) FROM {}").format(sql.Identifier(table))
        ).fetchone()
        found[table] = int(row[0]) if row else 0
    return found


def set_numbers(connection: psycopg.Connection, last: dict[str, int]) -> None:
    """Let the sequences go on after the numbers given out here."""
    for table, number in last.items():
        if number:
            connection.execute(
                "SELECT setval(pg_get_serial_sequence(%s, 'id'), %s)", [table, number]
            )


def _copy(connection: psycopg.Connection, chunk: dict[str, bytes]) -> None:
    """Store one chunk."""
    with connection.cursor() as cursor:
        for table, lines in chunk.items():
            command = sql.SQL("COPY {} ({}) FROM STDIN").format(
                sql.Identifier(table),
                sql.SQL(", ").join(map(sql.Identifier, COLUMNS[table].split())),
            )
            with cursor.copy(command) as copy:
                copy.write(lines)


def copy_chunks(
    connection: psycopg.Connection, chunks: Iterable[dict[str, bytes]]
) -> Iterator[int]:
    """Store the chunks in order; yield how many are stored. Two are in memory at most."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        under_way: Future[None] | None = None
        for count, chunk in enumerate(chunks):
            if under_way is not None:
                under_way.result()
                yield count
            under_way = pool.submit(_copy, connection, chunk)
        if under_way is not None:
            under_way.result()

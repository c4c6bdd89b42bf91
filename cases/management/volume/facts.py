"""Facts, queries and months of the audit for loaded cases, by the database's own rules.

The functions are those the triggers call (migration 0004), here for a thousand cases at
a time, so that nothing is counted by a second definition.
"""

from collections.abc import Iterable, Iterator

import psycopg
from psycopg import sql

from cases.management.volume.sheets import COLUMNS

__all__ = ["FACT_TABLES", "make_facts"]

FACT_TABLES = ("cases_auditfact", "cases_auditquery")
_BATCH = 2_000
_SOURCES = {
    "cases_auditfact": "audit_fact_rows",
    "cases_auditquery": "audit_query_rows",
}
_MONTHS = """
INSERT INTO cases_auditmonth AS m (organisation_id, month, version, changed_at)
SELECT DISTINCT side.organisation, x.month, 1, now() FROM (
    SELECT clinic_id, laboratory_id, month FROM cases_auditfact
      WHERE case_id BETWEEN %(first)s AND %(last)s
    UNION SELECT clinic_id, laboratory_id, month FROM cases_auditquery
      WHERE case_id BETWEEN %(first)s AND %(last)s) x
  CROSS JOIN LATERAL (VALUES (x.clinic_id), (x.laboratory_id)) side (organisation)
ON CONFLICT (organisation_id, month) DO UPDATE
  SET version = m.version + 1, changed_at = excluded.changed_at
"""


def _batches(numbers: list[int]) -> Iterator[list[int]]:
    for begin in range(0, len(numbers), _BATCH):
        yield numbers[begin : begin + _BATCH]


def _columns(connection: psycopg.Connection, function: str) -> sql.Composable:
    """Return the columns a function answers with, in its order."""
    row = connection.execute(
        "SELECT array_agg(name ORDER BY place) FROM pg_proc,"
        " unnest(proargnames, proargmodes) WITH ORDINALITY a (name, mode, place)"
        " WHERE proname = %s AND mode = 't'",
        [function],
    ).fetchone()
    assert row is not None  # noqa: S101 -- an aggregate answers always
    return sql.SQL(", ").join(map(sql.Identifier, row[0]))


def _fill(connection: psycopg.Connection, table: str, numbers: list[int]) -> None:
    function = _SOURCES[table]
    names = _columns(connection, function)
    command = sql.SQL("INSERT INTO {} ({}) SELECT {} FROM {}(%s)").format(
        sql.Identifier(table), names, names, sql.Identifier(function)
    )
    for batch in _batches(numbers):
        connection.execute(command, [batch])


def make_facts(connection: psycopg.Connection, cases: range) -> None:
    """Work out what the audit counts of these cases, and mark their months.

    Triggers of the two tables must be off: they would count every batch as a change.
    """
    # The plans of a thousand cases at once depend on it.
    connection.execute(sql.SQL("ANALYZE {}").format(_named(COLUMNS)))
    _fill(connection, "cases_auditfact", list(cases))
    rows = connection.execute(
        "SELECT id FROM cases_flag WHERE case_id BETWEEN %s AND %s ORDER BY id",
        [cases[0], cases[-1]],
    )
    _fill(connection, "cases_auditquery", [pk for (pk,) in rows])
    connection.execute(_MONTHS, {"first": cases[0], "last": cases[-1]})
    tables = (*FACT_TABLES, "cases_auditmonth")
    connection.execute(sql.SQL("ANALYZE {}").format(_named(tables)))


def _named(tables: Iterable[str]) -> sql.Composable:
    return sql.SQL(", ").join(map(sql.Identifier, tables))

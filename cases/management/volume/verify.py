"""A sample of what was loaded, held against what the portal itself computes."""

import json
from collections.abc import Iterator, Sequence

import numpy as np
import psycopg
from psycopg.rows import dict_row

from cases.canonical import canonical_json, commitment, sha256_hex
from cases.models import TimelineEntry
from cases.timeline import chain_faults

__all__ = ["sample_faults", "sampled"]

_RELEASED = ("cleared", "in_fabrication", "dispatched", "fitted", "not_fitted")
_FACTS = """
WITH fresh AS MATERIALIZED (
    SELECT to_jsonb(r) AS fact FROM audit_fact_rows(%(cases)s) r),
  kept AS (SELECT to_jsonb(f) - 'id' AS fact FROM cases_auditfact f
    WHERE f.case_id = ANY (%(cases)s))
SELECT coalesce(fresh.fact, kept.fact) ->> 'case_id'
FROM fresh FULL JOIN kept ON fresh.fact = kept.fact
WHERE fresh.fact IS NULL OR kept.fact IS NULL
"""
_QUERIES = _FACTS.replace(
    "audit_fact_rows(%(cases)s)",
    "audit_query_rows(ARRAY(SELECT id FROM cases_flag WHERE case_id = ANY (%(cases)s)))",
).replace("cases_auditfact f", "cases_auditquery f")


def sampled(cases: range, *, count: int, seed: int) -> list[int]:
    """Return so many of the cases, drawn; all where there are not more."""
    if len(cases) <= count:
        return list(cases)
    drawn = np.random.default_rng([seed, 2]).choice(len(cases), count, replace=False)
    return sorted(cases[int(i)] for i in drawn)


def sample_faults(connection: psycopg.Connection, cases: Sequence[int]) -> list[str]:
    """Return what is wrong with these cases: chains, digests, gate, facts."""
    wanted = list(cases)
    return [
        *_chains(connection, wanted),
        *_contents(connection, wanted),
        *_signatures(connection, wanted),
        *_gates(connection, wanted),
        *_stale(connection, wanted),
    ]


def _chains(connection: psycopg.Connection, cases: list[int]) -> Iterator[str]:
    with connection.cursor(row_factory=dict_row) as cursor:
        for case in cases:
            rows = cursor.execute(
                "SELECT * FROM cases_timelineentry WHERE case_id = %s ORDER BY position",
                [case],
            ).fetchall()
            entries = [TimelineEntry(**row) for row in rows]
            yield from (f"case {case}: {fault}" for fault in chain_faults(entries))
            head = cursor.execute(
                "SELECT position, entry_hash FROM cases_timelinehead WHERE case_id = %s",
                [case],
            ).fetchone()
            ends = [
                {"position": n + 1, "entry_hash": e.entry_hash}
                for n, e in enumerate(entries)
            ]
            if head != (ends[-1] if ends else None):
                yield f"case {case}: the head is not the last entry"


def _contents(connection: psycopg.Connection, cases: list[int]) -> Iterator[str]:
    rows = connection.execute(
        "SELECT e.case_id, e.position, e.content_commitment, k.salt, k.content::text"
        " FROM cases_timelineentry e JOIN cases_timelinecontent k ON k.entry_id = e.id"
        " WHERE e.case_id = ANY (%s)",
        [cases],
    )
    for case, position, bound, salt, content in rows:
        if commitment(salt, json.loads(content)) != bound:
            yield f"case {case}: content of entry {position} is not what was bound"


def _signatures(connection: psycopg.Connection, cases: list[int]) -> Iterator[str]:
    for table in ("cases_signature", "cases_workorder"):
        rows = connection.execute(
            f"SELECT case_id, content::text, content_sha256 FROM {table}"  # noqa: S608 -- ours
            " WHERE case_id = ANY (%s)",
            [cases],
        )
        for case, content, digest in rows:
            if sha256_hex(canonical_json(json.loads(content))) != digest:
                yield f"case {case}: a digest in {table} is of something else"


def _gates(connection: psycopg.Connection, cases: list[int]) -> Iterator[str]:
    rows = connection.execute(
        "SELECT id, gate_reasons(id) FROM cases_case"
        " WHERE id = ANY (%s) AND state = ANY (%s)",
        [cases, list(_RELEASED)],
    )
    for case, reasons in rows:
        if reasons:
            yield f"case {case}: was built although {'; '.join(reasons)}"


def _stale(connection: psycopg.Connection, cases: list[int]) -> Iterator[str]:
    for name, question in (("fact", _FACTS), ("query", _QUERIES)):
        for (case,) in connection.execute(question, {"cases": cases}):
            yield f"case {case}: a {name} is not what is worked out of its rows"

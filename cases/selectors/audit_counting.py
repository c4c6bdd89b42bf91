"""The one statement that counts restorations and queries, months at once.

Its answer per month is what ``MonthFigures.read`` takes, as JSON. Every part is worked
out for all months at once and kept (MATERIALIZED): put into the answer it would be worked
out again for each of them.
"""

from typing import Final

from cases.audit.figures import DIMENSIONS
from cases.selectors.audit_conditions import (
    AuditScope,
    adverse_sql,
    internal_sql,
    outcome_sql,
    remade_sql,
)

__all__ = ["counting_sql"]

_COLUMN: Final = {
    "clinic": "clinic_id",
    "clinician": "prescriber_id",
    "technician": "technician_id",
}
# The fields of a Tally, in order.
_TALLY: Final = (
    "count(*)",
    *(
        f"count(*) FILTER (WHERE {name})"
        for name in (
            "reported",
            "fitted",
            "as_delivered",
            "restoration_adjusted",
            "opposing_adjusted",
            "remade",
            "internal",
            "flagged",
            "accepted",
        )
    ),
)

_FACTS: Final = """
f AS MATERIALIZED (
  SELECT f.id, f.month, f.clinic_id, f.prescriber_id, f.technician_id, f.material,
    f.kind, f.tooth_class, f.method, f.dispatched_at, f.dispatched_on, f.first_verdict,
    f.first_class, f.built_class, f.accepted, f.flagged, f.option, f.reported, f.fitted,
    f.as_delivered, f.restoration_adjusted, f.opposing_adjusted, f.internal_cause,
    f.remake_days, f.remake_cause, f.remake_detected, f.attribution,
    {remade} AS remade, {internal} AS internal, {adverse} AS adverse,
    {outcome} AS outcome
  FROM cases_auditfact f WHERE {where} AND f.month = ANY(%(months)s)
), q AS MATERIALIZED (
  SELECT q.month, q.raised_at, q.asked_minutes, q.answered_minutes, q.closed, q.option
  FROM cases_auditquery q WHERE {queries} AND q.month = ANY(%(months)s)
)"""

# A restoration without a technician or method counts under the empty key.
_BY: Final = """
tallies AS MATERIALIZED (
  SELECT month, CASE GROUPING({columns}) {names} END AS dimension,
    coalesce({keys}, '') AS key, jsonb_build_array({tally}) AS tally
  FROM f GROUP BY GROUPING SETS ((month), {sets})
), by_dimension AS MATERIALIZED (
  SELECT month, dimension, jsonb_object_agg(key, tally) AS keys
  FROM tallies WHERE dimension IS NOT NULL GROUP BY month, dimension
)"""

_CAUSES: Final = """
remakes AS MATERIALIZED (
  SELECT month, remake_cause AS cause, count(*) AS times FROM f WHERE remade
  GROUP BY month, remake_cause
), attributions AS MATERIALIZED (
  SELECT month, cause, jsonb_object_agg(attribution, times) AS said FROM (
    SELECT month, remake_cause AS cause, attribution, count(*) AS times FROM f
    WHERE remade GROUP BY month, remake_cause, attribution) x GROUP BY month, cause
), detections AS MATERIALIZED (
  SELECT month, cause, jsonb_object_agg(remake_detected, times) AS said FROM (
    SELECT month, remake_cause AS cause, remake_detected, count(*) AS times FROM f
    WHERE remade GROUP BY month, remake_cause, remake_detected) x GROUP BY month, cause
), internals AS MATERIALIZED (
  SELECT month, internal_cause AS cause, count(*) AS times FROM f WHERE internal
  GROUP BY month, internal_cause
), causes AS MATERIALIZED (
  SELECT month, jsonb_object_agg(cause, jsonb_build_object(
      'remade', coalesce(r.times, 0), 'internal', coalesce(i.times, 0),
      'attribution', coalesce(a.said, '{}'), 'detected', coalesce(d.said, '{}'))) AS said
  FROM remakes r FULL JOIN internals i USING (month, cause)
    LEFT JOIN attributions a USING (month, cause)
    LEFT JOIN detections d USING (month, cause)
  GROUP BY month
)"""


def _dose(basis: str) -> str:
    """Return the cells of a clinician's restorations by one check's class."""
    return f"""
dose_{basis} AS MATERIALIZED (
  SELECT month, jsonb_agg(cell ORDER BY cell) AS cells FROM (
    SELECT month, jsonb_build_array(prescriber_id::text, {basis}_class, count(*),
      count(*) FILTER (WHERE remade), count(*) FILTER (WHERE opposing_adjusted),
      count(*) FILTER (WHERE adverse)) AS cell
    FROM f WHERE reported AND {basis}_class <> ''
    GROUP BY month, prescriber_id, {basis}_class) x GROUP BY month
)"""  # noqa: S608 -- the basis is ours


_REST: Final = """
opposing AS MATERIALIZED (
  SELECT month, jsonb_agg(cell ORDER BY cell) AS cells FROM (
    SELECT month, jsonb_build_array(prescriber_id::text, flagged, count(*),
      count(*) FILTER (WHERE opposing_adjusted)) AS cell
    FROM f WHERE reported GROUP BY month, prescriber_id, flagged) x GROUP BY month
), flow AS MATERIALIZED (
  SELECT month, jsonb_agg(cell ORDER BY cell) AS cells FROM (
    SELECT month, jsonb_build_array(first_verdict, option, outcome, count(*)) AS cell
    FROM f GROUP BY month, first_verdict, option, outcome) x GROUP BY month
), runs AS MATERIALIZED (
  SELECT month, jsonb_object_agg(clinic_id::text, jsonb_build_array(n, places)) AS said
  FROM (SELECT month, clinic_id, count(*) AS n,
      coalesce(jsonb_agg(place ORDER BY place) FILTER (WHERE remade), '[]') AS places
    FROM (SELECT month, clinic_id, remade, row_number() OVER (
        PARTITION BY month, clinic_id ORDER BY dispatched_at, id) AS place FROM f) y
    GROUP BY month, clinic_id) x GROUP BY month
), after AS MATERIALIZED (
  SELECT month, jsonb_object_agg(remake_days, times) AS said FROM (
    SELECT month, remake_days, count(*) AS times FROM f WHERE remade
    GROUP BY month, remake_days) x GROUP BY month
), unremade AS MATERIALIZED (
  SELECT month, jsonb_object_agg(dispatched_on, times) AS said FROM (
    SELECT month, dispatched_on, count(*) AS times FROM f WHERE NOT remade
    GROUP BY month, dispatched_on) x GROUP BY month
)"""

# Minutes are rounded up to quarters of an hour: a median needs no more.
_QUERIES: Final = """
raised AS MATERIALIZED (
  SELECT month, count(*) AS times,
    coalesce(jsonb_agg(to_char(raised_at AT TIME ZONE 'UTC',
      'YYYY-MM-DD"T"HH24:MI:SS.US"+00:00"') ORDER BY raised_at)
      FILTER (WHERE answered_minutes IS NULL), '[]') AS open
  FROM q GROUP BY month
), closed AS MATERIALIZED (
  SELECT month, jsonb_object_agg(closed, times) AS said FROM (
    SELECT month, closed, count(*) AS times FROM q WHERE closed <> ''
    GROUP BY month, closed) x GROUP BY month
), options AS MATERIALIZED (
  SELECT month, jsonb_object_agg(option, times) AS said FROM (
    SELECT month, option, count(*) AS times FROM q WHERE option <> ''
    GROUP BY month, option) x GROUP BY month
), asked AS MATERIALIZED (
  SELECT month, jsonb_object_agg(minutes, times) AS said FROM (
    SELECT month, (asked_minutes + 14) / 15 * 15 AS minutes, count(*) AS times FROM q
    GROUP BY 1, 2) x GROUP BY month
), answered AS MATERIALIZED (
  SELECT month, jsonb_object_agg(minutes, times) AS said FROM (
    SELECT month, (answered_minutes + 14) / 15 * 15 AS minutes, count(*) AS times FROM q
    WHERE answered_minutes IS NOT NULL GROUP BY 1, 2) x GROUP BY month
)"""

_ANSWER: Final = """
SELECT m.month, jsonb_build_object(
  'total', coalesce((SELECT t.tally FROM tallies t
    WHERE t.month = m.month AND t.dimension IS NULL), '[0,0,0,0,0,0,0,0,0,0]'),
  'by', coalesce((SELECT jsonb_object_agg(b.dimension, b.keys) FROM by_dimension b
    WHERE b.month = m.month), '{}'),
  'causes', coalesce((SELECT said FROM causes x WHERE x.month = m.month), '{}'),
  'dose_first', coalesce((SELECT cells FROM dose_first x WHERE x.month = m.month), '[]'),
  'dose_built', coalesce((SELECT cells FROM dose_built x WHERE x.month = m.month), '[]'),
  'opposing', coalesce((SELECT cells FROM opposing x WHERE x.month = m.month), '[]'),
  'flow', coalesce((SELECT cells FROM flow x WHERE x.month = m.month), '[]'),
  'runs', coalesce((SELECT said FROM runs x WHERE x.month = m.month), '{}'),
  'remade_after', coalesce((SELECT said FROM after x WHERE x.month = m.month), '{}'),
  'unremade', coalesce((SELECT said FROM unremade x WHERE x.month = m.month), '{}'),
  'queries', jsonb_build_object(
    'raised', coalesce((SELECT times FROM raised x WHERE x.month = m.month), 0),
    'open', coalesce((SELECT open FROM raised x WHERE x.month = m.month), '[]'),
    'closed', coalesce((SELECT said FROM closed x WHERE x.month = m.month), '{}'),
    'options', coalesce((SELECT said FROM options x WHERE x.month = m.month), '{}'),
    'asked', coalesce((SELECT said FROM asked x WHERE x.month = m.month), '{}'),
    'answered', coalesce((SELECT said FROM answered x WHERE x.month = m.month), '{}')))
FROM unnest(%(months)s::date[]) m (month)"""


def _by(dimensions: tuple[str, ...]) -> str:
    """Return the tallies of the whole month and of each dimension."""
    columns = [_COLUMN.get(one, one) for one in dimensions]
    # GROUPING() sets the bit of every column that is *not* grouped by, first highest.
    every = 2 ** len(columns) - 1
    names = " ".join(
        f"WHEN {every - 2 ** (len(columns) - 1 - place)} THEN '{one}'"
        for place, one in enumerate(dimensions)
    )
    return _BY.format(
        columns=", ".join(columns),
        names=names,
        keys=", ".join(f"{one}::text" for one in columns),
        tally=", ".join(_TALLY),
        sets=", ".join(f"(month, {one})" for one in columns),
    )


def counting_sql(scope: AuditScope) -> str:
    """Return the statement; parameters are the scope's and ``months``.

    It answers one row per month asked for. Which technician made what is the
    laboratory's own: for a clinic it is not even counted.
    """
    dimensions = tuple(
        one for one in DIMENSIONS if scope.is_laboratory or one != "technician"
    )
    facts = _FACTS.format(
        remade=remade_sql(scope),
        internal=internal_sql(scope),
        adverse=adverse_sql(scope),
        outcome=outcome_sql(scope),
        where=scope.facts_where(),
        queries=scope.queries_where(),
    )
    parts = [facts, _by(dimensions), _CAUSES, _dose("first"), _dose("built")]
    return "WITH " + ", ".join([*parts, _REST, _QUERIES]) + _ANSWER

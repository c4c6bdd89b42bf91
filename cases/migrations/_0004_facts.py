"""Functions and triggers that keep the facts of the audit (migration 0004).

A fact is always worked out anew from the rows of its case, never added to: whatever
order rows come in, the last one leaves the fact right. Writers are the triggers alone;
the application's login can execute none of the functions.

Times and words: ``first_at`` is the first dispatch, ``last_at`` the last one (work that
came back may leave again). What was built is the last work order released by then.
"""

_DEFINER = "SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp"
# A function in PL/pgSQL keeps its plan for the session, where one in SQL would be planned
# at every call, and planning takes longer than the one case it is mostly asked about.
# The plan is made for any list of cases; compiling it would never pay.
_PLANNED = (
    "SET search_path = pg_catalog, public, pg_temp"
    " SET plan_cache_mode = force_generic_plan SET jit = off"
)

# Column → SQL type, in the order the function returns them.
FACT_COLUMNS = {
    "case_id": "bigint",
    "part": "text",
    "laboratory_id": "bigint",
    "clinic_id": "bigint",
    "prescriber_id": "bigint",
    "technician_id": "bigint",
    "teeth": "jsonb",
    "tooth_class": "text",
    "kind": "text",
    "material": "text",
    "method": "text",
    "submitted_at": "timestamptz",
    "dispatched_at": "timestamptz",
    "dispatched_on": "date",
    "month": "date",
    "first_verdict": "text",
    "first_class": "text",
    "first_shortage_mm": "numeric",
    "built_verdict": "text",
    "built_class": "text",
    "built_shortage_mm": "numeric",
    "accepted": "boolean",
    "flagged": "boolean",
    "option": "text",
    "reported": "boolean",
    "fitted": "boolean",
    "as_delivered": "boolean",
    "restoration_adjusted": "boolean",
    "opposing_adjusted": "boolean",
    "provisional": "boolean",
    "opposing_mm": "numeric",
    "minutes": "smallint",
    "internal_remakes": "smallint",
    "internal_cause": "text",
    "remade": "boolean",
    "remade_at": "timestamptz",
    "remake_days": "integer",
    "remake_cause": "text",
    "remake_detected": "text",
    "attribution": "text",
}
QUERY_COLUMNS = {
    "flag_id": "bigint",
    "case_id": "bigint",
    "laboratory_id": "bigint",
    "clinic_id": "bigint",
    "prescriber_id": "bigint",
    "tooth_class": "text",
    "kind": "text",
    "material": "text",
    "method": "text",
    "raised_at": "timestamptz",
    "month": "date",
    "asked_minutes": "integer",
    "answered_minutes": "integer",
    "closed": "text",
    "option": "text",
}


def _typed(columns: dict[str, str]) -> str:
    return ", ".join(f'"{name}" {kind}' for name, kind in columns.items())


def _cast(columns: dict[str, str]) -> str:
    return ", ".join(f'x."{name}"::{kind}' for name, kind in columns.items())


def _names(columns: dict[str, str], prefix: str = "") -> str:
    return ", ".join(f'{prefix}"{name}"' for name in columns)


def _changes(columns: dict[str, str], key: set[str]) -> str:
    """Return the SET list of an upsert."""
    return ", ".join(
        f'"{name}" = EXCLUDED."{name}"' for name in columns if name not in key
    )


# Classes of teeth as in rules.numbering.tooth_class; place along the arch from right to
# left, so that the difference of two places is how far one tooth is from the other's
# antagonist. The same jaw is no antagonist: 100 and more.
WORDS = f"""
CREATE FUNCTION audit_tooth_class(tooth text) RETURNS text LANGUAGE sql IMMUTABLE
  AS $$ SELECT CASE
    WHEN tooth !~ '^[1-8][1-8]$' THEN ''
    WHEN right(tooth, 1) IN ('1', '2') THEN 'incisor'
    WHEN right(tooth, 1) = '3' THEN 'canine'
    WHEN right(tooth, 1) IN ('4', '5') AND left(tooth, 1) <= '4' THEN 'premolar'
    ELSE 'molar' END $$;
CREATE FUNCTION audit_across(one text, other text) RETURNS integer LANGUAGE sql
  IMMUTABLE AS $$ SELECT CASE
    WHEN one !~ '^[1-8][1-8]$' OR other !~ '^[1-8][1-8]$' THEN 200
    ELSE abs(
      CASE WHEN left(one, 1) IN ('1', '4', '5', '8') THEN 1 - right(one, 1)::integer
        ELSE right(one, 1)::integer END
      - CASE WHEN left(other, 1) IN ('1', '4', '5', '8')
        THEN 1 - right(other, 1)::integer ELSE right(other, 1)::integer END)
      + CASE WHEN (left(one, 1) IN ('1', '2', '5', '6'))
        = (left(other, 1) IN ('1', '2', '5', '6')) THEN 100 ELSE 0 END
    END $$;

-- What the units of a revision are counted as: a bridge is one, a single unit is one.
-- A bridge is of the class and material of its hindmost retainer.
CREATE FUNCTION audit_parts(of_case bigint, of_revision integer) RETURNS TABLE (
    part text, kind text, material text, tooth_class text, teeth text[])
  LANGUAGE sql STABLE AS $$
  WITH made AS (
    SELECT u.*, CASE WHEN u.span <> '' AND count(*) OVER (PARTITION BY u.span) > 1
        THEN u.span ELSE '' END AS bridge
      FROM cases_unit u JOIN cases_prescription p ON p.id = u.prescription_id
      WHERE p.case_id = of_case AND p.revision = of_revision)
  SELECT CASE WHEN m.bridge = '' THEN min(m.tooth)
      -- A span may bear the name of a tooth.
      WHEN m.bridge ~ '^(bridge )*[1-8][1-8]$' THEN left('bridge ' || m.bridge, 20)
      ELSE m.bridge END,
    CASE WHEN m.bridge = '' THEN min(m.kind) ELSE 'bridge' END,
    (array_agg(m.material ORDER BY m.kind = 'pontic', right(m.tooth, 1) DESC,
      m.tooth))[1],
    audit_tooth_class((array_agg(m.tooth::text ORDER BY m.kind = 'pontic',
      right(m.tooth, 1) DESC, m.tooth))[1]),
    array_agg(m.tooth::text ORDER BY m.position, m.tooth)
    FROM made m GROUP BY m.bridge, CASE WHEN m.bridge = '' THEN m.tooth END $$;
"""


def _judged(check: str, name: str) -> str:
    """Return the lateral that sums up a check over the teeth of a restoration.

    Every stored site counts: the release gate asks for the ground of each of them.
    The order is that of rules.results.worst.
    """
    return f"""
  LEFT JOIN LATERAL (SELECT
      CASE WHEN bool_or(v.verdict = 'insufficient') THEN 'insufficient'
        WHEN bool_or(v.verdict = 'undecided') THEN 'undecided'
        WHEN bool_or(v.verdict = 'unmeasured') THEN 'unmeasured'
        WHEN count(*) > 0 THEN 'sufficient' ELSE '' END AS verdict,
      bool_or(v.low_mm IS NOT NULL OR v.high_mm IS NOT NULL) AS measured,
      coalesce(max(greatest(0, v.need_mm - (coalesce(v.low_mm, v.high_mm)
        + coalesce(v.high_mm, v.low_mm)) / 2))
        FILTER (WHERE v.verdict = 'insufficient'), 0) AS short
    FROM cases_siteverdict v
    WHERE v.stored_check_id = {check} AND v.tooth = ANY (r.teeth)) {name} ON true"""


def _class_of(name: str) -> str:
    return f"""CASE {name}.verdict WHEN 'insufficient' THEN
        CASE WHEN {name}.short <= 0.25 THEN 'up_to_025'
          WHEN {name}.short <= 0.50 THEN 'up_to_050' ELSE 'over_050' END
      WHEN 'undecided' THEN 'undecided'
      WHEN 'unmeasured' THEN
        CASE WHEN {name}.measured THEN 'undecided' ELSE 'unmeasured' END
      ELSE {name}.verdict END"""


# The method most readings of the clinic were taken with in the first round.
_METHOD = """
  LEFT JOIN LATERAL (SELECT m.method FROM cases_reading m
    WHERE m.case_id = c.id AND m.round = 1 AND m.side = 'clinic'
      AND m.submitted_at IS NOT NULL AND m.tooth = ANY (r.teeth)
    GROUP BY m.method ORDER BY count(*) DESC, m.method COLLATE "C" LIMIT 1) how ON true"""

FACTS = f"""
CREATE FUNCTION audit_fact_rows(cases bigint[]) RETURNS TABLE ({_typed(FACT_COLUMNS)})
  LANGUAGE plpgsql STABLE ROWS 20 {_PLANNED} AS $$
#variable_conflict use_column
BEGIN RETURN QUERY SELECT {_cast(FACT_COLUMNS)} FROM (
SELECT c.id, r.part, c.laboratory_id, c.clinic_id, c.prescriber_id,
  o.released_by_id, to_jsonb(r.teeth), r.tooth_class, r.kind, r.material,
  coalesce(how.method, ''), c.submitted_at, d.first_at, d.day,
  date_trunc('month', d.day)::date,
  first.verdict, {_class_of("first")}, round(first.short, 2),
  built.verdict, {_class_of("built")}, round(built.short, 2),
  covered.accepted, asked.flagged, asked.option,
  seated.reports > 0 OR again.id IS NOT NULL,
  coalesce(seated.fitted, false),
  coalesce(seated.fitted AND NOT seated.came_back AND NOT seated.adjusted
    AND NOT opposing.hit, false),
  coalesce(seated.adjusted OR (seated.fitted AND seated.came_back), false),
  opposing.hit, coalesce(seated.provisional, false),
  -- LEAST and GREATEST pass over NULL: what is not known stays so.
  CASE WHEN opposing.mm IS NOT NULL THEN least(opposing.mm, 99.99) END,
  CASE WHEN seated.minutes IS NOT NULL THEN least(seated.minutes, 32767)::smallint END,
  least(inside.times, 32767)::smallint, coalesce(inside.cause, ''),
  again.id IS NOT NULL, again.recorded_at,
  CASE WHEN again.id IS NOT NULL THEN greatest(0,
    floor(extract(epoch FROM again.recorded_at - d.first_at) / 86400))::integer END,
  coalesce(again.cause, ''), coalesce(again.detected_at, ''),
  CASE WHEN again.id IS NULL THEN ''
    WHEN 'disputed' IN (again.attribution_clinic, again.attribution_laboratory)
      THEN 'disputed'
    WHEN again.attribution_clinic = '' AND again.attribution_laboratory = ''
      THEN 'undetermined'
    WHEN again.attribution_clinic = '' THEN again.attribution_laboratory
    WHEN again.attribution_laboratory IN ('', again.attribution_clinic)
      THEN again.attribution_clinic
    ELSE 'disputed' END
FROM unnest(cases) AS wanted (id)
  JOIN cases_case c ON c.id = wanted.id
  JOIN cases_organisation lab ON lab.id = c.laboratory_id
  CROSS JOIN LATERAL (SELECT min(e.at) AS first_at, max(e.at) AS last_at,
      (min(e.at) AT TIME ZONE lab.time_zone)::date AS day
    FROM cases_timelineentry e
    WHERE e.case_id = c.id AND e.event = 'case.dispatched'
      -- Nobody else sends work out; an entry is of the side that wrote it.
      AND e.actor_side = 'laboratory'
    HAVING count(*) > 0) d
  LEFT JOIN LATERAL (SELECT w.* FROM cases_workorder w WHERE w.case_id = c.id
    ORDER BY w.released_at <= d.last_at DESC, w.released_at DESC, w.id DESC
    LIMIT 1) o ON true
  LEFT JOIN LATERAL (SELECT k.id FROM cases_check k
    WHERE k.case_id = c.id AND k.round = 1 ORDER BY k.made_at, k.id LIMIT 1) k1 ON true
  CROSS JOIN LATERAL audit_parts(c.id, coalesce(o.revision, c.revision)::integer) r
  {_judged("k1.id", "first")}
  {_judged("o.based_on_id", "built")}
  {_METHOD}
  -- Accepted at release: within uncertainty, or with a documented risk.
  CROSS JOIN LATERAL (SELECT EXISTS (
    SELECT 1 FROM cases_coverage g
      JOIN cases_check k ON k.id = o.based_on_id
        AND k.rule_set_digest = g.rule_set_digest
      JOIN cases_siteverdict v ON v.stored_check_id = k.id AND v.tooth = g.tooth
        AND v.site = g.site AND v.quantity = g.quantity
        AND v.low_mm IS NOT DISTINCT FROM g.low_mm
        AND v.high_mm IS NOT DISTINCT FROM g.high_mm
        AND v.verdict NOT IN ('sufficient', 'not_applicable')
      LEFT JOIN cases_answer a ON a.id = g.answer_id
    WHERE g.case_id = c.id AND g.tooth = ANY (r.teeth) AND g.revision = o.revision
      AND g.round = o.round AND g.given_at <= o.released_at
      AND (g.kind = 'uncertainty' OR a.kind = 'accept_risk')) AS accepted) covered
  -- Queries of the laboratory about clearance, before the work left.
  CROSS JOIN LATERAL (SELECT count(*) > 0 AS flagged,
      coalesce((array_agg(a.kind ORDER BY a.answered_at DESC, a.id DESC)
        FILTER (WHERE a.id IS NOT NULL))[1],
        CASE WHEN bool_or(f.status = 'withdrawn') THEN 'withdrawn' END, '') AS option
    FROM cases_flag f
      LEFT JOIN cases_answer a ON a.flag_id = f.id AND a.declined_at IS NULL
        AND f.status <> 'withdrawn'
    WHERE f.case_id = c.id AND f.origin = 'laboratory' AND f.reasons ? 'clearance'
      AND f.raised_at <= d.first_at
      AND (f.sites = '[]' OR EXISTS (SELECT 1 FROM jsonb_array_elements(f.sites) s
        WHERE s ->> 'tooth' = ANY (r.teeth)))) asked
  -- The last report says whether it is fitted; what was ground off adds up. Work that
  -- came back from a seating was adjusted, even if it then went in as delivered.
  CROSS JOIN LATERAL (SELECT count(*) AS reports,
      (array_agg(t.outcome = 'fitted' ORDER BY t.id DESC))[1] AS fitted,
      bool_or(t.outcome = 'not_fitted') AS came_back,
      bool_or(t.findings ? 'restoration_adjusted') AS adjusted,
      bool_or(t.findings ? 'provisionally_cemented') AS provisional,
      sum(t.minutes) AS minutes
    FROM cases_fitreport t WHERE t.case_id = c.id) seated
  -- Of several restorations the one across from the tooth that was adjusted.
  CROSS JOIN LATERAL (SELECT count(*) > 0 AS hit, sum(t.opposing_adjusted_mm) AS mm
    FROM cases_fitreport t
    WHERE t.case_id = c.id AND t.findings ? 'opposing_adjusted'
      AND (t.opposing_teeth = '[]' OR EXISTS (
        SELECT 1 FROM jsonb_array_elements_text(t.opposing_teeth) ground (tooth)
        WHERE (SELECT min(audit_across(ground.tooth, own)) FROM unnest(r.teeth) own)
          = (SELECT min(audit_across(ground.tooth, u.tooth)) FROM cases_unit u
             JOIN cases_prescription p ON p.id = u.prescription_id
             WHERE p.case_id = c.id
               AND p.revision = coalesce(o.revision, c.revision))))) opposing
  CROSS JOIN LATERAL (SELECT count(*) AS times,
      (array_agg(m.cause ORDER BY m.recorded_at, m.id))[1] AS cause
    FROM cases_remake m WHERE m.case_id = c.id AND m.internal
      AND (m.teeth = '[]' OR m.teeth ?| r.teeth)) inside
  LEFT JOIN LATERAL (SELECT m.* FROM cases_remake m
    WHERE m.case_id = c.id AND NOT m.internal
      AND (m.teeth = '[]' OR m.teeth ?| r.teeth)
    ORDER BY m.recorded_at, m.id LIMIT 1) again ON true
) x ({_names(FACT_COLUMNS)});
END $$;
"""

QUERIES = f"""
CREATE FUNCTION audit_query_rows(flags bigint[]) RETURNS TABLE ({_typed(QUERY_COLUMNS)})
  LANGUAGE plpgsql STABLE ROWS 20 {_PLANNED} AS $$
#variable_conflict use_column
BEGIN RETURN QUERY SELECT {_cast(QUERY_COLUMNS)} FROM (
SELECT f.id, c.id, c.laboratory_id, c.clinic_id, c.prescriber_id,
  coalesce(r.tooth_class, ''), coalesce(r.kind, ''), coalesce(r.material, ''),
  coalesce(how.method, ''), f.raised_at,
  date_trunc('month', f.raised_at AT TIME ZONE lab.time_zone)::date,
  greatest(0, floor(extract(epoch FROM f.raised_at - records.arrived) / 60))::integer,
  CASE WHEN done.at IS NOT NULL THEN
    greatest(0, floor(extract(epoch FROM done.at - f.raised_at) / 60))::integer END,
  CASE WHEN said.first_at IS NOT NULL THEN 'answered'
    WHEN done.at IS NOT NULL THEN 'withdrawn' ELSE '' END,
  coalesce(CASE WHEN f.status <> 'withdrawn' THEN said.kind ELSE 'withdrawn' END, '')
FROM unnest(flags) AS wanted (id)
  JOIN cases_flag f ON f.id = wanted.id
  JOIN cases_case c ON c.id = f.case_id
  JOIN cases_organisation lab ON lab.id = c.laboratory_id
  -- The restoration its first site is on; without sites the first of the case.
  LEFT JOIN LATERAL (SELECT q.* FROM audit_parts(c.id, f.revision::integer) q
    ORDER BY coalesce((f.sites -> 0 ->> 'tooth') = ANY (q.teeth), false) DESC, q.part
    LIMIT 1) r ON true
  {_METHOD}
  CROSS JOIN LATERAL (SELECT greatest(c.submitted_at, max(e.at)) AS arrived
    FROM cases_timelineentry e WHERE e.case_id = c.id
      AND e.event IN ('records.sent', 'case.resubmitted')
      AND e.at <= f.raised_at) records
  CROSS JOIN LATERAL (SELECT min(a.answered_at) AS first_at,
      (array_agg(a.kind ORDER BY a.answered_at DESC, a.id DESC)
        FILTER (WHERE a.declined_at IS NULL))[1] AS kind
    FROM cases_answer a WHERE a.flag_id = f.id) said
  CROSS JOIN LATERAL (SELECT coalesce(said.first_at,
    CASE WHEN f.status = 'withdrawn' THEN f.settled_at END) AS at) done
WHERE f.origin = 'laboratory' AND f.reasons ? 'clearance' AND c.submitted_at IS NOT NULL
) x ({_names(QUERY_COLUMNS)});
END $$;
"""

# The case is locked before anything is read: two that write to the same case must not
# each leave a fact without the other's row. Lower numbers first, as everywhere.
KEEPING = f"""
CREATE FUNCTION audit_refresh(cases bigint[]) RETURNS void LANGUAGE plpgsql
  SECURITY DEFINER {_PLANNED} AS $$
DECLARE made bigint; stored bigint;
BEGIN
  PERFORM 1 FROM cases_case c WHERE c.id = ANY (cases) ORDER BY c.id
    FOR NO KEY UPDATE;
  WITH fresh AS MATERIALIZED (
    SELECT * FROM audit_fact_rows(cases)
  ), kept AS (
    INSERT INTO cases_auditfact AS f ({_names(FACT_COLUMNS)})
    SELECT {_names(FACT_COLUMNS)} FROM fresh
    ON CONFLICT (case_id, part) DO UPDATE
      SET {_changes(FACT_COLUMNS, {"case_id", "part"})}
      WHERE ({_names(FACT_COLUMNS, "f.")})
        IS DISTINCT FROM ({_names(FACT_COLUMNS, "EXCLUDED.")})
  )
  SELECT count(*) INTO made FROM fresh;
  SELECT count(*) INTO stored FROM cases_auditfact f WHERE f.case_id = ANY (cases);
  -- A bridge that was divided, a unit that was left out when it was built again.
  IF stored > made THEN
    WITH fresh AS MATERIALIZED (
      SELECT case_id, part FROM audit_fact_rows(cases)
    )
    DELETE FROM cases_auditfact f WHERE f.case_id = ANY (cases)
      AND f.case_id IN (SELECT case_id FROM fresh)
      AND NOT EXISTS (SELECT 1 FROM fresh n
        WHERE n.case_id = f.case_id AND n.part = f.part);
  END IF;
END $$;

CREATE FUNCTION audit_refresh_queries(flags bigint[]) RETURNS void LANGUAGE plpgsql
  SECURITY DEFINER {_PLANNED} AS $$
BEGIN
  PERFORM 1 FROM cases_case c
    WHERE c.id IN (SELECT f.case_id FROM cases_flag f WHERE f.id = ANY (flags))
    ORDER BY c.id FOR NO KEY UPDATE;
  INSERT INTO cases_auditquery AS q ({_names(QUERY_COLUMNS)})
  SELECT {_names(QUERY_COLUMNS)} FROM audit_query_rows(flags)
  ON CONFLICT (flag_id) DO UPDATE SET {_changes(QUERY_COLUMNS, {"flag_id"})}
    WHERE ({_names(QUERY_COLUMNS, "q.")})
      IS DISTINCT FROM ({_names(QUERY_COLUMNS, "EXCLUDED.")});
END $$;

-- Before the first dispatch there is no fact: until then the rows of a case may come in
-- any order. Afterwards these tables, and no other, change what a fact says.
CREATE FUNCTION audit_case_dispatched() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
DECLARE cases bigint[];
BEGIN
  SELECT array_agg(DISTINCT case_id) INTO cases FROM fresh
    WHERE event = 'case.dispatched';
  IF cases IS NOT NULL THEN PERFORM audit_refresh(cases); END IF;
  RETURN NULL;
END $$;
CREATE TRIGGER audit_case_dispatched AFTER INSERT ON cases_timelineentry
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_case_dispatched();

CREATE FUNCTION audit_outcome_written() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
DECLARE cases bigint[];
BEGIN
  SELECT array_agg(DISTINCT case_id) INTO cases FROM fresh;
  IF cases IS NOT NULL THEN PERFORM audit_refresh(cases); END IF;
  RETURN NULL;
END $$;
CREATE TRIGGER audit_fit_reported AFTER INSERT ON cases_fitreport
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_outcome_written();
CREATE TRIGGER audit_remake_recorded AFTER INSERT ON cases_remake
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_outcome_written();
CREATE TRIGGER audit_remake_stated AFTER UPDATE ON cases_remake
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_outcome_written();

CREATE FUNCTION audit_query_moved() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
DECLARE flags bigint[];
BEGIN
  IF TG_TABLE_NAME = 'cases_flag' THEN
    SELECT array_agg(id) INTO flags FROM fresh;
  ELSE
    SELECT array_agg(DISTINCT flag_id) INTO flags FROM fresh;
  END IF;
  IF flags IS NOT NULL THEN PERFORM audit_refresh_queries(flags); END IF;
  RETURN NULL;
END $$;
CREATE TRIGGER audit_flag_raised AFTER INSERT ON cases_flag
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_query_moved();
CREATE TRIGGER audit_flag_settled AFTER UPDATE ON cases_flag
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_query_moved();
CREATE TRIGGER audit_flag_answered AFTER INSERT ON cases_answer
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_query_moved();
CREATE TRIGGER audit_answer_declined AFTER UPDATE ON cases_answer
  REFERENCING NEW TABLE AS fresh
  FOR EACH STATEMENT EXECUTE FUNCTION audit_query_moved();
"""


def _counted(table: str, name: str) -> str:
    """Return the triggers that count the changes of the months of one table."""
    events = {
        "INSERT": "NEW TABLE AS fresh",
        "UPDATE": "OLD TABLE AS gone NEW TABLE AS fresh",
        "DELETE": "OLD TABLE AS gone",
    }
    return "\n".join(
        f"CREATE TRIGGER {name}_{event.lower()} AFTER {event} ON {table}\n"
        f"  REFERENCING {tables}\n"
        "  FOR EACH STATEMENT EXECUTE FUNCTION audit_month_changed();"
        for event, tables in events.items()
    )


# One row per organisation and month, lower organisation first: two that write take
# them in the same order. A statement that changed no row counts for nothing.
MONTHS = f"""
CREATE FUNCTION audit_month_changed() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
DECLARE clinics bigint[]; laboratories bigint[]; months date[];
BEGIN
  IF TG_OP = 'INSERT' THEN
    SELECT array_agg(clinic_id), array_agg(laboratory_id), array_agg(month)
      INTO clinics, laboratories, months
      FROM (SELECT DISTINCT clinic_id, laboratory_id, month FROM fresh) x;
  ELSIF TG_OP = 'DELETE' THEN
    SELECT array_agg(clinic_id), array_agg(laboratory_id), array_agg(month)
      INTO clinics, laboratories, months
      FROM (SELECT DISTINCT clinic_id, laboratory_id, month FROM gone) x;
  ELSE
    SELECT array_agg(clinic_id), array_agg(laboratory_id), array_agg(month)
      INTO clinics, laboratories, months
      FROM (SELECT clinic_id, laboratory_id, month FROM fresh
        UNION SELECT clinic_id, laboratory_id, month FROM gone) x;
  END IF;
  IF months IS NULL THEN RETURN NULL; END IF;
  INSERT INTO cases_auditmonth AS m (organisation_id, month, version, changed_at)
  SELECT DISTINCT side.organisation, x.month, 1, now()
    FROM unnest(clinics, laboratories, months) x (clinic, laboratory, month)
      CROSS JOIN LATERAL (VALUES (x.clinic), (x.laboratory)) side (organisation)
    ORDER BY side.organisation, x.month
  ON CONFLICT (organisation_id, month) DO UPDATE
    SET version = m.version + 1, changed_at = EXCLUDED.changed_at;
  RETURN NULL;
END $$;
{_counted("cases_auditfact", "audit_fact")}
{_counted("cases_auditquery", "audit_query")}
"""

# Cases of before this migration, a thousand at a time.
BACKFILL = """
DO $$
DECLARE batch bigint[];
BEGIN
  FOR batch IN SELECT array_agg(id) FROM (SELECT DISTINCT case_id AS id,
      dense_rank() OVER (ORDER BY case_id) / 1000 AS nth FROM cases_timelineentry
      WHERE event = 'case.dispatched') x GROUP BY nth ORDER BY nth LOOP
    PERFORM audit_refresh(batch);
  END LOOP;
  FOR batch IN SELECT array_agg(id) FROM (SELECT id,
      row_number() OVER (ORDER BY id) / 1000 AS nth FROM cases_flag) x
      GROUP BY nth ORDER BY nth LOOP
    PERFORM audit_refresh_queries(batch);
  END LOOP;
END $$;
"""

_FUNCTIONS = (
    "audit_parts(bigint, integer)",
    "audit_fact_rows(bigint[])",
    "audit_query_rows(bigint[])",
    "audit_refresh(bigint[])",
    "audit_refresh_queries(bigint[])",
)
_TRIGGERS = (
    "audit_case_dispatched()",
    "audit_outcome_written()",
    "audit_query_moved()",
    "audit_month_changed()",
)

# Maintenance may work facts out anew; the application may not.
CLOSED = f"""
REVOKE ALL ON FUNCTION {", ".join((*_FUNCTIONS, *_TRIGGERS))} FROM PUBLIC;
GRANT EXECUTE ON FUNCTION {", ".join(_FUNCTIONS)} TO chairbench_maintenance;
-- Who prescribed and which clinics there are is asked for without reading every fact;
-- the oldest memos are found without reading the others.
CREATE INDEX audit_fact_laboratory_clinic
  ON cases_auditfact (laboratory_id, clinic_id);
CREATE INDEX audit_fact_laboratory_prescriber
  ON cases_auditfact (laboratory_id, prescriber_id);
CREATE INDEX audit_memo_age ON cases_auditmemo (organisation_id, made_at);
"""

SQL = "\n".join([WORDS, FACTS, QUERIES, KEEPING, MONTHS, CLOSED, BACKFILL])

"""Row-level security, grants, triggers and definer functions of migration 0001.

Roles exist already (portal.embedded.provision or the operator makes them):
chairbench_owner owns everything, chairbench_app is web and worker,
chairbench_relay claims outbox ids, chairbench_maintenance bypasses policies.
Every policy compares a row with app.org, which tenant() sets for the length of
one transaction; unset means no rows.
"""

from cases.migrations._0001_guards import ALSO, GUARDS

FUNCTIONS = """
CREATE FUNCTION app_org() RETURNS bigint LANGUAGE sql STABLE
  AS $$ SELECT nullif(current_setting('app.org', true), '')::bigint $$;
CREATE FUNCTION app_operator() RETURNS boolean LANGUAGE sql STABLE
  AS $$ SELECT coalesce(current_setting('app.operator', true), '') = 'on' $$;
"""

# (table, SELECT/UPDATE condition, INSERT condition, DELETE condition or None,
#  privileges of chairbench_app)
_ORG = "organisation_id = (SELECT app_org())"
# Scalar sub-selects, not EXISTS: the planner would hash every visible case to look
# up a handful of rows, and the page would slow down as the laboratory grows.
_CASE = "(SELECT c.id FROM cases_case c WHERE c.id = case_id) IS NOT NULL"
_CASE_MINE = (
    "(SELECT c.clinic_id FROM cases_case c WHERE c.id = case_id)"
    " = (SELECT app_org())"
)
_CASE_LAB = (
    "(SELECT c.laboratory_id FROM cases_case c WHERE c.id = case_id)"
    " = (SELECT app_org())"
)
_SENT = f"(({_CASE_MINE}) OR (submitted_at IS NOT NULL AND {_CASE}))"
_DRAFT_GONE = f"submitted_at IS NULL AND {_CASE_MINE}"
_OPEN_OR_LAB = f"({_CASE} AND (NOT internal OR {_CASE_LAB}))"
_PARTNER = "(clinic_id = (SELECT app_org()) OR laboratory_id = (SELECT app_org()))"

POLICIES: list[tuple[str, str, str, str | None, str]] = [
    (
        "cases_organisation",
        "id = (SELECT app_org()) OR (SELECT app_operator()) OR EXISTS (SELECT 1 FROM"
        " cases_partnership p WHERE (p.clinic_id = cases_organisation.id AND"
        " p.laboratory_id = (SELECT app_org())) OR (p.laboratory_id ="
        " cases_organisation.id AND p.clinic_id = (SELECT app_org())))",
        "(SELECT app_operator())",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    ("cases_membership", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    ("cases_partnership", _PARTNER, _PARTNER, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_invitation",
        f"{_ORG} OR (SELECT app_operator())",
        f"{_ORG} OR (SELECT app_operator())",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    ("cases_apitoken", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    ("cases_signinggrant", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    ("cases_delegation", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_case",
        # The two standing parties by their own columns, any other through its row:
        # one sub-select over all of a laboratory's parties would grow with them.
        "clinic_id = (SELECT app_org())"
        " OR (laboratory_id = (SELECT app_org()) AND submitted_at IS NOT NULL)"
        " OR id IN (SELECT p.case_id FROM cases_caseparty p"
        " WHERE p.organisation_id = (SELECT app_org())"
        " AND p.scope NOT IN ('clinic', 'laboratory'))",
        "clinic_id = (SELECT app_org()) AND EXISTS (SELECT 1 FROM cases_partnership p"
        " WHERE p.clinic_id = cases_case.clinic_id"
        " AND p.laboratory_id = cases_case.laboratory_id"
        " AND p.accepted_at IS NOT NULL AND p.ended_at IS NULL)",
        "clinic_id = (SELECT app_org()) AND state = 'draft'",
        "SELECT, INSERT, UPDATE, DELETE",
    ),
    ("cases_caseparty", _ORG, "false", _ORG, "SELECT, DELETE"),
    (
        "cases_patientidentity",
        _CASE,
        _CASE_MINE,
        "EXISTS (SELECT 1 FROM cases_case c WHERE c.id = case_id"
        " AND c.clinic_id = (SELECT app_org()) AND c.state = 'draft')",
        "SELECT, INSERT, UPDATE, DELETE",
    ),
    ("cases_round", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_prescription", _SENT, _CASE_MINE, _DRAFT_GONE, "SELECT, INSERT, UPDATE, DELETE"),
    ("cases_unit", _SENT, _CASE_MINE, _DRAFT_GONE, "SELECT, INSERT, UPDATE, DELETE"),
    ("cases_reading", _SENT, _SENT, _DRAFT_GONE, "SELECT, INSERT, UPDATE, DELETE"),
    ("cases_check", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_siteverdict", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_coverage", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_signature", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_flag", _CASE, _CASE, None, "SELECT, INSERT, UPDATE"),
    ("cases_answer", _CASE, _CASE_MINE, None, "SELECT, INSERT, UPDATE"),
    ("cases_message", _OPEN_OR_LAB, _OPEN_OR_LAB, None, "SELECT, INSERT"),
    (
        "cases_attachment",
        f"({_SENT} AND (NOT internal OR {_CASE_LAB}))",
        f"({_SENT} AND (NOT internal OR {_CASE_LAB}))",
        _DRAFT_GONE,
        "SELECT, INSERT, UPDATE, DELETE",
    ),
    ("cases_workorder", _CASE, _CASE_LAB, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_workordercounter",
        "laboratory_id = (SELECT app_org())",
        "laboratory_id = (SELECT app_org())",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    ("cases_fitreport", _CASE, _CASE_MINE, None, "SELECT, INSERT"),
    ("cases_remake", _CASE, _CASE, None, "SELECT, INSERT"),
    ("cases_timelinehead", _CASE, "false", None, "SELECT"),
    ("cases_timelineentry", _OPEN_OR_LAB, _OPEN_OR_LAB, None, "SELECT, INSERT"),
    (
        "cases_timelinecontent",
        "(SELECT e.id FROM cases_timelineentry e WHERE e.id = entry_id) IS NOT NULL",
        "(SELECT e.id FROM cases_timelineentry e WHERE e.id = entry_id) IS NOT NULL",
        None,
        "SELECT, INSERT",
    ),
    (
        "cases_outboxrow",
        _ORG,
        f"{_ORG} OR EXISTS (SELECT 1 FROM cases_case c WHERE c.id = case_id AND"
        " cases_outboxrow.organisation_id IN (c.clinic_id, c.laboratory_id))"
        " OR EXISTS (SELECT 1 FROM cases_partnership p WHERE"
        " cases_outboxrow.organisation_id IN (p.clinic_id, p.laboratory_id))"
        " OR (SELECT app_operator())",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    ("cases_notice", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    ("cases_idempotencykey", _ORG, _ORG, _ORG, "SELECT, INSERT, UPDATE, DELETE"),
]


# Where less may be changed than seen: a partner's name and address are shown.
CHANGE = {"cases_organisation": "id = (SELECT app_org()) OR (SELECT app_operator())"}


def _policy(
    table: str, see: str, insert: str, delete: str | None, privileges: str
) -> str:
    change = CHANGE.get(table, see)
    insert = " AND ".join([f"({insert})", *ALSO.get(table, ())])
    lines = [
        f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;",
        f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY;",
        f"GRANT {privileges} ON {table} TO chairbench_app;",
        f"CREATE POLICY owner_all ON {table} TO chairbench_owner"
        " USING (true) WITH CHECK (true);",
        f"CREATE POLICY see ON {table} FOR SELECT TO chairbench_app USING ({see});",
        f"CREATE POLICY make ON {table} FOR INSERT TO chairbench_app"
        f" WITH CHECK ({insert});",
        f"CREATE POLICY change ON {table} FOR UPDATE TO chairbench_app"
        f" USING ({change}) WITH CHECK ({change});",
    ]
    if delete is not None:
        lines.append(
            f"CREATE POLICY remove ON {table} FOR DELETE TO chairbench_app"
            f" USING ({delete});"
        )
    return "\n".join(lines)


GRANTS = """
GRANT SELECT, INSERT, UPDATE ON cases_user TO chairbench_app;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_app;
GRANT SELECT, UPDATE ON cases_outboxrow TO chairbench_relay;
CREATE POLICY relay_all ON cases_outboxrow TO chairbench_relay
  USING (true) WITH CHECK (true);
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public
  TO chairbench_maintenance;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_maintenance;
"""

# Parties, written by the database alone.
PARTIES = """
CREATE FUNCTION case_parties() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
  INSERT INTO cases_caseparty (case_id, organisation_id, scope)
    VALUES (NEW.id, NEW.clinic_id, 'clinic') ON CONFLICT DO NOTHING;
  IF NEW.submitted_at IS NOT NULL THEN
    INSERT INTO cases_caseparty (case_id, organisation_id, scope)
      VALUES (NEW.id, NEW.laboratory_id, 'laboratory') ON CONFLICT DO NOTHING;
  END IF;
  RETURN NULL;
END $$;
CREATE TRIGGER case_parties AFTER INSERT OR UPDATE OF submitted_at ON cases_case
  FOR EACH ROW EXECUTE FUNCTION case_parties();
CREATE FUNCTION case_keeps_its_parties() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.clinic_id <> OLD.clinic_id OR NEW.code <> OLD.code
     OR (OLD.submitted_at IS NOT NULL AND (NEW.laboratory_id <> OLD.laboratory_id
         OR NEW.submitted_at IS DISTINCT FROM OLD.submitted_at)) THEN
    RAISE EXCEPTION 'a case keeps its code, clinic and laboratory'
      USING ERRCODE = 'CB002';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER case_keeps_its_parties BEFORE UPDATE ON cases_case
  FOR EACH ROW EXECUTE FUNCTION case_keeps_its_parties();
"""

# Position, previous hash and hash of a timeline entry come from the locked head.
TIMELINE = """
CREATE FUNCTION timeline_append() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE head cases_timelinehead%ROWTYPE;
BEGIN
  INSERT INTO cases_timelinehead (case_id, position, entry_hash)
    VALUES (NEW.case_id, 0, repeat('0', 64)) ON CONFLICT (case_id) DO NOTHING;
  SELECT * INTO head FROM cases_timelinehead WHERE case_id = NEW.case_id FOR UPDATE;
  NEW.position := head.position + 1;
  NEW.prev_hash := head.entry_hash;
  NEW.entry_hash := encode(sha256(convert_to(
    NEW.prev_hash || chr(10) || NEW.position::text || chr(10) || NEW.canonical,
    'UTF8')), 'hex');
  UPDATE cases_timelinehead SET position = NEW.position, entry_hash = NEW.entry_hash
    WHERE case_id = NEW.case_id;
  RETURN NEW;
END $$;
CREATE TRIGGER timeline_append BEFORE INSERT ON cases_timelineentry
  FOR EACH ROW EXECUTE FUNCTION timeline_append();

CREATE FUNCTION never_changed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'CB003';
END $$;
"""

APPEND_ONLY = (
    "cases_timelineentry",
    "cases_signature",
    "cases_check",
    "cases_siteverdict",
    "cases_message",
    "cases_coverage",
    "cases_fitreport",
)

_APPEND_ONLY_SQL = "\n".join(
    f"CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON {table}"
    " FOR EACH ROW EXECUTE FUNCTION never_changed();\n"
    f"CREATE TRIGGER never_emptied BEFORE TRUNCATE ON {table}"
    " FOR EACH STATEMENT EXECUTE FUNCTION never_changed();"
    for table in APPEND_ONLY
)

# What was submitted stays as it was signed.
FROZEN = """
CREATE FUNCTION submitted_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.submitted_at IS NOT NULL THEN
    RAISE EXCEPTION '% was submitted and cannot change', TG_TABLE_NAME
      USING ERRCODE = 'CB003';
  END IF;
  RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
END $$;
CREATE TRIGGER submitted_stays BEFORE UPDATE OR DELETE ON cases_prescription
  FOR EACH ROW EXECUTE FUNCTION submitted_stays();
CREATE TRIGGER submitted_stays BEFORE UPDATE OR DELETE ON cases_unit
  FOR EACH ROW EXECUTE FUNCTION submitted_stays();

CREATE FUNCTION reading_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.submitted_at IS NOT NULL AND (TG_OP = 'DELETE'
     OR (to_jsonb(NEW) - 'superseded_at') <> (to_jsonb(OLD) - 'superseded_at')
     OR OLD.superseded_at IS NOT NULL) THEN
    RAISE EXCEPTION 'a submitted reading cannot change' USING ERRCODE = 'CB003';
  END IF;
  RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
END $$;
CREATE TRIGGER reading_stays BEFORE UPDATE OR DELETE ON cases_reading
  FOR EACH ROW EXECUTE FUNCTION reading_stays();

CREATE FUNCTION work_order_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'DELETE'
     OR (to_jsonb(NEW) - 'status' - 'superseded_at' - 'storage_key' - 'pdf_sha256'
         - 'rendered_at')
        <> (to_jsonb(OLD) - 'status' - 'superseded_at' - 'storage_key'
         - 'pdf_sha256' - 'rendered_at')
     OR OLD.status = 'superseded' AND NEW.status <> 'superseded'
     OR OLD.pdf_sha256 <> '' AND NEW.pdf_sha256 <> OLD.pdf_sha256 THEN
    RAISE EXCEPTION 'a released work order is superseded, never edited'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER work_order_stays BEFORE UPDATE OR DELETE ON cases_workorder
  FOR EACH ROW EXECUTE FUNCTION work_order_stays();
"""

# The release gate of design section 4, as the database sees it.
GATE = """
CREATE FUNCTION gate_reasons(of_case bigint) RETURNS text[] LANGUAGE plpgsql
  SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
  kase cases_case%ROWTYPE;
  made cases_check%ROWTYPE;
  reasons text[] := '{}';
  short text;
BEGIN
  SELECT * INTO kase FROM cases_case WHERE id = of_case FOR UPDATE;
  -- Signed is what the signature's content says: the units, and nothing else.
  IF NOT EXISTS (SELECT 1 FROM cases_prescription p JOIN cases_signature s
      ON s.id = p.signature_id WHERE p.case_id = of_case AND s.case_id = of_case
      AND p.revision = kase.revision AND p.submitted_at IS NOT NULL
      AND p.content = CASE s.purpose WHEN 'prescription' THEN s.content
        WHEN 'answer' THEN s.content -> 'prescription' END
      AND (SELECT jsonb_agg(jsonb_build_array(u.tooth, u.kind, u.material)
             ORDER BY u.tooth) FROM cases_unit u WHERE u.prescription_id = p.id)
        = (SELECT jsonb_agg(jsonb_build_array(t -> 'tooth', t -> 'kind',
             t -> 'material') ORDER BY t ->> 'tooth')
             FROM jsonb_array_elements(p.content -> 'units') t)) THEN
    reasons := reasons || 'prescription not signed'::text;
  END IF;
  IF EXISTS (SELECT 1 FROM cases_flag f WHERE f.case_id = of_case
      AND f.status IN ('open', 'countersign_due')) THEN
    reasons := reasons || 'open query'::text;
  END IF;
  SELECT * INTO made FROM cases_check WHERE id = kase.current_check_id
    AND case_id = of_case AND revision = kase.revision AND round = kase.round
    AND rule_set_digest = kase.rule_set_digest;
  IF NOT FOUND THEN
    RETURN reasons || 'no check of this revision and round'::text;
  END IF;
  SELECT string_agg(u.tooth, ',' ORDER BY u.position) INTO short
    FROM cases_unit u JOIN cases_prescription p ON p.id = u.prescription_id
    WHERE p.case_id = of_case AND p.revision = kase.revision
      AND NOT EXISTS (SELECT 1 FROM cases_siteverdict v
        WHERE v.stored_check_id = made.id AND v.tooth = u.tooth);
  IF short IS NOT NULL THEN
    reasons := reasons || ('tooth without verdict: ' || short);
  END IF;
  SELECT string_agg(v.tooth || ' ' || v.site, ', ' ORDER BY v.tooth, v.site) INTO short
    FROM cases_siteverdict v
    WHERE v.stored_check_id = made.id
      AND v.verdict NOT IN ('sufficient', 'not_applicable')
      AND NOT EXISTS (SELECT 1 FROM cases_coverage g
        WHERE g.case_id = of_case AND g.tooth = v.tooth AND g.site = v.site
          AND g.quantity = v.quantity
          AND g.revision = kase.revision AND g.round = kase.round
          AND g.rule_set_digest = kase.rule_set_digest
          AND g.low_mm IS NOT DISTINCT FROM v.low_mm
          AND g.high_mm IS NOT DISTINCT FROM v.high_mm
          AND (CASE g.kind
            WHEN 'uncertainty' THEN v.verdict = 'undecided' AND v.is_point
              AND v.at_or_above_need
            ELSE EXISTS (SELECT 1 FROM cases_answer a JOIN cases_flag f
              ON f.id = a.flag_id JOIN cases_signature s ON s.id = a.signature_id
              WHERE a.id = g.answer_id AND a.case_id = of_case
              AND f.status = 'settled'
              AND (a.kind = 'reduction_coping' OR (a.kind = 'accept_risk'
                AND a.countersignature_id IS NOT NULL))
              AND s.content @> jsonb_build_object('round', g.round, 'revision',
                g.revision, 'rule_set', g.rule_set_digest, 'question',
                jsonb_build_object('sites', jsonb_build_array(jsonb_build_object(
                'tooth', g.tooth, 'site', g.site, 'quantity', g.quantity,
                'low_mm', g.low_mm::text, 'high_mm', g.high_mm::text)))))
            END));
  IF short IS NOT NULL THEN
    reasons := reasons || ('not sufficient and not covered: ' || short);
  END IF;
  RETURN reasons;
END $$;

CREATE FUNCTION work_order_gate() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE reasons text[]; kase cases_case%ROWTYPE;
BEGIN
  IF NEW.status <> 'active' OR (TG_OP = 'UPDATE' AND OLD.status = 'active') THEN
    RETURN NEW;
  END IF;
  reasons := gate_reasons(NEW.case_id);
  SELECT * INTO kase FROM cases_case WHERE id = NEW.case_id;
  IF NEW.revision <> kase.revision OR NEW.round <> kase.round
     OR NEW.based_on_id IS DISTINCT FROM kase.current_check_id
     OR NEW.laboratory_id <> kase.laboratory_id
     OR NOT EXISTS (SELECT 1 FROM cases_prescription p WHERE p.case_id = NEW.case_id
       AND p.revision = kase.revision
       AND p.signature_id = NEW.prescription_signature_id) THEN
    reasons := reasons || 'work order is not of the current revision and round'::text;
  END IF;
  IF cardinality(reasons) > 0 THEN
    RAISE EXCEPTION 'not releasable: %', array_to_string(reasons, '; ')
      USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER work_order_gate BEFORE INSERT OR UPDATE OF status ON cases_workorder
  FOR EACH ROW EXECUTE FUNCTION work_order_gate();

CREATE FUNCTION flag_locks_case() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
  PERFORM 1 FROM cases_case WHERE id = NEW.case_id FOR UPDATE;
  RETURN NEW;
END $$;
CREATE TRIGGER flag_locks_case BEFORE INSERT OR UPDATE OF status ON cases_flag
  FOR EACH ROW EXECUTE FUNCTION flag_locks_case();

CREATE FUNCTION no_open_flag_while_released() RETURNS trigger LANGUAGE plpgsql
  SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
  IF EXISTS (SELECT 1 FROM cases_flag f WHERE f.case_id = NEW.case_id
        AND f.status IN ('open', 'countersign_due'))
     AND EXISTS (SELECT 1 FROM cases_workorder w WHERE w.case_id = NEW.case_id
        AND w.status = 'active') THEN
    RAISE EXCEPTION 'an open query and an active work order exclude each other'
      USING ERRCODE = 'CB001';
  END IF;
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER no_open_flag_while_released
  AFTER INSERT OR UPDATE ON cases_flag DEFERRABLE INITIALLY DEFERRED
  FOR EACH ROW EXECUTE FUNCTION no_open_flag_while_released();
CREATE CONSTRAINT TRIGGER no_open_flag_while_released
  AFTER INSERT OR UPDATE ON cases_workorder DEFERRABLE INITIALLY DEFERRED
  FOR EACH ROW EXECUTE FUNCTION no_open_flag_while_released();

CREATE FUNCTION case_state_has_its_ground() RETURNS trigger LANGUAGE plpgsql
  SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE reasons text[]; now_state text;
BEGIN
  SELECT state INTO now_state FROM cases_case WHERE id = NEW.id;
  IF now_state = 'cleared' THEN
    reasons := gate_reasons(NEW.id);
    IF cardinality(reasons) > 0 THEN
      RAISE EXCEPTION 'not clearable: %', array_to_string(reasons, '; ')
        USING ERRCODE = 'CB001';
    END IF;
  ELSIF now_state IN ('in_fabrication', 'at_try_in', 'dispatched', 'fitted',
      'not_fitted') AND NOT EXISTS (SELECT 1 FROM cases_workorder w
      WHERE w.case_id = NEW.id AND w.status = 'active') THEN
    RAISE EXCEPTION 'no active work order' USING ERRCODE = 'CB001';
  END IF;
  RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER case_state_has_its_ground
  AFTER UPDATE OF state ON cases_case DEFERRABLE INITIALLY DEFERRED
  FOR EACH ROW EXECUTE FUNCTION case_state_has_its_ground();
"""

# What must be read before a tenant exists: one function each, the minimum.
BEFORE_TENANT = """
CREATE FUNCTION auth_memberships(of_user bigint) RETURNS TABLE (
    membership_id bigint, organisation_id bigint, organisation_code text,
    organisation_name text, kind text, role text, responsible boolean,
    language text, tooth_system text, time_zone text)
  LANGUAGE sql STABLE SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  SELECT m.id, o.id, o.code, o.name, o.kind, m.role, m.responsible_technician,
      o.language, o.tooth_system, o.time_zone
    FROM cases_membership m
    JOIN cases_organisation o ON o.id = m.organisation_id
    JOIN cases_user u ON u.id = m.user_id
    WHERE m.user_id = of_user AND m.ended_at IS NULL AND u.is_active
    ORDER BY o.name, m.role, m.id $$;
CREATE FUNCTION auth_token(of_hash text, at timestamptz) RETURNS TABLE (
    user_id bigint, membership_id bigint)
  LANGUAGE sql STABLE SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  SELECT m.user_id, m.id FROM cases_apitoken t
    JOIN cases_membership m ON m.id = t.membership_id
    WHERE t.token_hash = of_hash AND t.revoked_at IS NULL AND t.expires_at > at
      AND m.ended_at IS NULL $$;
CREATE FUNCTION invitation_by_hash(of_hash text, at timestamptz) RETURNS TABLE (
    organisation_name text, kind text, role text, email text)
  LANGUAGE sql STABLE SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  SELECT o.name, o.kind, i.role, i.email FROM cases_invitation i
    JOIN cases_organisation o ON o.id = i.organisation_id
    WHERE i.token_hash = of_hash AND i.used_at IS NULL AND i.revoked_at IS NULL
      AND i.expires_at > at $$;
CREATE FUNCTION invitation_accept(of_hash text, of_user bigint, at timestamptz)
  RETURNS bigint LANGUAGE plpgsql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE invited cases_invitation%ROWTYPE; made bigint;
BEGIN
  SELECT i.* INTO invited FROM cases_invitation i JOIN cases_user u
    ON u.id = of_user AND u.email = lower(i.email)
    WHERE i.token_hash = of_hash AND i.used_at IS NULL AND i.revoked_at IS NULL
      AND i.expires_at > at FOR UPDATE OF i;
  IF NOT FOUND THEN RETURN NULL; END IF;
  UPDATE cases_invitation SET used_at = at WHERE id = invited.id;
  SELECT m.id INTO made FROM cases_membership m WHERE m.user_id = of_user
    AND m.organisation_id = invited.organisation_id AND m.role = invited.role
    AND m.ended_at IS NULL;
  IF made IS NULL THEN
    INSERT INTO cases_membership (organisation_id, user_id, role,
        responsible_technician, created_at)
      VALUES (invited.organisation_id, of_user, invited.role,
        invited.responsible_technician, at) RETURNING id INTO made;
  END IF;
  RETURN made;
END $$;
CREATE FUNCTION organisation_by_code(of_code text) RETURNS TABLE (
    id bigint, name text, kind text)
  LANGUAGE sql STABLE SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  SELECT o.id, o.name, o.kind FROM cases_organisation o
    WHERE o.code = of_code AND app_org() IS NOT NULL $$;
CREATE FUNCTION work_order_genuine(of_code text, of_digest text) RETURNS text
  LANGUAGE sql STABLE SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  SELECT w.status FROM cases_workorder w
    WHERE w.code = of_code AND w.content_sha256 = of_digest $$;
-- Kept answers hold what a request was told; nobody needs them after a day. The
-- clock is the database's: no caller can make it forget younger ones.
CREATE FUNCTION forget_kept_answers() RETURNS bigint LANGUAGE sql SECURITY DEFINER
  SET search_path = pg_catalog, public, pg_temp AS $$
  WITH gone AS (DELETE FROM cases_idempotencykey
    WHERE created_at < now() - interval '24 hours' RETURNING 1)
  SELECT count(*) FROM gone $$;
REVOKE ALL ON FUNCTION forget_kept_answers() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION forget_kept_answers() TO chairbench_app;
REVOKE ALL ON FUNCTION auth_memberships(bigint), auth_token(text, timestamptz),
  invitation_by_hash(text, timestamptz),
  invitation_accept(text, bigint, timestamptz), organisation_by_code(text),
  work_order_genuine(text, text), gate_reasons(bigint), case_parties(),
  timeline_append(), work_order_gate(), flag_locks_case(),
  no_open_flag_while_released(), case_state_has_its_ground() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION auth_memberships(bigint), auth_token(text, timestamptz),
  invitation_by_hash(text, timestamptz),
  invitation_accept(text, bigint, timestamptz), organisation_by_code(text),
  work_order_genuine(text, text) TO chairbench_app;
"""

SQL = "\n".join(
    [
        FUNCTIONS,
        *(_policy(*row) for row in POLICIES),
        GRANTS,
        PARTIES,
        TIMELINE,
        _APPEND_ONLY_SQL,
        FROZEN,
        GATE,
        GUARDS,
        BEFORE_TENANT,
    ]
)

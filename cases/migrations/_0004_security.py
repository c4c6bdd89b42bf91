"""Policies and guards of migration 0004: remakes, and the facts of the audit."""

from cases.migrations._0001_guards import _own, _side
from cases.migrations._0001_security import _CASE_LAB, _CASE_MINE, _ORG, _policy
from cases.migrations._0004_facts import SQL as FACTS

_PARTY = "(clinic_id = (SELECT app_org()) OR laboratory_id = (SELECT app_org()))"
_REMAKE = "(SELECT r.id FROM cases_remake r WHERE r.id = remake_id) IS NOT NULL"
_REMAKE_CASE = "(SELECT r.case_id FROM cases_remake r WHERE r.id = remake_id)"
_LAB = "laboratory_id = (SELECT app_org())"
# Whoever has a case of the laboratory reads the words of its causes.
_LAB_OR_PARTNER = (
    f"{_LAB} OR EXISTS (SELECT 1 FROM cases_partnership p"
    " WHERE p.laboratory_id = cases_remakecause.laboratory_id"
    " AND p.clinic_id = (SELECT app_org()) AND p.accepted_at IS NOT NULL)"
)
_ACTING = "nullif(current_setting('app.membership', true), '')::bigint"

POLICIES = [
    # Written by triggers alone: the application may only read.
    ("cases_auditfact", _PARTY, "false", None, "SELECT"),
    ("cases_auditquery", _PARTY, "false", None, "SELECT"),
    ("cases_auditmonth", _ORG, "false", None, "SELECT"),
    ("cases_auditmemo", _ORG, _ORG, _ORG, "SELECT, INSERT, UPDATE, DELETE"),
    ("cases_auditsettings", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_auditnote",
        _ORG,
        f"{_ORG} AND {_own('made_by_id')}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    (
        "cases_auditview",
        f"{_ORG} AND membership_id = {_ACTING}",
        f"{_ORG} AND {_own('membership_id')} AND membership_id = {_ACTING}",
        f"{_ORG} AND membership_id = {_ACTING}",
        "SELECT, INSERT, UPDATE, DELETE",
    ),
    ("cases_auditdigest", _ORG, _ORG, None, "SELECT, INSERT"),
    (
        "cases_remakecause",
        _LAB_OR_PARTNER,
        f"{_LAB} AND {_own('made_by_id')}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    (
        "cases_remakestatement",
        _REMAKE,
        f"{_REMAKE} AND {_own('made_by_id')} AND {_side('side')}",
        None,
        "SELECT, INSERT",
    ),
    (
        "cases_remakeloss",
        _ORG,
        f"{_ORG} AND {_REMAKE} AND {_own('made_by_id')}",
        None,
        "SELECT, INSERT",
    ),
    (
        "cases_remakeevidence",
        _REMAKE,
        f"(SELECT a.case_id FROM cases_attachment a WHERE a.id = attachment_id)"
        f" = {_REMAKE_CASE}",
        None,
        "SELECT, INSERT",
    ),
    (
        "cases_remaketrace",
        _REMAKE,
        f"{_own('made_by_id')} AND"
        " (SELECT v.case_id FROM cases_siteverdict v WHERE v.id = site_verdict_id)"
        f" = {_REMAKE_CASE}"
        " AND (answer_id IS NULL OR"
        " (SELECT a.case_id FROM cases_answer a WHERE a.id = answer_id)"
        f" = {_REMAKE_CASE})"
        " AND (coverage_id IS NULL OR"
        " (SELECT g.case_id FROM cases_coverage g WHERE g.id = coverage_id)"
        f" = {_REMAKE_CASE})",
        None,
        "SELECT, INSERT, UPDATE",
    ),
]

# What 0001 left open. The clinic opens a remake with its linked case, the laboratory
# records what it made again itself; neither states anything for the other side, nor
# takes a line back in the name of somebody of the other side.
NARROWED = f"""
CREATE POLICY whose ON cases_remake AS RESTRICTIVE FOR INSERT TO chairbench_app
  WITH CHECK (attribution_clinic = '' AND attribution_laboratory = ''
    AND CASE WHEN internal THEN new_case_id IS NULL AND {_CASE_LAB}
    ELSE {_CASE_MINE} AND (SELECT n.remake_of_id FROM cases_case n
      WHERE n.id = new_case_id) = case_id END);
CREATE POLICY standing ON cases_remaketrace AS RESTRICTIVE FOR INSERT
  TO chairbench_app WITH CHECK (withdrawn_at IS NULL AND withdrawn_by_id IS NULL);
CREATE POLICY withdrawn ON cases_remaketrace AS RESTRICTIVE FOR UPDATE
  TO chairbench_app
  WITH CHECK (withdrawn_by_id IS NOT NULL AND {_own("withdrawn_by_id")});
"""

_DEFINER = "SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp"

GUARDS = f"""
-- The application may not update a remake: the latest statement of a side stands in
-- it, written here alone.
CREATE FUNCTION remake_is_stated() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
BEGIN
  UPDATE cases_remake SET
    attribution_clinic = CASE NEW.side WHEN 'clinic' THEN NEW.attribution
      ELSE attribution_clinic END,
    attribution_laboratory = CASE NEW.side WHEN 'laboratory' THEN NEW.attribution
      ELSE attribution_laboratory END
    WHERE id = NEW.remake_id;
  RETURN NULL;
END $$;
CREATE TRIGGER remake_is_stated AFTER INSERT ON cases_remakestatement
  FOR EACH ROW EXECUTE FUNCTION remake_is_stated();

-- A remake names teeth of its case, and a cause of the list or of its laboratory.
CREATE FUNCTION remake_names_its_own() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
BEGIN
  IF length(NEW.cause) = 10 AND NEW.cause ~ '^[0-9A-Z]{{10}}$' AND NOT EXISTS (
      SELECT 1 FROM cases_remakecause k JOIN cases_case c ON c.id = NEW.case_id
      WHERE k.code = NEW.cause AND k.laboratory_id = c.laboratory_id) THEN
    RAISE EXCEPTION 'a cause belongs to the laboratory of the case'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER remake_names_its_own BEFORE INSERT ON cases_remake
  FOR EACH ROW EXECUTE FUNCTION remake_names_its_own();

CREATE FUNCTION remake_trace_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.withdrawn_at IS NOT NULL
     OR (to_jsonb(NEW) - '{{withdrawn_at,withdrawn_by_id,withdrawn_by_name,withdrawn_reason}}'::text[])
        <> (to_jsonb(OLD) - '{{withdrawn_at,withdrawn_by_id,withdrawn_by_name,withdrawn_reason}}'::text[]) THEN
    RAISE EXCEPTION 'what a remake goes back to is withdrawn, never edited'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER remake_trace_stays BEFORE UPDATE ON cases_remaketrace
  FOR EACH ROW EXECUTE FUNCTION remake_trace_stays();

CREATE FUNCTION audit_note_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.removed_at IS NOT NULL
     OR (to_jsonb(NEW) - 'removed_at') <> (to_jsonb(OLD) - 'removed_at') THEN
    RAISE EXCEPTION 'a note is taken off, never edited' USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER audit_note_stays BEFORE UPDATE ON cases_auditnote
  FOR EACH ROW EXECUTE FUNCTION audit_note_stays();

CREATE FUNCTION remake_cause_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF (to_jsonb(NEW) - 'retired_at') <> (to_jsonb(OLD) - 'retired_at') THEN
    RAISE EXCEPTION 'a cause is retired, never edited' USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER remake_cause_stays BEFORE UPDATE ON cases_remakecause
  FOR EACH ROW EXECUTE FUNCTION remake_cause_stays();

REVOKE ALL ON FUNCTION remake_is_stated(), remake_names_its_own() FROM PUBLIC;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public
  TO chairbench_maintenance;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_maintenance;
"""

SQL = "\n".join([*(_policy(*row) for row in POLICIES), NARROWED, GUARDS, FACTS])

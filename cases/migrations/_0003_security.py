"""Policies and guards of migration 0003: rule sets, impact, instruments, studies."""

from cases.migrations._0001_guards import _own
from cases.migrations._0001_security import _ORG, _policy

_LAB = "laboratory_id = (SELECT app_org())"
_OF_IMPACT = (
    "(SELECT i.id FROM cases_rulesetimpact i WHERE i.id = impact_id) IS NOT NULL"
)
_OF_INSTRUMENT = (
    "(SELECT i.id FROM cases_instrument i WHERE i.id = instrument_id) IS NOT NULL"
)
# A partner in force sees which set its laboratory works by, and nothing of a draft.
_LAB_OR_PARTNER = (
    f"{_LAB} OR EXISTS (SELECT 1 FROM cases_partnership p"
    " WHERE p.laboratory_id = cases_rulesetpublication.laboratory_id"
    " AND p.clinic_id = (SELECT app_org()) AND p.accepted_at IS NOT NULL)"
)

POLICIES = [
    (
        "cases_rulesetdraft",
        _LAB,
        f"{_LAB} AND status = 'editing' AND {_own('created_by_id')}"
        f" AND {_own('edited_by_id')}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    (
        "cases_rulesetpublication",
        _LAB_OR_PARTNER,
        f"{_LAB} AND {_own('published_by_id')}",
        None,
        "SELECT, INSERT",
    ),
    ("cases_rulesetimpact", _LAB, _LAB, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_rulesetimpactcase",
        _OF_IMPACT,
        f"{_OF_IMPACT} AND (SELECT c.id FROM cases_case c WHERE c.id = case_id)"
        " IS NOT NULL",
        _OF_IMPACT,
        "SELECT, INSERT, DELETE",
    ),
    ("cases_instrument", _ORG, _ORG, None, "SELECT, INSERT, UPDATE"),
    (
        "cases_instrumentstrip",
        _OF_INSTRUMENT,
        _OF_INSTRUMENT,
        _OF_INSTRUMENT,
        "SELECT, INSERT, UPDATE, DELETE",
    ),
    (
        "cases_repeatabilitystudy",
        _ORG,
        f"{_ORG} AND {_own('done_by_id')}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
]

_DEFINER = "SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp"

GUARDS = f"""
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON rules_rulesetversion
  FOR EACH ROW EXECUTE FUNCTION never_changed();
CREATE TRIGGER never_emptied BEFORE TRUNCATE ON rules_rulesetversion
  FOR EACH STATEMENT EXECUTE FUNCTION never_changed();
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON cases_rulesetpublication
  FOR EACH ROW EXECUTE FUNCTION never_changed();
CREATE TRIGGER never_emptied BEFORE TRUNCATE ON cases_rulesetpublication
  FOR EACH STATEMENT EXECUTE FUNCTION never_changed();

CREATE FUNCTION rule_set_draft_stays() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
DECLARE editor bigint; approver bigint;
BEGIN
  IF OLD.status IN ('published', 'discarded')
     OR NEW.code <> OLD.code OR NEW.laboratory_id <> OLD.laboratory_id
     OR NEW.created_by_id <> OLD.created_by_id
     OR (OLD.status <> 'editing' AND NEW.status <> 'editing'
         AND (NEW.document, NEW.digest, NEW.name, NEW.label, NEW.edited_by_id)
          IS DISTINCT FROM
          (OLD.document, OLD.digest, OLD.name, OLD.label, OLD.edited_by_id)) THEN
    RAISE EXCEPTION 'a rule set changes only while it is being edited'
      USING ERRCODE = 'CB003';
  END IF;
  IF NEW.status = 'approved' AND OLD.status <> 'approved' THEN
    SELECT user_id INTO editor FROM cases_membership WHERE id = NEW.edited_by_id;
    SELECT user_id INTO approver FROM cases_membership WHERE id = NEW.approved_by_id
      AND organisation_id = NEW.laboratory_id AND role = 'lab_manager'
      AND ended_at IS NULL;
    IF OLD.status <> 'proposed' OR approver IS NULL OR approver = editor THEN
      RAISE EXCEPTION 'a second laboratory manager approves a rule set'
        USING ERRCODE = 'CB001';
    END IF;
  END IF;
  IF NEW.status = 'published' AND OLD.status <> 'approved' THEN
    RAISE EXCEPTION 'only an approved rule set is published' USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER rule_set_draft_stays BEFORE UPDATE ON cases_rulesetdraft
  FOR EACH ROW EXECUTE FUNCTION rule_set_draft_stays();

CREATE FUNCTION publication_is_approved() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
BEGIN
  IF NOT EXISTS (SELECT 1 FROM cases_rulesetdraft d
      JOIN rules_rulesetversion v ON v.digest = d.digest
      WHERE d.id = NEW.draft_id AND d.laboratory_id = NEW.laboratory_id
      AND d.digest = NEW.digest AND d.status = 'approved'
      AND d.effective_from = NEW.effective_from) THEN
    RAISE EXCEPTION 'only an approved rule set is published' USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER publication_is_approved BEFORE INSERT ON cases_rulesetpublication
  FOR EACH ROW EXECUTE FUNCTION publication_is_approved();

CREATE FUNCTION study_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF (to_jsonb(NEW) - 'withdrawn_at') <> (to_jsonb(OLD) - 'withdrawn_at')
     OR (OLD.withdrawn_at IS NOT NULL
         AND NEW.withdrawn_at IS DISTINCT FROM OLD.withdrawn_at) THEN
    RAISE EXCEPTION 'a repeatability study is withdrawn, never edited'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER study_stays BEFORE UPDATE ON cases_repeatabilitystudy
  FOR EACH ROW EXECUTE FUNCTION study_stays();

CREATE OR REPLACE FUNCTION reading_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.submitted_at IS NOT NULL AND (TG_OP = 'DELETE'
     OR (to_jsonb(NEW) - 'superseded_at' - 'stale_at')
        <> (to_jsonb(OLD) - 'superseded_at' - 'stale_at')
     OR OLD.superseded_at IS NOT NULL
     OR (OLD.stale_at IS NOT NULL AND NEW.stale_at IS DISTINCT FROM OLD.stale_at))
  THEN
    RAISE EXCEPTION 'a submitted reading cannot change' USING ERRCODE = 'CB003';
  END IF;
  RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
END $$;

-- What a reading was taken with belongs to the side that took it.
CREATE FUNCTION reading_names_own_instrument() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
BEGIN
  IF NEW.instrument_id IS NOT NULL AND NOT EXISTS (
      SELECT 1 FROM cases_instrument i JOIN cases_case c ON c.id = NEW.case_id
      WHERE i.code = NEW.instrument_id AND i.organisation_id =
        CASE NEW.side WHEN 'clinic' THEN c.clinic_id ELSE c.laboratory_id END) THEN
    RAISE EXCEPTION 'a reading names an instrument of its own side'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER reading_names_own_instrument BEFORE INSERT ON cases_reading
  FOR EACH ROW EXECUTE FUNCTION reading_names_own_instrument();

REVOKE ALL ON FUNCTION rule_set_draft_stays(), publication_is_approved(),
  reading_names_own_instrument() FROM PUBLIC;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public
  TO chairbench_maintenance;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_maintenance;
"""

SQL = "\n".join([*(_policy(*row) for row in POLICIES), GUARDS])

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
_OF_DRAFT = (
    "(SELECT d.laboratory_id FROM cases_rulesetdraft d WHERE d.id = draft_id)"
    " = (SELECT app_org())"
)
# Four eyes are two people: here the person acting counts, not only their side.
_ACTING = "nullif(current_setting('app.membership', true), '')::bigint"
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
        f" AND created_by_id = {_ACTING} AND edited_by_id = {_ACTING}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
    (
        "cases_rulesetpublication",
        _LAB_OR_PARTNER,
        f"{_LAB} AND {_own('published_by_id')} AND published_by_id = {_ACTING}",
        None,
        "SELECT, INSERT",
    ),
    (
        "cases_rulesetimpact",
        _LAB,
        f"{_LAB} AND {_OF_DRAFT}",
        None,
        "SELECT, INSERT, UPDATE",
    ),
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
        f"{_ORG} AND {_own('done_by_id')}"
        f" AND (instrument_id IS NULL OR {_OF_INSTRUMENT})",
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
         AND (NEW.document, NEW.digest, NEW.name, NEW.label, NEW.edited_by_id,
           NEW.edited_by_name, NEW.effective_from) IS DISTINCT FROM
          (OLD.document, OLD.digest, OLD.name, OLD.label, OLD.edited_by_id,
           OLD.edited_by_name, OLD.effective_from))
     OR (OLD.status = 'approved' AND NEW.status IN ('approved', 'published')
         AND (NEW.approved_by_id, NEW.approved_by_name, NEW.approved_at)
          IS DISTINCT FROM
          (OLD.approved_by_id, OLD.approved_by_name, OLD.approved_at)) THEN
    RAISE EXCEPTION 'a rule set changes only while it is being edited'
      USING ERRCODE = 'CB003';
  END IF;
  -- Whoever changes it is its last editor: nobody edits in another's name and then
  -- approves the result.
  IF (NEW.document, NEW.digest, NEW.name, NEW.label, NEW.edited_by_id)
       IS DISTINCT FROM
       (OLD.document, OLD.digest, OLD.name, OLD.label, OLD.edited_by_id)
     AND NEW.edited_by_id IS DISTINCT FROM {_ACTING} THEN
    RAISE EXCEPTION 'a rule set names who edited it' USING ERRCODE = 'CB003';
  END IF;
  IF NEW.status = 'approved' AND OLD.status <> 'approved' THEN
    SELECT user_id INTO editor FROM cases_membership WHERE id = NEW.edited_by_id;
    SELECT user_id INTO approver FROM cases_membership WHERE id = NEW.approved_by_id
      AND organisation_id = NEW.laboratory_id AND role = 'lab_manager'
      AND ended_at IS NULL;
    IF OLD.status <> 'proposed' OR approver IS NULL OR approver = editor
       OR NEW.approved_by_id IS DISTINCT FROM {_ACTING} THEN
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
  -- Locked: nobody returns it to editing meanwhile.
  PERFORM 1 FROM cases_rulesetdraft WHERE id = NEW.draft_id FOR UPDATE;
  IF NOT EXISTS (SELECT 1 FROM cases_rulesetdraft d
      JOIN rules_rulesetversion v ON v.digest = d.digest AND v.payload = d.document
      JOIN cases_organisation o ON o.id = d.laboratory_id
      JOIN cases_membership m ON m.id = NEW.published_by_id
        AND m.organisation_id = o.id AND m.role = 'lab_manager'
        AND m.ended_at IS NULL
      WHERE d.id = NEW.draft_id AND d.laboratory_id = NEW.laboratory_id
      AND d.status = 'approved'
      AND (d.digest, d.name, d.label, d.effective_from, d.edited_by_name,
        d.approved_by_name) = (NEW.digest, NEW.name, NEW.label, NEW.effective_from,
        NEW.edited_by_name, NEW.approved_by_name)
      AND NEW.effective_from
        >= (NEW.published_at AT TIME ZONE o.time_zone)::date) THEN
    RAISE EXCEPTION 'only an approved rule set is published' USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER publication_is_approved BEFORE INSERT ON cases_rulesetpublication
  FOR EACH ROW EXECUTE FUNCTION publication_is_approved();

CREATE FUNCTION impact_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF (NEW.code, NEW.laboratory_id, NEW.draft_id, NEW.digest, NEW.against)
     <> (OLD.code, OLD.laboratory_id, OLD.draft_id, OLD.digest, OLD.against) THEN
    RAISE EXCEPTION 'an impact stays with its draft' USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER impact_stays BEFORE UPDATE ON cases_rulesetimpact
  FOR EACH ROW EXECUTE FUNCTION impact_stays();

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
  IF TG_OP = 'UPDATE' AND (NEW.case_id, NEW.side) <> (OLD.case_id, OLD.side) THEN
    RAISE EXCEPTION 'a reading stays with its case and side' USING ERRCODE = 'CB003';
  END IF;
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
CREATE TRIGGER reading_names_own_instrument
  BEFORE INSERT OR UPDATE OF instrument_id ON cases_reading FOR EACH ROW EXECUTE FUNCTION reading_names_own_instrument();

-- The release gate once more, with what came to be known since: a reading that went
-- stale after a site was covered is not what the cover was given for.
ALTER FUNCTION gate_reasons(bigint) RENAME TO gate_reasons_of_check;
CREATE FUNCTION gate_reasons(of_case bigint) RETURNS text[] LANGUAGE plpgsql
  {_DEFINER} AS $$
DECLARE reasons text[] := gate_reasons_of_check(of_case); short text;
BEGIN
  SELECT string_agg(v.tooth || ' ' || v.site, ', ' ORDER BY v.tooth, v.site) INTO short
    FROM cases_siteverdict v JOIN cases_case k ON k.current_check_id = v.stored_check_id
    WHERE k.id = of_case AND v.verdict NOT IN ('sufficient', 'not_applicable')
      AND EXISTS (SELECT 1 FROM cases_coverage g
        WHERE g.case_id = of_case AND g.tooth = v.tooth AND g.site = v.site
          AND g.quantity = v.quantity AND g.revision = k.revision
          AND g.round = k.round AND g.rule_set_digest = k.rule_set_digest
          AND g.low_mm IS NOT DISTINCT FROM v.low_mm
          AND g.high_mm IS NOT DISTINCT FROM v.high_mm)
      AND NOT EXISTS (SELECT 1 FROM cases_coverage g
        WHERE g.case_id = of_case AND g.tooth = v.tooth AND g.site = v.site
          AND g.quantity = v.quantity AND g.revision = k.revision
          AND g.round = k.round AND g.rule_set_digest = k.rule_set_digest
          AND g.low_mm IS NOT DISTINCT FROM v.low_mm
          AND g.high_mm IS NOT DISTINCT FROM v.high_mm
          AND NOT EXISTS (SELECT 1 FROM cases_reading r WHERE r.case_id = of_case
            AND r.tooth = g.tooth AND r.stale_at >= coalesce((SELECT s.signed_at
              FROM cases_answer a JOIN cases_signature s ON s.id = a.signature_id
              WHERE a.id = g.answer_id), g.given_at)));
  IF short IS NOT NULL THEN
    reasons := reasons || ('covered before its readings went stale: ' || short);
  END IF;
  RETURN reasons;
END $$;

REVOKE ALL ON FUNCTION rule_set_draft_stays(), publication_is_approved(),
  reading_names_own_instrument(), gate_reasons(bigint) FROM PUBLIC;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public
  TO chairbench_maintenance;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_maintenance;
"""

SQL = "\n".join([*(_policy(*row) for row in POLICIES), GUARDS])

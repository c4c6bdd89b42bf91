"""Guards of migration 0001 against a program with a bug, beside the policies.

The policies of ``_0001_security`` say whose rows may be seen and written; these say
what a row may claim: that its author is one of the acting organisation's people,
that it hangs on rows of its own case, that a query is settled by the signed answer
to it and nothing else. What the application's login could still forge is a check
that was never computed: the database knows no rules.
"""

_DEFINER = "SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp"


def _own(column: str) -> str:
    """Return the condition that a membership is the acting organisation's."""
    return f"(SELECT m.id FROM cases_membership m WHERE m.id = {column}) IS NOT NULL"


def _side(column: str) -> str:
    """Return the condition that a side is that of the acting organisation."""
    return (
        "(SELECT o.kind FROM cases_organisation o WHERE o.id = (SELECT app_org()))"
        f" = {column}"
    )


# Table → what an insert must satisfy beside its policy.
ALSO: dict[str, tuple[str, ...]] = {
    "cases_apitoken": (_own("membership_id"),),
    "cases_signinggrant": (_own("membership_id"),),
    "cases_notice": (_own("membership_id"),),
    "cases_case": (_own("created_by_id"), "state = 'draft'"),
    "cases_unit": (
        "(SELECT p.case_id FROM cases_prescription p WHERE p.id = prescription_id)"
        " = cases_unit.case_id",
    ),
    "cases_reading": (_own("taken_by_id"), _side("side")),
    "cases_siteverdict": (
        "(SELECT k.case_id FROM cases_check k WHERE k.id = stored_check_id)"
        " = cases_siteverdict.case_id",
    ),
    "cases_coverage": (
        _own("given_by_id"),
        # Within measuring uncertainty: a technician's decision, never the clinic's.
        "(cases_coverage.kind = 'answer' OR " + _side("'laboratory'") + ")",
    ),
    "cases_signature": (
        "(SELECT m.user_id FROM cases_membership m WHERE m.id = membership_id"
        " AND m.ended_at IS NULL AND m.role = cases_signature.role"
        " AND CASE purpose WHEN 'countersign' THEN m.responsible_technician"
        " ELSE m.role = 'clinician' END) = cases_signature.user_id",
    ),
    "cases_flag": (_own("raised_by_id"), _side("origin")),
    "cases_message": (_own("author_id"), _side("side")),
    "cases_attachment": (_own("uploaded_by_id"), _side("side")),
    "cases_workorder": (_own("released_by_id"),),
    "cases_fitreport": (_own("reported_by_id"),),
    "cases_remake": (_own("recorded_by_id"),),
    "cases_timelineentry": (_own("actor_membership_id"), _side("actor_side")),
}

QUERIES = f"""
CREATE FUNCTION flag_stays() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.status <> 'open' THEN
      RAISE EXCEPTION 'a query begins open' USING ERRCODE = 'CB003';
    END IF;
    RETURN NEW;
  END IF;
  IF OLD.settled_at IS NOT NULL
     OR (to_jsonb(NEW) - 'status' - 'settled_at' - 'withdrawn_reason')
        <> (to_jsonb(OLD) - 'status' - 'settled_at' - 'withdrawn_reason') THEN
    RAISE EXCEPTION 'a query is settled, never edited' USING ERRCODE = 'CB003';
  END IF;
  IF NEW.status = 'settled' AND NOT EXISTS (SELECT 1 FROM cases_answer a
      WHERE a.flag_id = NEW.id AND a.declined_at IS NULL
      AND (a.kind <> 'accept_risk' OR a.countersignature_id IS NOT NULL)) THEN
    RAISE EXCEPTION 'a query is settled by its signed answer'
      USING ERRCODE = 'CB001';
  END IF;
  IF NEW.status = 'withdrawn' AND NOT EXISTS (SELECT 1 FROM cases_case c
      WHERE c.id = NEW.case_id AND (c.state = 'cancelled' OR app_org() =
        CASE NEW.origin WHEN 'clinic' THEN c.clinic_id ELSE c.laboratory_id END))
  THEN
    RAISE EXCEPTION 'a query is withdrawn by the side that asked'
      USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER flag_stays BEFORE INSERT OR UPDATE ON cases_flag
  FOR EACH ROW EXECUTE FUNCTION flag_stays();

CREATE FUNCTION answer_stays() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.countersignature_id IS NOT NULL OR NEW.declined_at IS NOT NULL
       OR NOT EXISTS (SELECT 1 FROM cases_signature s JOIN cases_flag f
         ON f.id = NEW.flag_id WHERE s.id = NEW.signature_id
         AND s.case_id = NEW.case_id AND f.case_id = NEW.case_id
         AND s.purpose = 'answer' AND s.content ->> 'flag' = f.code
         AND s.content ->> 'kind' = NEW.kind) THEN
      RAISE EXCEPTION 'an answer carries the signature under itself'
        USING ERRCODE = 'CB001';
    END IF;
    RETURN NEW;
  END IF;
  IF OLD.countersignature_id IS NOT NULL OR OLD.declined_at IS NOT NULL
     OR (to_jsonb(NEW) - 'countersignature_id' - 'declined_reason'
         - 'declined_by_name' - 'declined_at')
        <> (to_jsonb(OLD) - 'countersignature_id' - 'declined_reason'
         - 'declined_by_name' - 'declined_at') THEN
    RAISE EXCEPTION 'a signed answer cannot change' USING ERRCODE = 'CB003';
  END IF;
  IF NEW.countersignature_id IS NOT NULL AND NOT EXISTS (
      SELECT 1 FROM cases_signature s WHERE s.id = NEW.countersignature_id
      AND s.case_id = NEW.case_id AND s.purpose = 'countersign'
      AND s.content ->> 'answer' = NEW.code) THEN
    RAISE EXCEPTION 'a countersignature is of the answer it stands under'
      USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER answer_stays BEFORE INSERT OR UPDATE ON cases_answer
  FOR EACH ROW EXECUTE FUNCTION answer_stays();
"""

PARTNERS = f"""
CREATE FUNCTION partnership_needs_both() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.accepted_at IS NOT NULL OR NEW.asked_by_id <> app_org()
       OR NEW.asked_by_id NOT IN (NEW.clinic_id, NEW.laboratory_id) THEN
      RAISE EXCEPTION 'one side asks, the other accepts' USING ERRCODE = 'CB002';
    END IF;
    RETURN NEW;
  END IF;
  IF (to_jsonb(NEW) - 'accepted_at' - 'ended_at')
        <> (to_jsonb(OLD) - 'accepted_at' - 'ended_at')
     OR (OLD.ended_at IS NOT NULL AND NEW.ended_at IS DISTINCT FROM OLD.ended_at)
     OR (NEW.accepted_at IS DISTINCT FROM OLD.accepted_at
         AND (OLD.accepted_at IS NOT NULL OR NEW.asked_by_id = app_org())) THEN
    RAISE EXCEPTION 'one side asks, the other accepts' USING ERRCODE = 'CB002';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER partnership_needs_both BEFORE INSERT OR UPDATE ON cases_partnership
  FOR EACH ROW EXECUTE FUNCTION partnership_needs_both();

CREATE FUNCTION case_goes_to_a_partner() RETURNS trigger LANGUAGE plpgsql
  {_DEFINER} AS $$
BEGIN
  IF NOT EXISTS (SELECT 1 FROM cases_partnership p WHERE p.clinic_id = NEW.clinic_id
      AND p.laboratory_id = NEW.laboratory_id
      AND p.accepted_at IS NOT NULL AND p.ended_at IS NULL) THEN
    RAISE EXCEPTION 'no partnership in force' USING ERRCODE = 'CB001';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER case_goes_to_a_partner BEFORE UPDATE ON cases_case FOR EACH ROW
  WHEN (NEW.laboratory_id <> OLD.laboratory_id
    OR (OLD.submitted_at IS NULL AND NEW.submitted_at IS NOT NULL))
  EXECUTE FUNCTION case_goes_to_a_partner();
"""

FILES = f"""
CREATE FUNCTION attachment_stays() RETURNS trigger LANGUAGE plpgsql {_DEFINER} AS $$
BEGIN
  IF (to_jsonb(NEW) - 'message_id' - 'submitted_at')
        <> (to_jsonb(OLD) - 'message_id' - 'submitted_at')
     OR (OLD.message_id IS NOT NULL AND NEW.message_id IS DISTINCT FROM OLD.message_id)
     OR (OLD.submitted_at IS NOT NULL
         AND NEW.submitted_at IS DISTINCT FROM OLD.submitted_at) THEN
    RAISE EXCEPTION 'a file stays as it was added' USING ERRCODE = 'CB003';
  END IF;
  IF NEW.message_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM cases_message m
      WHERE m.id = NEW.message_id AND m.case_id = NEW.case_id
      AND m.internal = NEW.internal) THEN
    RAISE EXCEPTION 'a file belongs to a message of its own case'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER attachment_stays BEFORE UPDATE ON cases_attachment
  FOR EACH ROW EXECUTE FUNCTION attachment_stays();
"""

# The hashed text is what the chain protects, the columns are what is read.
TIMELINE = """
CREATE FUNCTION timeline_says_its_columns() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE said jsonb := NEW.canonical::jsonb;
BEGIN
  IF (said ->> 'case', said ->> 'event', said ->> 'side', said ->> 'before',
      said ->> 'after', said ->> 'content') IS DISTINCT FROM
     ((SELECT c.code::text FROM cases_case c WHERE c.id = NEW.case_id),
      NEW.event::text, NEW.actor_side::text, NEW.state_before::text,
      NEW.state_after::text, NEW.content_commitment::text)
     OR (said ->> 'actor')::bigint IS DISTINCT FROM NEW.actor_membership_id
     OR (said ->> 'internal')::boolean IS DISTINCT FROM NEW.internal
     OR (said ->> 'at')::timestamptz IS DISTINCT FROM NEW.at THEN
    RAISE EXCEPTION 'the hashed text of an entry says its columns'
      USING ERRCODE = 'CB003';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER timeline_says_its_columns BEFORE INSERT ON cases_timelineentry
  FOR EACH ROW EXECUTE FUNCTION timeline_says_its_columns();
"""

_CLOSED = """
REVOKE ALL ON FUNCTION flag_stays(), answer_stays(), case_goes_to_a_partner(),
  attachment_stays() FROM PUBLIC;
"""

GUARDS = "\n".join([QUERIES, PARTNERS, FILES, TIMELINE, _CLOSED])

"""What a program with a bug could write as the application: the database refuses.

Raw SQL in the tenant of one of the parties, past every service. What stays possible
is a check that was never computed: the database knows no rules.
"""

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from cases.errors import Conflict
from cases.lifecycle import AnswerKind
from cases.models import Case, Organisation, Partnership
from cases.services import drafts, outcome, thread
from cases.services.attachments import attachment_add
from cases.services.bench import case_dispatch
from cases.services.submission import case_submit, submission_content
from cases.tenancy import Actor, acting
from tests.play import AT, Play, draft_of, signature_over, sufficient_unit, unit

PDF = b"%PDF-1.4\n%%EOF\n"


def run(statement: str, *values: int | str | None) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall() if cursor.description else []


def refused(who: Actor, statement: str, *values: int | str | None) -> str:
    """Return how the database refuses a statement (its SQLSTATE)."""

    def attempt() -> None:
        with transaction.atomic():
            run(statement, *values)
            run("SET CONSTRAINTS ALL IMMEDIATE")

    with acting(who), pytest.raises(DatabaseError) as error:
        attempt()
    return str(getattr(error.value.__cause__, "sqlstate", ""))


POLICY = "42501"


@pytest.mark.parametrize("who", ["technician", "dentist"])
@pytest.mark.parametrize("status", ["settled", "withdrawn"])
def test_a_query_is_not_settled_by_hand(play: Play, who: str, status: str) -> None:
    flag = play.flag(play.at_check(unit()))
    hand = getattr(play.world, who)
    if (who, status) == ("technician", "withdrawn"):
        return  # the laboratory may take its own query back
    assert (
        refused(
            hand,
            "UPDATE cases_flag SET status = %s, settled_at = now() WHERE id = %s",
            status,
            flag.pk,
        )
        == "CB001"
    )


@pytest.mark.parametrize(
    "change",
    [
        "text = 'Never mind.'",
        "sites = '[]'",
        "origin = 'clinic'",
        "case_id = case_id + 1",
        "revision = 9",
    ],
)
def test_a_query_is_never_edited(play: Play, change: str) -> None:
    flag = play.flag(play.at_check(unit()))
    statement = f"UPDATE cases_flag SET {change} WHERE id = %s"
    assert refused(play.world.technician, statement, flag.pk) == "CB003"


def test_a_settled_query_is_not_opened_again(play: Play) -> None:
    flag = play.flag(play.at_check(unit()))
    play.answer(flag, AnswerKind.RE_MEASURE)
    statement = "UPDATE cases_flag SET status = 'open', settled_at = NULL WHERE id = %s"
    assert refused(play.world.technician, statement, flag.pk) == "CB003"


@pytest.mark.parametrize(
    ("who", "change"),
    [
        ("technician", "kind = 'reduction_coping'"),
        ("dentist", "grounds = 'Something else.'"),
        ("dentist", "countersignature_id = signature_id"),
        ("technician", "countersignature_id = signature_id"),
        ("technician", "flag_id = flag_id + 1"),
    ],
)
def test_a_signed_answer_is_never_edited(play: Play, who: str, change: str) -> None:
    flag = play.flag(play.at_check(unit()))
    answer = play.answer(
        flag, AnswerKind.ACCEPT_RISK, grounds="No other way.", consent=True
    )
    statement = f"UPDATE cases_answer SET {change} WHERE id = %s"
    assert refused(getattr(play.world, who), statement, answer.pk) in {"CB001", "CB003"}


SIGN = """
INSERT INTO cases_signature (case_id, membership_id, user_id, printed_name, role,
  signed_for, purpose, meaning, method, content, content_sha256, signed_at)
VALUES (%s, %s, %s, 'X', %s, '', %s, 'm', 'password', '{}', repeat('0', 64), now())
"""


@pytest.mark.parametrize(
    ("hand", "signer", "purpose"),
    [
        ("assistant", "assistant", "answer"),
        ("assistant", "dentist", "countersign"),
        ("technician", "technician", "countersign"),
        ("technician", "technician", "answer"),
        ("technician", "dentist", "answer"),
        ("responsible", "responsible", "prescription"),
    ],
)
def test_who_may_not_sign_cannot_store_a_signature(
    play: Play, hand: str, signer: str, purpose: str
) -> None:
    case = play.at_check(unit())
    named = getattr(play.world, signer)
    assert (
        refused(
            getattr(play.world, hand),
            SIGN,
            case.pk,
            named.membership_id,
            named.user_id,
            named.role,
            purpose,
        )
        == POLICY
    )


COVER = """
INSERT INTO cases_coverage (code, case_id, kind, tooth, site, quantity, revision, round,
  rule_set_digest, low_mm, high_mm, answer_id, given_by_id, given_by_name, given_at)
SELECT 'F0RGED0000', c.id, %s, v.tooth, v.site, v.quantity, c.revision, c.round,
  c.rule_set_digest, v.low_mm, v.high_mm, %s, %s, 'X', now()
FROM cases_case c JOIN cases_siteverdict v ON v.stored_check_id = c.current_check_id
WHERE c.id = %s AND v.verdict = 'insufficient'
"""


def test_no_other_answer_covers_a_short_site(play: Play) -> None:
    case = play.at_check(unit())
    answer = play.answer(play.flag(case), AnswerKind.RE_MEASURE)
    hand = play.world.technician
    with acting(hand):
        run(COVER, "answer", answer.pk, hand.membership_id, case.pk)
    with pytest.raises(Conflict):
        play.clear(case)
    state = "UPDATE cases_case SET state = 'cleared' WHERE id = %s"
    assert refused(hand, state, case.pk) == "CB001"


def test_the_clinic_clears_nothing_within_uncertainty(play: Play) -> None:
    case = play.at_check(unit())
    hand = play.world.dentist
    assert (
        refused(hand, COVER, "uncertainty", None, hand.membership_id, case.pk) == POLICY
    )


def test_a_unit_nobody_signed_shuts_the_gate(play: Play) -> None:
    case = play.at_check(sufficient_unit())
    with acting(play.world.dentist):
        run(
            "INSERT INTO cases_unit (prescription_id, case_id, position, tooth, kind,"
            " material, occlusal_surface, cementation, span, relation, antagonist,"
            " antagonists, planned_plane, wall_heights_mm, shade, finish_line,"
            " submitted_at) SELECT u.prescription_id, u.case_id, 9, '37', u.kind,"
            " u.material, '', '', '', u.relation, u.antagonist, '[]', false, '{}',"
            " '', '', now() FROM cases_unit u WHERE u.case_id = %s",
            case.pk,
        )
    state = "UPDATE cases_case SET state = 'cleared' WHERE id = %s"
    assert refused(play.world.technician, state, case.pk) == "CB001"


VERDICT = """
INSERT INTO cases_siteverdict (case_id, stored_check_id, tooth, site, quantity, verdict,
  is_point, at_or_above_need) VALUES (%s, %s, '48', 'central_fossa', 'clearance',
  'insufficient', false, false)
"""
UNIT = """
INSERT INTO cases_unit (prescription_id, case_id, position, tooth, kind, material,
  occlusal_surface, cementation, span, relation, antagonist, antagonists,
  planned_plane, wall_heights_mm, shade, finish_line)
VALUES (%s, %s, 9, '37', 'crown', 'metal_ceramic', '', '', '', 'normal', 'natural',
  '[]', false, '{}', '', '')
"""


def outsiders_case(play: Play) -> Case:
    """Return a draft of the other clinic."""
    who = play.world.outsider
    with acting(who):
        laboratory = Organisation.objects.get(pk=play.world.technician.organisation_id)
        return drafts.case_create(
            actor=who, laboratory=laboratory.code, draft=draft_of(unit()), at=AT
        )


def test_nothing_is_hung_on_rows_of_anothers_case(play: Play) -> None:
    case, own = play.at_check(sufficient_unit()), outsiders_case(play)
    with acting(play.world.dentist):
        ((check, prescription),) = run(
            "SELECT c.current_check_id, p.id FROM cases_case c JOIN"
            " cases_prescription p ON p.case_id = c.id WHERE c.id = %s",
            case.pk,
        )
    hand = play.world.outsider
    assert refused(hand, VERDICT, own.pk, check) == POLICY
    assert refused(hand, UNIT, prescription, own.pk) == POLICY


@pytest.mark.parametrize("table", ["apitoken", "signinggrant"])
def test_no_token_or_grant_of_a_foreign_membership(play: Play, table: str) -> None:
    hand, other = play.world.outsider, play.world.dentist
    columns = {
        "apitoken": "name, token_hash, created_at, expires_at",
        "signinggrant": "purpose, target, content_sha256, method, token_hash,"
        " created_at, expires_at",
    }[table]
    values = {
        "apitoken": "'x', 'x', now(), now() + interval '1 day'",
        "signinggrant": "'answer', 'X', 'x', 'password', 'x', now(),"
        " now() + interval '1 minute'",
    }[table]
    statement = (
        f"INSERT INTO cases_{table} (organisation_id, membership_id, {columns})"
        f" VALUES (%s, %s, {values})"
    )
    assert refused(hand, statement, hand.organisation_id, other.membership_id) == POLICY


MESSAGE = """
INSERT INTO cases_message (code, case_id, author_id, author_name, side, internal, body,
  client_id, written_at) VALUES ('F0RGED0001', %s, %s, 'X', %s, false, 'x', 'x', now())
"""


@pytest.mark.parametrize(
    ("author", "side"), [("dentist", "clinic"), ("technician", "clinic")]
)
def test_nobody_writes_in_anothers_name(play: Play, author: str, side: str) -> None:
    case = play.at_check(unit())
    named = getattr(play.world, author)
    assert (
        refused(play.world.technician, MESSAGE, case.pk, named.membership_id, side)
        == POLICY
    )


@pytest.mark.parametrize(
    "change",
    ["internal = true", "storage_key = 'x'", "sha256 = 'x'", "submitted_at = NULL"],
)
def test_the_laboratory_does_not_change_the_clinics_file(
    play: Play, change: str
) -> None:
    case, who = play.at_check(unit()), play.world.dentist
    with acting(who):
        row = attachment_add(
            actor=who, code=case.code, name="a.pdf", content=PDF, internal=False, at=AT
        )
    statement = f"UPDATE cases_attachment SET {change} WHERE id = %s"
    assert refused(play.world.technician, statement, row.pk) == "CB003"


def test_a_file_stays_in_its_own_case(play: Play) -> None:
    one, two, who = play.at_check(unit()), play.at_check(unit()), play.world.dentist
    with acting(who):
        row = attachment_add(
            actor=who, code=one.code, name="a.pdf", content=PDF, internal=False, at=AT
        )
        message = thread.message_post(
            actor=who,
            code=two.code,
            body="Hello",
            internal=False,
            client_id="1",
            attachments=[],
            at=AT,
        )
    statement = "UPDATE cases_attachment SET message_id = %s WHERE id = %s"
    assert refused(who, statement, message.pk, row.pk) == "CB003"


@pytest.mark.parametrize("accepted", ["now()", "NULL"])
def test_nobody_accepts_a_partnership_alone(play: Play, accepted: str) -> None:
    clinic = play.world.dentist
    stranger = play.world.other_laboratory
    ask = (
        "INSERT INTO cases_partnership (clinic_id, laboratory_id, asked_by_id,"
        f" asked_at, accepted_at) VALUES (%s, %s, %s, now(), {accepted})"
    )
    pair = (clinic.organisation_id, stranger.organisation_id)
    if accepted == "now()":
        assert refused(clinic, ask, *pair, clinic.organisation_id) == "CB002"
        assert refused(clinic, ask, *pair, stranger.organisation_id) == "CB002"
        return
    with acting(clinic):
        run(ask, *pair, clinic.organisation_id)
    accept = "UPDATE cases_partnership SET accepted_at = now() WHERE laboratory_id = %s"
    assert refused(clinic, accept, stranger.organisation_id) == "CB002"
    turn = "UPDATE cases_partnership SET asked_by_id = %s WHERE laboratory_id = %s"
    assert refused(clinic, turn, stranger.organisation_id, pair[1]) == "CB002"


def test_a_draft_is_not_turned_to_a_stranger(play: Play) -> None:
    case = play.draft(unit())
    statement = "UPDATE cases_case SET laboratory_id = %s WHERE id = %s"
    stranger = play.world.other_laboratory.organisation_id
    assert refused(play.world.dentist, statement, stranger, case.pk) == "CB001"


def test_a_case_begins_as_a_draft(play: Play) -> None:
    case = play.at_check(unit())
    copy = (
        "INSERT INTO cases_case SELECT (c).* FROM (SELECT jsonb_populate_record("
        "c, jsonb_build_object('id', 999999, 'code', 'F0RGED0002', 'state',"
        " 'dispatched')) AS c FROM cases_case c WHERE c.id = %s) AS copied"
    )
    assert refused(play.world.dentist, copy, case.pk) == POLICY


def _ended(play: Play) -> None:
    """End the partnership of clinic and laboratory, by the laboratory."""
    who = play.world.technician
    with acting(who):
        row = Partnership.objects.get(clinic_id=play.world.dentist.organisation_id)
        row.ended_at = AT
        row.save(update_fields=["ended_at"])


def test_a_draft_is_not_sent_once_the_partnership_ended(play: Play) -> None:
    case, who = play.draft(unit()), play.world.dentist
    _ended(play)
    with acting(who), pytest.raises(Conflict, match="do not work together"):
        case_submit(
            actor=who,
            code=case.code,
            version=None,
            signature=signature_over(submission_content(case)),
            at=AT,
        )
    with acting(play.world.technician):
        assert not Case.objects.filter(pk=case.pk).exists()


def test_no_remake_goes_to_a_laboratory_that_left(play: Play) -> None:
    case, who = play.at_check(sufficient_unit()), play.world.dentist
    play.clear(case)
    play.release(case)
    with acting(play.world.technician):
        case_dispatch(
            actor=play.world.technician, code=case.code, version=None, note="x", at=AT
        )
    with acting(who):
        outcome.fit_report(
            actor=who,
            code=case.code,
            version=None,
            report=outcome.FitInput(fitted=True),
            at=AT,
        )
    _ended(play)
    with acting(who), pytest.raises(Conflict, match="do not work together"):
        outcome.remake_open(
            actor=who,
            code=case.code,
            version=None,
            cause="shade",
            attribution="",
            note="Too light.",
            at=AT,
        )


ENTRY = """
INSERT INTO cases_timelineentry (case_id, position, event, at, actor_membership_id,
  actor_side, state_before, state_after, internal, content_commitment, canonical,
  prev_hash, entry_hash)
SELECT e.case_id, 0, {event}, e.at, {actor}, e.actor_side, e.state_before,
  {after}, e.internal, e.content_commitment, {canonical}, '', ''
FROM cases_timelineentry e WHERE e.case_id = %s AND e.actor_side = 'laboratory'
ORDER BY e.position LIMIT 1
"""
SAME = {
    "event": "e.event",
    "actor": "e.actor_membership_id",
    "after": "e.state_after",
    "canonical": "e.canonical",
}


@pytest.mark.parametrize(
    ("change", "state"),
    [
        ({"event": "'answer_signed'"}, "CB003"),
        ({"after": "'cleared'"}, "CB003"),
        ({"canonical": "'{{}}'"}, "CB003"),
        ({"actor": "(SELECT min(author) FROM (VALUES (1)) AS t (author))"}, None),
    ],
)
def test_an_entry_says_what_is_hashed(
    play: Play, change: dict[str, str], state: str | None
) -> None:
    case = play.at_check(unit())
    statement = ENTRY.format(**{**SAME, **change}).replace("{{}}", "{}")
    found = refused(play.world.technician, statement, case.pk)
    assert found == state if state else found in {"CB003", POLICY}
    assert refused(play.world.dentist, ENTRY.format(**SAME), case.pk) == POLICY


def test_the_released_order_carries_the_signature_in_force(play: Play) -> None:
    one = play.at_check(sufficient_unit())
    two = play.at_check(sufficient_unit())
    play.clear(one)
    hand = play.world.technician
    with acting(hand):
        ((foreign,),) = run("SELECT id FROM cases_signature WHERE case_id = %s", two.pk)
    order = (
        "INSERT INTO cases_workorder (code, case_id, laboratory_id, number, revision,"
        " round, based_on_id, prescription_signature_id, content, content_sha256,"
        " status, released_by_id, released_at, storage_key, pdf_sha256) SELECT"
        " 'F0RGED0003', c.id, c.laboratory_id, 77, c.revision, c.round,"
        " c.current_check_id, %s, '{}', 'x', 'active', %s, now(), '', ''"
        " FROM cases_case c WHERE c.id = %s"
    )
    assert refused(hand, order, foreign, hand.membership_id, one.pk) == "CB001"

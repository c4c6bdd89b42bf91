"""Four eyes, impact, studies and readings against a program that writes past services.

Raw SQL as the application's login, in the tenant and membership of a real person.
"""

from datetime import timedelta

import pytest

from cases.errors import Conflict, Invalid
from cases.models import Partnership, RuleSetDraft
from cases.selectors.check_catalog import rule_set_at
from cases.selectors.rule_sets import publication_list
from cases.services import rule_sets
from cases.tenancy import Actor, acting
from tests.cases.services.test_instruments import save
from tests.cases.services.test_rule_sets import (
    act,
    copied,
    first,
    manager,
    proposed,
    published,
    second,
)
from tests.cases.test_rule_set_guards import PUBLISH, VERSION, refused, run
from tests.play import AT, Play, unit

__all__ = ["first", "second"]

POLICY = "42501"


def approved(first: Actor, second: Actor) -> RuleSetDraft:
    draft = proposed(first)
    act(second, rule_sets.draft_approve, draft.code)
    with acting(first):
        return RuleSetDraft.objects.get(pk=draft.pk)


APPROVE = """
UPDATE cases_rulesetdraft SET status = 'approved', approved_by_id = %s,
  approved_by_name = 'Second', approved_at = now() WHERE code = %s
"""


def test_nobody_approves_in_anothers_name(first: Actor, second: Actor):
    draft = proposed(first)
    values: list[int | str] = [second.membership_id, draft.code]
    assert refused(first, APPROVE, values) == "CB001"
    assert run(second, APPROVE, values) == 1


def test_nobody_edits_in_anothers_name(first: Actor, second: Actor):
    draft = copied(first, "x")
    hand_over = "UPDATE cases_rulesetdraft SET edited_by_id = %s WHERE code = %s"
    # The first manager wants to approve what he wrote: it must not be the second's.
    assert refused(first, hand_over, [second.membership_id, draft.code]) == "CB003"
    written = "UPDATE cases_rulesetdraft SET document = '{}' WHERE code = %s"
    assert refused(second, written, [draft.code]) == "CB003"


BEGIN = """
INSERT INTO cases_rulesetdraft (code, laboratory_id, based_on, name, label, document,
  digest, version, status, note, created_by_id, created_by_name, created_at,
  edited_by_id, edited_by_name, edited_at, approved_by_name)
VALUES ('F0RGED0003', %s, '', 'n', 'l', '{}', '', 1, 'editing', '', %s, 'n', now(),
  %s, 'n', now(), '')
"""


def test_nobody_begins_a_draft_in_anothers_name(first: Actor, second: Actor):
    own, other, laboratory = (
        first.membership_id,
        second.membership_id,
        first.organisation_id,
    )
    assert refused(first, BEGIN, [laboratory, own, other]) == POLICY
    assert refused(first, BEGIN, [laboratory, other, own]) == POLICY
    assert run(first, BEGIN, [laboratory, own, own]) == 1


@pytest.mark.parametrize(
    "change",
    [
        "effective_from = effective_from + 1",
        "approved_by_id = %(first)s",
        "approved_by_name = 'Somebody'",
        "approved_at = now()",
        "edited_by_name = 'Somebody'",
    ],
)
def test_an_approval_holds_what_it_was_given_for(
    first: Actor, second: Actor, change: str
):
    draft = approved(first, second)
    query = f"UPDATE cases_rulesetdraft SET {change % vars_of(first)} WHERE code = %s"
    assert refused(second, query, [draft.code]) == "CB003"


def vars_of(first: Actor) -> dict[str, int]:
    return {"first": first.membership_id}


def test_the_day_does_not_change_while_somebody_approves(first: Actor):
    draft = proposed(first)
    query = "UPDATE cases_rulesetdraft SET effective_from = '2020-01-01'"
    assert refused(first, f"{query} WHERE code = %s", [draft.code]) == "CB003"


def test_only_a_manager_publishes_and_only_for_the_future(
    first: Actor, second: Actor, play: Play
):
    draft = approved(first, second)
    run(first, VERSION, [draft.code])
    technician = play.world.technician
    values: list[int | str] = [technician.membership_id, draft.code]
    assert refused(technician, PUBLISH, values) == "CB001"
    # In the name of somebody else.
    assert refused(first, PUBLISH, [second.membership_id, draft.code]) == POLICY
    late = PUBLISH.replace(
        "coalesce(approved_at, now())", "(effective_from + 2)::timestamptz"
    )
    own: list[int | str] = [first.membership_id, draft.code]
    assert refused(first, late, own) == "CB001"
    unnamed = PUBLISH.replace("approved_by_name, %s", "'Nobody', %s")
    assert refused(first, unnamed, own) == "CB001"
    assert run(first, PUBLISH, own) == 1


def test_a_set_stored_under_a_wrong_digest_is_not_published(
    first: Actor, second: Actor, play: Play
):
    """Another laboratory cannot put a text of its own under the digest to come."""
    draft = approved(first, second)
    poison = VERSION.replace("document, now()", "'{\"needs\": []}', now()")
    run(first, poison, [draft.code])
    assert refused(first, PUBLISH, [first.membership_id, draft.code]) == "CB001"


IMPACT = """
INSERT INTO cases_rulesetimpact (code, laboratory_id, draft_id, digest, against, status,
  document, since, total, done, changed, lanes, started_by_name, started_at)
VALUES ('F0RGED0004', %s, %s, '', '', 'running', '{}', now(), 0, 0, 0, '{}', 'n', now())
"""


def test_an_impact_is_of_an_own_draft_and_of_own_cases(
    first: Actor, second: Actor, play: Play
):
    draft = copied(first, "x")
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    mine, foreign = stranger.organisation_id, first.organisation_id
    assert refused(stranger, IMPACT, [mine, draft.pk]) == POLICY
    assert refused(stranger, IMPACT, [foreign, draft.pk]) == POLICY
    other = copied(stranger, "y")
    run(stranger, IMPACT, [mine, other.pk])
    turned = "UPDATE cases_rulesetimpact SET draft_id = %s"
    assert refused(stranger, turned, [draft.pk]) == "CB003"
    case = play.at_check(unit())
    hung = (
        "INSERT INTO cases_rulesetimpactcase (impact_id, case_id, is_open, before,"
        " after, sites) SELECT id, %s, true, '', '', '[]' FROM cases_rulesetimpact"
    )
    assert refused(stranger, hung, [case.pk]) == POLICY


STUDY = """
INSERT INTO cases_repeatabilitystudy (code, organisation_id, method, instrument_id,
  object_note, values, count, repeatability_mm, u_mm, done_by_id, done_by_name, done_at)
VALUES ('F0RGED0005', %s, 'wax_caliper', %s, 'x', '[]', 10, 0.01, 0.01, %s, 'x', now())
"""


def test_a_study_is_of_an_own_instrument(play: Play):
    dentist, technician = play.world.dentist, play.world.technician
    foreign = save(technician, label="Of the laboratory")
    own = save(dentist, label="Of the clinic")
    values = [dentist.organisation_id, foreign.pk, dentist.membership_id]
    assert refused(dentist, STUDY, values) == POLICY
    assert run(dentist, STUDY, [values[0], own.pk, values[2]]) == 1


@pytest.mark.parametrize(
    ("change", "state"),
    [
        ("instrument_id = %s", "CB003"),
        ("side = 'laboratory', note = %s", "CB003"),
    ],
)
def test_a_draft_reading_takes_no_others_side_or_instrument(
    play: Play, change: str, state: str
):
    foreign = save(play.world.technician, label="Of the laboratory").code
    case = play.draft(unit())
    query = f"UPDATE cases_reading SET {change} WHERE case_id = %s"
    assert refused(play.world.dentist, query, [foreign, case.pk]) == state


def test_a_stranger_marks_no_reading_stale(play: Play):
    case = play.at_check(unit())
    query = "UPDATE cases_reading SET stale_at = now() WHERE case_id = %s"
    for stranger in (play.world.outsider, play.world.other_laboratory):
        assert run(stranger, query, [case.pk]) == 0
    assert run(play.world.dentist, query, [case.pk]) > 0
    back = "UPDATE cases_reading SET stale_at = NULL WHERE case_id = %s"
    assert refused(play.world.technician, back, [case.pk]) == "CB003"


def parted(play: Play) -> None:
    """End the partnership of clinic A and laboratory L."""
    who = play.world.technician
    with acting(who):
        row = Partnership.objects.get(clinic_id=play.world.dentist.organisation_id)
        row.ended_at = AT
        row.save(update_fields=["ended_at"])


def asked(who: Actor, digest: str) -> str:
    """Return the digest of the set that answers, or why none does."""
    with acting(who):
        try:
            return rule_set_at(actor=who, at=AT, digest=digest).digest
        except Invalid as error:
            return error.fields[0].message


def test_a_digest_opens_no_strangers_set(first: Actor, second: Actor, play: Play):
    made = published(first, second)
    unknown = asked(play.world.dentist, "0" * 64)
    assert asked(play.world.technician, made.digest) == made.digest
    assert asked(play.world.dentist, made.digest) == made.digest
    assert asked(play.world.other_laboratory, made.digest) == unknown
    assert asked(play.world.other_laboratory, "\0" * 64) == unknown
    # Its cases with the laboratory were judged by it.
    parted(play)
    assert asked(play.world.dentist, made.digest) == made.digest


def test_who_parted_reads_nothing_published_since(
    first: Actor, second: Actor, play: Play
):
    clinic, code = play.world.dentist, play.world.technician.organisation_code
    made = published(first, second)

    def seen(who: Actor) -> list[str]:
        with acting(who):
            rows = publication_list(actor=who, laboratory=code)
            return [row.digest for row in rows]

    assert seen(clinic) == [made.digest]
    parted(play)
    assert seen(clinic) == [made.digest]
    later = AT + timedelta(days=2)
    draft = copied(first, "2026-2")
    day = later.date()
    act(
        first,
        rule_sets.draft_propose,
        draft.code,
        effective_from=day,
        note="",
        at=later,
    )
    act(second, rule_sets.draft_approve, draft.code, at=later)
    after = act(first, rule_sets.draft_publish, draft.code, at=later)
    assert seen(clinic) == [made.digest]
    assert seen(play.world.outsider) == [after.digest, made.digest]


def test_a_poisoned_version_is_refused_before_it_is_in_force(
    first: Actor, second: Actor
):
    draft = approved(first, second)
    run(
        first,
        VERSION.replace("document, now()", "'{\"needs\": []}', now()"),
        [draft.code],
    )
    with pytest.raises(Conflict, match="Another text"):
        act(first, rule_sets.draft_publish, draft.code)


@pytest.mark.parametrize("text", ["1.0\u202e0.1", "a\u2066b"])
def test_no_note_turns_the_reading_direction(first: Actor, second: Actor, text: str):
    draft = copied(first, "x")
    day, propose = AT.date(), rule_sets.draft_propose
    with pytest.raises(Invalid) as refusal:
        act(first, propose, draft.code, note=text, effective_from=day)
    assert refusal.value.fields[0].pointer == "/note"
    act(first, propose, draft.code, note="", effective_from=day)
    with pytest.raises(Invalid) as refusal:
        act(second, rule_sets.draft_return, draft.code, reason=text)
    assert refusal.value.fields[0].pointer == "/reason"

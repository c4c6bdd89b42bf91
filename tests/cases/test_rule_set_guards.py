"""What the database alone refuses of rule sets, by raw SQL as the application."""

from collections.abc import Sequence

import psycopg
import pytest
from django.db import DatabaseError, connection, transaction

from cases.models import RuleSetDraft
from cases.services import rule_sets
from cases.tenancy import Actor, acting
from tests.cases.services.test_rule_sets import (
    act,
    copied,
    first,
    manager,
    proposed,
    published,
    second,
)
from tests.database import superuser
from tests.play import Play

__all__ = ["first", "second"]


def run(who: Actor, query: str, values: Sequence[int | str] = ()) -> int:
    with acting(who), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(query, list(values))
        return cursor.rowcount


def rows(who: Actor, query: str, values: Sequence[int | str] = ()) -> list[tuple]:
    with acting(who), connection.cursor() as cursor:
        cursor.execute(query, list(values))
        return cursor.fetchall()


def refused(who: Actor, query: str, values: Sequence[int | str] = ()) -> str:
    """Return the SQLSTATE a statement is refused with."""
    with pytest.raises(DatabaseError) as caught:
        run(who, query, values)
    return str(getattr(caught.value.__cause__, "sqlstate", ""))


@pytest.mark.parametrize(
    "query",
    [
        "UPDATE rules_rulesetversion SET payload = '{}'",
        "DELETE FROM rules_rulesetversion",
        "UPDATE cases_rulesetpublication SET effective_from = '2020-01-01'",
        "DELETE FROM cases_rulesetpublication",
        "TRUNCATE rules_rulesetversion",
        "TRUNCATE cases_rulesetpublication",
    ],
)
def test_a_published_set_cannot_change_by_any_statement(
    first: Actor, second: Actor, query: str
):
    published(first, second)
    # The application may not even ask.
    assert refused(first, query) == "42501"


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    "query",
    [
        "UPDATE rules_rulesetversion SET payload = '{}'",
        "DELETE FROM rules_rulesetversion",
        "TRUNCATE rules_rulesetversion",
        "UPDATE cases_rulesetpublication SET effective_from = '2020-01-01'",
        "DELETE FROM cases_rulesetpublication",
        "TRUNCATE cases_rulesetpublication",
    ],
)
def test_the_trigger_stops_even_whoever_passes_every_privilege(
    first: Actor, second: Actor, query: str
):
    made = published(first, second)
    with superuser() as raw:
        with pytest.raises(psycopg.Error, match="is append-only") as caught:
            raw.execute(query)
        assert caught.value.sqlstate == "CB003"
        raw.rollback()
        stands = raw.execute(
            "SELECT count(*) FROM rules_rulesetversion WHERE digest = %s"
            " AND payload <> '{}'",
            [made.digest],
        ).fetchone()
    assert stands == (1,)


PUBLISH = """
INSERT INTO cases_rulesetpublication (laboratory_id, draft_id, digest, name, label,
  effective_from, edited_by_name, approved_by_name, published_by_id,
  published_by_name, published_at)
SELECT laboratory_id, id, digest, name, label, coalesce(effective_from, '2026-03-02'),
  edited_by_name, approved_by_name, %s, 'Forged', coalesce(approved_at, now())
FROM cases_rulesetdraft WHERE code = %s
"""
VERSION = """
INSERT INTO rules_rulesetversion (digest, name, version, payload, published_at)
SELECT digest, name, label, document, now() FROM cases_rulesetdraft WHERE code = %s
"""


def test_a_draft_that_is_not_approved_cannot_be_published(first: Actor):
    for draft in (copied(first, "a"), proposed(first, label="b")):
        run(first, VERSION, [draft.code])
        assert refused(first, PUBLISH, [first.membership_id, draft.code]) == "CB001"
        assert refused(
            first,
            "UPDATE cases_rulesetdraft SET status = 'published', approved_by_id = %s,"
            " effective_from = '2026-03-02' WHERE code = %s",
            [_other_membership(first), draft.code],
        ) in ("CB001", "CB003")


def _other_membership(who: Actor) -> int:
    return rows(
        who,
        "SELECT id FROM cases_membership WHERE organisation_id = %s AND id <> %s"
        " ORDER BY id LIMIT 1",
        [who.organisation_id, who.membership_id],
    )[0][0]


def test_an_approved_draft_is_published_only_as_it_was_approved(
    first: Actor, second: Actor
):
    draft = proposed(first)
    act(second, rule_sets.draft_approve, draft.code)
    # Its content was never stored as a version.
    assert refused(first, PUBLISH, [first.membership_id, draft.code]) == "CB001"
    run(first, VERSION, [draft.code])
    early = PUBLISH.replace(
        "coalesce(effective_from, '2026-03-02')", "effective_from - 1"
    )
    assert refused(first, early, [first.membership_id, draft.code]) == "CB001"
    assert run(first, PUBLISH, [first.membership_id, draft.code]) == 1


APPROVE = """
UPDATE cases_rulesetdraft SET status = 'approved', approved_by_id = %s,
  approved_by_name = 'Forged', approved_at = now() WHERE code = %s
"""


def test_the_database_asks_for_a_second_person_too(
    first: Actor, second: Actor, play: Play
):
    draft = proposed(first)
    # The editor: the check constraint and the trigger both say no.
    assert refused(first, APPROVE, [first.membership_id, draft.code]) == "CB001"
    # A technician of the laboratory is no manager.
    technician = play.world.technician.membership_id
    assert refused(first, APPROVE, [technician, draft.code]) == "CB001"
    # A manager of another laboratory.
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    assert refused(first, APPROVE, [stranger.membership_id, draft.code]) == "CB001"
    assert run(second, APPROVE, [second.membership_id, draft.code]) == 1


@pytest.mark.parametrize(
    "change",
    [
        "document = '{}'",
        "digest = repeat('0', 64)",
        "name = 'Another'",
        "label = 'Another'",
    ],
)
def test_what_was_approved_does_not_change_under_its_approval(
    first: Actor, second: Actor, change: str
):
    draft = proposed(first)
    act(second, rule_sets.draft_approve, draft.code)
    query = f"UPDATE cases_rulesetdraft SET {change} WHERE code = %s"
    assert refused(first, query, [draft.code]) == "CB003"


def test_a_published_or_discarded_draft_stays(first: Actor, second: Actor):
    made = published(first, second)
    put_aside = copied(first, "x")
    with acting(first):
        rule_sets.draft_discard(actor=first, code=put_aside.code, version=None)
    for code in (made.draft.code, put_aside.code):
        assert (
            refused(
                first,
                "UPDATE cases_rulesetdraft SET status = 'editing' WHERE code = %s",
                [code],
            )
            == "CB003"
        )
    assert (
        refused(first, "DELETE FROM cases_rulesetdraft WHERE code = %s", ["x"])
        == "42501"
    )


def test_another_laboratory_reaches_no_row(first: Actor, second: Actor, play: Play):
    made = published(first, second)
    draft = copied(first, "next")
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    for table in ("cases_rulesetdraft", "cases_rulesetpublication"):
        assert rows(stranger, f"SELECT count(*) FROM {table}") == [(0,)]
    assert run(stranger, "UPDATE cases_rulesetdraft SET name = 'Mine'") == 0
    assert run(stranger, PUBLISH, [stranger.membership_id, made.draft.code]) == 0
    forged = (
        "INSERT INTO cases_rulesetdraft (code, laboratory_id, based_on, name, label,"
        " document, digest, version, status, note, created_by_id, created_by_name,"
        " created_at, edited_by_id, edited_by_name, edited_at, approved_by_name)"
        " VALUES ('FORGED0001', %s, '', 'n', 'l', '{}', '', 1, 'editing', '', %s, 'n',"
        " now(), %s, 'n', now(), '')"
    )
    member = stranger.membership_id
    assert refused(stranger, forged, [first.organisation_id, member, member]) == "42501"
    with acting(first):
        assert RuleSetDraft.objects.get(pk=draft.pk).name == "Laboratory L"


def test_a_partner_clinic_sees_what_is_in_force_and_nothing_of_a_draft(
    first: Actor, second: Actor, play: Play
):
    made = published(first, second)
    copied(first, "next")
    clinic = play.world.dentist
    assert rows(clinic, "SELECT digest FROM cases_rulesetpublication") == [
        (made.digest,)
    ]
    assert rows(clinic, "SELECT count(*) FROM cases_rulesetdraft") == [(0,)]
    assert rows(clinic, "SELECT count(*) FROM cases_rulesetimpact") == [(0,)]
    assert refused(clinic, "DELETE FROM cases_rulesetpublication") == "42501"

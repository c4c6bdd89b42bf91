"""A rule set from copy to force: copied, edited, approved by a second, published."""

import json
import threading
import time
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connections

from cases.enums import DraftStatus, Role
from cases.errors import Conflict, Invalid, NotAllowed, NotFound, StaleVersion
from cases.models import (
    Membership,
    Notice,
    Organisation,
    OutboxRow,
    RuleSetDraft,
    RuleSetPublication,
)
from cases.selectors import rule_sets as selectors
from cases.selectors.check_catalog import digest_now
from cases.services import rule_sets
from cases.tenancy import Actor, acting, tenant
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.models import RuleSetVersion
from tests import factories
from tests.database import superuser
from tests.play import AT, Play

TODAY = AT.date()


def manager(laboratory_id: int, name: str) -> Actor:
    with tenant(laboratory_id):
        row = Organisation.objects.get(pk=laboratory_id)
    user = factories.make_user(f"{name}.{laboratory_id}@example.org", name)
    return factories.actor_of(factories.make_membership(row, user, Role.LAB_MANAGER))


@pytest.fixture
def first(play: Play) -> Actor:
    return manager(play.world.technician.organisation_id, "First")


@pytest.fixture
def second(play: Play) -> Actor:
    return manager(play.world.technician.organisation_id, "Second")


def act(who: Actor, command, code: str, version: int | None = None, **values):
    with acting(who):
        values.setdefault("at", AT)
        return command(actor=who, code=code, version=version, **values)


def copied(who: Actor, label: str = "2026-1", digest: str = "") -> RuleSetDraft:
    with acting(who):
        return rule_sets.draft_copy(
            actor=who, digest=digest, name="Laboratory L", label=label, at=AT
        )


def proposed(who: Actor, *, label: str = "2026-1", day: date = TODAY) -> RuleSetDraft:
    draft = copied(who, label)
    return act(
        who, rule_sets.draft_propose, draft.code, effective_from=day, note="Please."
    )


def published(
    who: Actor, other: Actor, *, label: str = "2026-1", day: date = TODAY
) -> RuleSetPublication:
    draft = proposed(who, label=label, day=day)
    act(other, rule_sets.draft_approve, draft.code)
    return act(who, rule_sets.draft_publish, draft.code)


def fresh(who: Actor, draft: RuleSetDraft) -> RuleSetDraft:
    with acting(who):
        return RuleSetDraft.objects.get(pk=draft.pk)


def told(who: Actor) -> list[tuple[str, int | None]]:
    with acting(who):
        rows = OutboxRow.objects.filter(
            organisation_id=who.organisation_id, kind__startswith="rule_set"
        )
        return [
            (row.kind, row.payload.get("user"))
            for row in rows.order_by("created_at", "dedupe_key")
        ]


def test_a_copy_holds_what_the_set_in_force_holds_under_its_own_name(first: Actor):
    draft = copied(first)
    with acting(first):
        assert selectors.draft_get(actor=first, code=draft.code) == draft
    assert (draft.status, draft.version) == (DraftStatus.EDITING, 1)
    assert draft.based_on == shipped_rule_set().digest
    kept = selectors.draft_rule_set(draft)
    assert kept.needs == shipped_rule_set().needs
    assert (kept.name, kept.version) == ("Laboratory L", "2026-1")
    assert draft.digest == kept.digest != shipped_rule_set().digest
    assert draft.document == json.loads(kept.canonical)


def test_a_copy_without_name_or_label_is_refused_with_both(first: Actor):
    with acting(first), pytest.raises(Invalid) as refused:
        rule_sets.draft_copy(actor=first, digest="", name="", label=" ", at=AT)
    assert {f.pointer for f in refused.value.fields} == {"/name", "/label"}
    with acting(first):
        assert RuleSetDraft.objects.count() == 0


def test_a_copy_of_what_was_never_in_force_here_is_not_found(
    first: Actor, second: Actor, play: Play
):
    elsewhere = play.world.other_laboratory.organisation_id
    strangers = manager(elsewhere, "Third"), manager(elsewhere, "Fourth")
    theirs = published(*strangers)
    with acting(first):
        for digest in (theirs.digest, "0" * 64, "no digest"):
            with pytest.raises(NotFound):
                rule_sets.draft_copy(
                    actor=first, digest=digest, name="X", label="1", at=AT
                )
    ours = published(first, second)
    assert copied(second, "2026-2", ours.digest).based_on == ours.digest


def test_only_a_laboratory_manager_keeps_rule_sets(first: Actor, play: Play):
    draft = copied(first)
    with acting(play.world.technician):
        for call in (
            lambda who: copied(who),
            lambda who: rule_sets.draft_import(actor=who, document="", at=AT),
            lambda who: selectors.draft_list(actor=who),
            lambda who: selectors.draft_get(actor=who, code=draft.code),
        ):
            with pytest.raises(NotAllowed):
                call(play.world.technician)
    with pytest.raises(NotAllowed):
        copied(play.world.dentist)
    with pytest.raises(NotAllowed):
        act(
            play.world.technician,
            rule_sets.draft_propose,
            draft.code,
            effective_from=TODAY,
            note="",
        )


def test_another_laboratory_and_a_clinic_find_no_draft(first: Actor, play: Play):
    draft = copied(first)
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    for who in (stranger, play.world.dentist):
        with acting(who):
            with pytest.raises(NotFound):
                selectors.draft_get(actor=who, code=draft.code)
            with pytest.raises(NotFound):
                rule_sets.draft_discard(actor=who, code=draft.code, version=None)
    with acting(stranger):
        assert list(selectors.draft_list(actor=stranger)) == []


def test_a_stale_version_changes_nothing(first: Actor):
    draft = copied(first)
    with pytest.raises(StaleVersion) as refused:
        act(first, rule_sets.draft_charges_save, draft.code, 7, charges=[])
    assert refused.value.current == 1
    assert "rule set" in refused.value.text()


def test_the_editor_does_not_approve_and_is_told_who_must(first: Actor, play: Play):
    draft = proposed(first)
    with pytest.raises(Conflict) as refused:
        act(first, rule_sets.draft_approve, draft.code)
    assert "Invite another laboratory manager" in refused.value.text()
    manager(play.world.technician.organisation_id, "Second")
    with pytest.raises(Conflict) as refused:
        act(first, rule_sets.draft_approve, draft.code)
    assert "Another laboratory manager has to approve" in refused.value.text()
    assert fresh(first, draft).status == DraftStatus.PROPOSED


def test_a_second_membership_does_not_make_a_second_person(first: Actor):
    draft = proposed(first)
    with acting(first):
        row = Organisation.objects.get(pk=first.organisation_id)
        # As if the person edited as one member and came back as another.
        membership = RuleSetDraft.objects.get(pk=draft.pk).edited_by
    again = factories.make_membership(row, membership.user, Role.TECHNICIAN)
    act(first, rule_sets.draft_return, draft.code, reason="Edit it as another.")
    with acting(factories.actor_of(again)):
        RuleSetDraft.objects.filter(pk=draft.pk).update(edited_by=again)
    act(first, rule_sets.draft_propose, draft.code, effective_from=TODAY, note="")
    with pytest.raises(Conflict):
        act(first, rule_sets.draft_approve, draft.code)


def test_approval_then_publication_puts_it_in_force(first: Actor, second: Actor):
    made = published(first, second)
    assert (made.edited_by_name, made.approved_by_name, made.published_by_name) == (
        "First",
        "Second",
        "First",
    )
    row = RuleSetVersion.objects.get(digest=made.digest)
    assert (row.name, row.version) == ("Laboratory L", "2026-1")
    assert ruleset_by_digest(made.digest).version == "2026-1"
    with acting(first):
        laboratory = Organisation.objects.get(pk=first.organisation_id)
        assert digest_now(laboratory, at=AT) == made.digest
        draft = RuleSetDraft.objects.get(pk=made.draft_id)
        assert draft.status == DraftStatus.PUBLISHED
        assert list(selectors.draft_list(actor=first)) == []
        assert list(selectors.draft_list(actor=first, ended=True)) == [draft]


def test_a_set_holds_from_its_day_in_the_laboratory_on(first: Actor, second: Actor):
    with acting(first):
        Organisation.objects.filter(pk=first.organisation_id).update(
            time_zone="Pacific/Auckland"
        )
    first = factories.actor_of(_membership(first))
    # 12:00 UTC is past midnight in Auckland already: its today is tomorrow's date.
    late = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    draft = copied(first)
    with pytest.raises(Invalid) as refused:
        act(
            first,
            rule_sets.draft_propose,
            draft.code,
            effective_from=late.date(),
            note="",
            at=late,
        )
    assert [f.pointer for f in refused.value.fields] == ["/effective_from"]
    day = late.date() + timedelta(days=1)
    act(
        first,
        rule_sets.draft_propose,
        draft.code,
        effective_from=day,
        note="",
        at=late,
    )
    act(second, rule_sets.draft_approve, draft.code, at=late)
    made = act(first, rule_sets.draft_publish, draft.code, at=late)
    with acting(first):
        laboratory = Organisation.objects.get(pk=first.organisation_id)
        before = datetime(2026, 3, 2, 10, 59, tzinfo=UTC)
        assert digest_now(laboratory, at=before) == ""
        assert digest_now(laboratory, at=late) == made.digest


def _membership(who: Actor):
    with acting(who):
        return Membership.objects.select_related("user").get(pk=who.membership_id)


def test_the_latest_day_begun_is_in_force_whenever_it_was_published(
    first: Actor, second: Actor
):
    later = published(first, second, label="later", day=TODAY + timedelta(days=30))
    sooner = published(first, second, label="sooner", day=TODAY)
    with acting(first):
        laboratory = Organisation.objects.get(pk=first.organisation_id)
        assert digest_now(laboratory, at=AT) == sooner.digest
        assert digest_now(laboratory, at=AT + timedelta(days=31)) == later.digest
        listed = list(selectors.publication_list(actor=first))
        assert listed == [later, sooner]


def test_a_day_that_is_taken_and_a_label_that_is_taken_are_refused(
    first: Actor, second: Actor
):
    published(first, second)
    draft = copied(first, "2026-2")
    with pytest.raises(Invalid) as refused:
        act(
            first,
            rule_sets.draft_propose,
            draft.code,
            effective_from=TODAY,
            note="",
        )
    assert [f.pointer for f in refused.value.fields] == ["/effective_from"]
    same = copied(first, "2026-1")
    act(first, rule_sets.draft_span_limits_save, same.code, span_limits=[])
    with pytest.raises(Invalid) as refused:
        act(
            first,
            rule_sets.draft_propose,
            same.code,
            effective_from=TODAY + timedelta(days=1),
            note="",
        )
    assert [f.pointer for f in refused.value.fields] == ["/label"]


def test_a_day_that_passed_before_publication_is_refused(first: Actor, second: Actor):
    draft = proposed(first)
    act(second, rule_sets.draft_approve, draft.code)
    with pytest.raises(Invalid) as refused:
        act(first, rule_sets.draft_publish, draft.code, at=AT + timedelta(days=1))
    assert [f.pointer for f in refused.value.fields] == ["/effective_from"]
    with acting(first):
        assert RuleSetPublication.objects.count() == 0


def test_back_to_editing_the_approval_is_gone(first: Actor, second: Actor):
    draft = proposed(first)
    act(second, rule_sets.draft_approve, draft.code)
    with pytest.raises(Conflict):
        act(first, rule_sets.draft_charges_save, draft.code, charges=[])
    act(second, rule_sets.draft_return, draft.code, reason="The fossa is wrong.")
    back = fresh(first, draft)
    assert (back.status, back.note) == (DraftStatus.EDITING, "The fossa is wrong.")
    assert (back.approved_by, back.approved_by_name, back.approved_at) == (
        None,
        "",
        None,
    )
    with pytest.raises(Conflict):
        act(first, rule_sets.draft_publish, draft.code)
    with pytest.raises(Conflict):
        act(first, rule_sets.draft_return, draft.code, reason="Again.")


def test_what_is_not_in_its_place_is_refused(first: Actor, second: Actor):
    draft = copied(first)
    with pytest.raises(Conflict):
        act(second, rule_sets.draft_approve, draft.code)
    made = published(first, second)
    code = made.draft.code
    for command, values in (
        (rule_sets.draft_publish, {}),
        (rule_sets.draft_approve, {}),
        (rule_sets.draft_return, {"reason": "No."}),
        (rule_sets.draft_charges_save, {"charges": []}),
    ):
        with pytest.raises(Conflict):
            act(first, command, code, **values)
    with acting(first), pytest.raises(Conflict):
        rule_sets.draft_discard(actor=first, code=code, version=None)


def test_a_discarded_draft_is_put_aside_for_good(first: Actor):
    draft = copied(first)
    with acting(first):
        rule_sets.draft_discard(actor=first, code=draft.code, version=1)
        assert list(selectors.draft_list(actor=first)) == []
    with pytest.raises(Conflict):
        act(first, rule_sets.draft_charges_save, draft.code, charges=[])


def test_the_other_managers_and_the_clinics_are_told(
    first: Actor, second: Actor, play: Play
):
    published(first, second)
    assert sorted(told(first)) == sorted(
        [
            ("rule_set_proposed", second.user_id),
            ("rule_set_approved", first.user_id),
            ("rule_set_published", second.user_id),
        ]
    )
    for clinic in (play.world.dentist, play.world.outsider):
        assert told(clinic) == [("rule_set_published", None)]
    assert told(play.world.other_laboratory) == []
    with acting(first):
        assert Notice.objects.count() == 0


def test_a_partner_clinic_sees_publications_and_no_drafts(
    first: Actor, second: Actor, play: Play
):
    copied(first, "draft")
    made = published(first, second)
    who = play.world.dentist
    with acting(who):
        assert list(
            selectors.publication_list(actor=who, laboratory=first.organisation_code)
        ) == [made]
        assert RuleSetDraft.objects.count() == 0
        with pytest.raises(NotFound):
            selectors.publication_list(actor=who)
    stranger = play.world.other_laboratory
    with acting(stranger):
        with pytest.raises(NotFound):
            selectors.publication_list(
                actor=stranger, laboratory=first.organisation_code
            )
        assert list(selectors.publication_list(actor=stranger)) == []


def test_a_note_that_is_too_long_and_a_return_without_reason_are_refused(
    first: Actor,
):
    draft = copied(first)
    with pytest.raises(Invalid) as refused:
        act(
            first,
            rule_sets.draft_propose,
            draft.code,
            effective_from=TODAY,
            note="x" * 1001,
        )
    assert [f.pointer for f in refused.value.fields] == ["/note"]
    act(first, rule_sets.draft_propose, draft.code, effective_from=TODAY, note="")
    for reason in (" ", "x" * 1001):
        with pytest.raises(Invalid) as refused:
            act(first, rule_sets.draft_return, draft.code, reason=reason)
        assert [f.pointer for f in refused.value.fields] == ["/reason"]


def test_who_is_no_manager_any_more_approves_nothing(first: Actor, second: Actor):
    draft = proposed(first)
    # The request began before the membership ended: the database decides.
    with acting(first):
        Membership.objects.filter(pk=second.membership_id).update(ended_at=AT)
    with pytest.raises(Conflict) as refused:
        act(second, rule_sets.draft_approve, draft.code)
    assert refused.value.reasons == ("a second laboratory manager approves a rule set",)
    assert fresh(first, draft).status == DraftStatus.PROPOSED


def test_a_draft_whose_digest_is_not_its_contents_is_not_published(
    first: Actor, second: Actor
):
    draft = copied(first)
    # As an earlier version of the canonical form would have left it.
    with acting(first):
        RuleSetDraft.objects.filter(pk=draft.pk).update(digest="0" * 64)
    act(first, rule_sets.draft_propose, draft.code, effective_from=TODAY, note="")
    act(second, rule_sets.draft_approve, draft.code)
    with pytest.raises(Conflict) as refused:
        act(first, rule_sets.draft_publish, draft.code)
    assert "earlier version" in refused.value.text()
    assert not RuleSetVersion.objects.filter(digest="0" * 64).exists()


@pytest.mark.django_db(transaction=True)
def test_two_sets_published_at_once_for_one_day_are_one(first: Actor, second: Actor):
    drafts = [proposed(first, label=label) for label in ("a", "b")]
    for draft in drafts:
        act(second, rule_sets.draft_approve, draft.code)
    together = threading.Barrier(2)
    outcomes: list[str] = []

    def publish(code: str) -> None:
        try:
            together.wait()
            act(first, rule_sets.draft_publish, code)
            outcomes.append("published")
        # Whether the loser met the check or the index depends on the moment.
        except (Conflict, Invalid) as error:
            outcomes.append(type(error).__name__)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=publish, args=[d.code]) for d in drafts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcomes.count("published") == 1
    assert len(outcomes) == 2
    with acting(first):
        assert RuleSetPublication.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_index_decides_what_the_check_could_not_see(first: Actor, second: Actor):
    ours, other = (proposed(first, label=label) for label in ("a", "b"))
    for draft in (ours, other):
        act(second, rule_sets.draft_approve, draft.code)
    outcomes: list[str] = []

    def publish() -> None:
        try:
            act(first, rule_sets.draft_publish, ours.code)
        except Conflict as error:
            outcomes.append(error.text())
        finally:
            connections.close_all()

    with acting(first):
        # Published, not committed yet: invisible to everybody but the index.
        rule_sets.draft_publish(actor=first, code=other.code, version=None, at=AT)
        thread = threading.Thread(target=publish)
        thread.start()
        _until_somebody_waits()
    thread.join()
    assert len(outcomes) == 1
    assert "holds from this day already" in outcomes[0]
    assert fresh(first, ours).status == DraftStatus.APPROVED


def _until_somebody_waits() -> None:
    with superuser() as raw:
        raw.autocommit = True
        for _ in range(200):
            (waiting,) = raw.execute(
                "SELECT count(*) FROM pg_locks WHERE NOT granted"
            ).fetchone() or (0,)
            if waiting:
                return
            time.sleep(0.05)
    raise AssertionError("nobody came to wait")

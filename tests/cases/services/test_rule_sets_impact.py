"""Which cases a draft would judge differently: computed in lanes, resumable."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Thread

import pytest
from django.db import connections

from cases import tasks
from cases.enums import ImpactStatus
from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import (
    Case,
    OutboxRow,
    RuleSetDraft,
    RuleSetImpact,
    RuleSetImpactCase,
)
from cases.selectors import rule_sets as selectors
from cases.services import (
    bench,
    rule_set_impact,
    rule_sets,
    rule_sets_compare,
    rule_sets_lanes,
)
from cases.services.readings import case_recheck
from cases.services.rule_set_impact import LANES, impact_slice
from cases.tenancy import Actor, acting
from rules.errors import Fault, InvalidPayload
from tests.cases.services.test_rule_sets import (
    act,
    copied,
    first,
    fresh,
    manager,
    published,
    second,
)
from tests.database import superuser
from tests.play import Play, reading, sufficient_unit, unit

__all__ = ["first", "second"]

LATER = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


def need_more(who: Actor, draft: RuleSetDraft, material: str = "metal_ceramic"):
    """Ask for half a millimetre more everywhere of one material."""
    lines = []
    for need in draft.document["needs"]:
        if need["material"] == material:
            line = {k: v for k, v in need.items() if k not in ("max_mm",)}
            for key in ("min_mm", "thickness_mm", "target_mm"):
                if key in line:
                    line[key] = str(float(line[key]) + 0.5)
            lines.append(line)
    assert lines
    return act(
        who, rule_sets.draft_lines_save, draft.code, material=material, lines=lines
    )


@pytest.fixture
def draft(first: Actor) -> RuleSetDraft:
    return need_more(first, copied(first))


def start(who: Actor, draft: RuleSetDraft, at: datetime = LATER) -> RuleSetImpact:
    with acting(who):
        return rule_set_impact.impact_start(actor=who, code=draft.code, at=at)


def work(who: Actor, impact: RuleSetImpact, lane: int, seconds: float = 60) -> bool:
    return impact_slice(
        organisation_id=who.organisation_id,
        impact_code=impact.code,
        lane=lane,
        at=LATER,
        seconds=seconds,
    )


def run(who: Actor, draft: RuleSetDraft, at: datetime = LATER) -> RuleSetImpact:
    impact = start(who, draft, at)
    for lane in LANES:
        assert work(who, impact, lane) is False
    return now(who, impact)


def now(who: Actor, impact: RuleSetImpact) -> RuleSetImpact:
    with acting(who):
        return selectors.impact_get(actor=who, code=impact.code)


def changed(who: Actor, impact: RuleSetImpact, **values) -> list[RuleSetImpactCase]:
    with acting(who):
        return list(selectors.impact_cases(impact=impact, **values).rows)


def start_over(who: Actor, draft: RuleSetDraft) -> RuleSetImpact:
    """Begin anew, as after a worker that gave up."""
    with acting(who):
        OutboxRow.objects.filter(kind="rule_set_impact").update(dead_at=LATER)
    return start(who, draft)


def with_other_connection(call: Callable[[], object]) -> None:
    def body() -> None:
        try:
            call()
        finally:
            connections.close_all()

    thread = Thread(target=body)
    thread.start()
    thread.join()


def facing(tooth: str, material: str) -> dict:
    return {"tooth": tooth, "kind": "crown", "material": material}


def test_a_case_that_would_change_is_listed_with_its_sites(
    first: Actor, draft: RuleSetDraft, play: Play
):
    case = play.at_check(sufficient_unit())
    assert case.verdict == "sufficient"
    impact = run(first, draft)
    assert (impact.status, impact.total, impact.done, impact.changed) == (
        ImpactStatus.DONE,
        1,
        1,
        1,
    )
    assert impact.finished_at == LATER
    (row,) = changed(first, impact)
    assert (row.case, row.is_open) == (case, True)
    assert (row.before, row.after) == ("sufficient", "undecided")
    assert {(s["tooth"], s["site"], s["before"], s["after"]) for s in row.sites} == {
        ("36", "buccal_cusps", "sufficient", "undecided"),
        ("36", "lingual_cusps", "sufficient", "undecided"),
        ("36", "central_fossa", "sufficient", "undecided"),
    }


def test_the_verdict_foretold_is_that_of_a_recheck(
    first: Actor, second: Actor, draft: RuleSetDraft, play: Play
):
    from_impact = {}
    for rows in ({"passes_mm": "2.5"}, {"held_mm": "1.0"}, {"passes_mm": "1.5"}):
        sites = ("buccal_cusps", "lingual_cusps", "central_fossa")
        case = play.at_check(unit(readings=[reading(s, **rows) for s in sites]))
        from_impact[case.pk] = case.verdict
    for row in changed(first, run(first, draft)):
        from_impact[row.case_id] = row.after
    act(
        first,
        rule_sets.draft_propose,
        draft.code,
        effective_from=LATER.date(),
        note="",
    )
    act(second, rule_sets.draft_approve, draft.code, at=LATER)
    made = act(first, rule_sets.draft_publish, draft.code, at=LATER)
    who = play.world.technician
    for case_id, foretold in from_impact.items():
        with acting(who):
            code = Case.objects.get(pk=case_id).code
            case = case_recheck(
                actor=who, code=code, version=None, digest=made.digest, at=LATER
            )
        assert case.verdict == foretold


def test_a_case_of_another_material_is_counted_and_not_judged(
    first: Actor, draft: RuleSetDraft, play: Play, monkeypatch
):
    rows = sufficient_unit()["readings"]
    plain = {"material": "zirconia_3y", "occlusal_surface": None}
    body = {k: v for k, v in unit(**plain, readings=rows).items() if v is not None}
    play.at_check(body)

    def never(*_args):
        raise AssertionError("a case outside the scope was judged")

    monkeypatch.setattr("cases.services.rule_sets_compare.site_verdicts", never)
    impact = run(first, draft)
    assert (impact.total, impact.done, impact.changed) == (1, 1, 0)


def test_a_facing_unit_of_the_material_brings_the_case_in(
    first: Actor, draft: RuleSetDraft, play: Play
):
    body = {
        "tooth": "36",
        "kind": "crown",
        "material": "zirconia_3y",
        "relation": "normal",
        "antagonist": "prepared",
        "antagonists": [facing("26", "metal_ceramic")],
        "planned_plane": True,
        # zirconia 0.7 facing metal-ceramic: 2.7, 2.2 and 2.2 before, 0.5 more after.
        "readings": [
            reading("buccal_cusps", passes_mm="3"),
            reading("lingual_cusps", passes_mm="3"),
            reading("central_fossa", passes_mm="3"),
        ],
    }
    case = play.at_check(body)
    assert case.verdict == "sufficient"
    impact = run(first, draft)
    (row,) = changed(first, impact)
    assert (row.case_id, row.after) == (case.pk, "undecided")


def test_a_changed_decision_rule_concerns_every_case(first: Actor, play: Play):
    point = {
        "site": "buccal_cusps",
        "position": "maximal_intercuspation",
        "method": "silicone_caliper",
        "value_mm": "2.05",
    }
    others = sufficient_unit()["readings"][1:]
    case = play.at_check(unit(readings=[point, *others]))
    assert case.verdict == "undecided"
    draft = copied(first)
    act(
        first,
        rule_sets.draft_settings_save,
        draft.code,
        name="Ours",
        label="2",
        decision={**draft.document["decision"], "k": "0"},
        methods=draft.document["methods"],
    )
    (row,) = changed(first, run(first, draft))
    assert (row.before, row.after) == ("undecided", "sufficient")


def test_open_cases_of_any_age_and_ended_ones_of_a_year_are_looked_at(
    first: Actor, draft: RuleSetDraft, play: Play
):
    recent, long_ago = play.at, LATER - timedelta(days=400)
    cases = []
    for began in (recent, long_ago, long_ago, recent):
        play.at = began
        cases.append(play.at_check(sufficient_unit()))
    dentist = play.world.dentist
    for case in (cases[0], cases[2]):
        act(dentist, bench.case_cancel, case.code, reason="No longer wanted.")
    impact = run(first, draft)
    assert impact.total == impact.done == 3
    rows = {row.case_id: row.is_open for row in changed(first, impact)}
    assert rows == {cases[0].pk: False, cases[1].pk: True, cases[3].pk: True}
    opened = changed(first, impact, is_open=True)
    assert {row.case_id for row in opened} == {cases[1].pk, cases[3].pk}


def test_a_case_under_an_older_set_is_compared_with_its_own_verdict(
    first: Actor, second: Actor, play: Play
):
    case = play.at_check(sufficient_unit())
    between = need_more(first, copied(first))
    act(
        first,
        rule_sets.draft_propose,
        between.code,
        effective_from=play.at.date(),
        note="",
    )
    act(second, rule_sets.draft_approve, between.code)
    newer = act(first, rule_sets.draft_publish, between.code)
    same = copied(first, "3", newer.digest)
    impact = run(first, same)
    # Nothing changes against the set in force, but this case was judged before it.
    assert impact.against == newer.digest
    assert selectors_differences(first, same) == ()
    (row,) = changed(first, impact)
    assert (row.case_id, row.before, row.after) == (case.pk, "sufficient", "undecided")


def selectors_differences(who: Actor, draft: RuleSetDraft):
    with acting(who):
        return selectors.draft_differences(draft, actor=who, at=LATER)


def test_a_material_the_draft_lacks_leaves_its_cases_undecided(
    first: Actor, play: Play
):
    case = play.at_check(sufficient_unit())
    draft = copied(first)
    act(first, rule_sets.draft_material_remove, draft.code, material="metal_ceramic")
    (row,) = changed(first, run(first, draft))
    assert (row.case_id, row.after) == (case.pk, "undecided")


def test_a_request_nobody_can_read_any_more_is_listed_without_verdict(
    first: Actor, draft: RuleSetDraft, play: Play, monkeypatch
):
    case = play.at_check(sufficient_unit())

    def broken(request, *, rule_set):
        raise InvalidPayload([Fault("/units", "This is not read any more.")])

    monkeypatch.setattr("cases.services.rule_sets_compare.parse_check", broken)
    (row,) = changed(first, run(first, draft))
    assert (row.case_id, row.before, row.after) == (case.pk, "sufficient", "")


def test_an_unchanged_case_is_not_listed(first: Actor, draft: RuleSetDraft, play: Play):
    rows = [
        reading(site, passes_mm="4")
        for site in ("buccal_cusps", "lingual_cusps", "central_fossa")
    ]
    play.at_check(unit(readings=rows))
    impact = run(first, draft)
    assert (impact.done, impact.changed, changed(first, impact)) == (1, 0, [])


def test_it_stops_when_the_draft_changes(first: Actor, draft: RuleSetDraft, play: Play):
    play.at_check(sufficient_unit())
    impact = start(first, draft)
    act(first, rule_sets.draft_charges_save, draft.code, charges=[])
    act(
        first,
        rule_sets.draft_charges_save,
        draft.code,
        charges=[{"material": "metal_ceramic", "days": 1, "charge": "One day"}],
    )
    assert work(first, impact, 0) is False
    assert now(first, impact).status == ImpactStatus.STOPPED
    assert work(first, impact, 1) is False
    assert changed(first, impact) == []


def test_it_stops_when_the_draft_is_discarded(
    first: Actor, draft: RuleSetDraft, play: Play
):
    play.at_check(sufficient_unit())
    impact = start(first, draft)
    with acting(first):
        rule_sets.draft_discard(actor=first, code=draft.code, version=None)
    assert work(first, impact, 0) is False
    assert now(first, impact).status == ImpactStatus.STOPPED


def test_asked_twice_it_is_computed_once(first: Actor, draft: RuleSetDraft):
    impact = start(first, draft)
    assert start(first, draft) == impact
    with acting(first):
        assert OutboxRow.objects.filter(kind="rule_set_impact").count() == 2


def test_a_laboratory_compares_a_few_drafts_at_a_time(first: Actor, play: Play):
    drafts = [copied(first, str(n)) for n in range(4)]
    begun = [start(first, each) for each in drafts[:3]]
    with pytest.raises(Conflict, match="Wait until one is done"):
        start(first, drafts[3])
    # Another laboratory does not wait for this one.
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    assert start(stranger, copied(stranger, "x")).status == ImpactStatus.RUNNING
    for lane in LANES:
        work(first, begun[0], lane)
    assert start(first, drafts[3]).status == ImpactStatus.RUNNING


def test_only_the_latest_comparison_of_a_draft_keeps_its_cases(
    first: Actor, draft: RuleSetDraft, play: Play
):
    play.at_check(sufficient_unit())
    earlier, later = run(first, draft), run(first, draft)
    assert (earlier.changed, len(changed(first, earlier))) == (1, 0)
    assert (later.changed, len(changed(first, later))) == (1, 1)


def test_asked_again_with_another_content_the_first_one_stops(
    first: Actor, draft: RuleSetDraft
):
    impact = start(first, draft)
    need_more(first, fresh(first, draft), "zirconia_3y")
    again = start(first, draft)
    assert again != impact
    assert now(first, impact).status == ImpactStatus.STOPPED
    assert now(first, again).status == ImpactStatus.RUNNING
    with acting(first):
        assert selectors.impact_latest(draft=draft) in (impact, again)


def test_one_whose_worker_gave_up_is_begun_anew(first: Actor, draft: RuleSetDraft):
    impact = start(first, draft)
    again = start_over(first, draft)
    assert again != impact
    assert now(first, impact).status == ImpactStatus.STOPPED


def test_only_a_manager_of_the_laboratory_starts_or_sees_it(
    first: Actor, draft: RuleSetDraft, play: Play
):
    impact = start(first, draft)
    technician = play.world.technician
    with pytest.raises(NotAllowed):
        start(technician, draft)
    with acting(technician), pytest.raises(NotAllowed):
        selectors.impact_get(actor=technician, code=impact.code)
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    for who in (stranger, play.world.dentist):
        with pytest.raises(NotFound):
            start(who, draft)
        with acting(who), pytest.raises(NotFound):
            selectors.impact_get(actor=who, code=impact.code)


def test_a_published_set_is_not_compared(first: Actor, second: Actor):
    made = published(first, second)
    with acting(first):
        draft = RuleSetDraft.objects.get(pk=made.draft_id)
    with pytest.raises(Conflict):
        start(first, draft)


def test_another_laboratorys_cases_are_not_in_it(
    first: Actor, draft: RuleSetDraft, play: Play
):
    play.at_check(sufficient_unit())
    stranger = manager(play.world.other_laboratory.organisation_id, "Third")
    theirs = need_more(stranger, copied(stranger))
    impact = run(stranger, theirs)
    assert (impact.total, impact.done, impact.changed) == (0, 0, 0)
    assert impact.status == ImpactStatus.DONE


def test_pages_of_changed_cases_go_on_by_cursor(
    first: Actor, draft: RuleSetDraft, play: Play, django_assert_num_queries
):
    cases = {play.at_check(sufficient_unit()).pk for _ in range(3)}
    impact = run(first, draft)
    with acting(first):
        one = selectors.impact_cases(impact=impact, limit=2)
        two = selectors.impact_cases(impact=impact, limit=2, cursor=one.next_cursor)
        with django_assert_num_queries(1):
            page = selectors.impact_cases(impact=impact)
            assert {row.case.clinic.name for row in page.rows} == {"Clinic A"}
        for cursor in ("x", "é", "LTE="):
            with pytest.raises(Invalid):
                selectors.impact_cases(impact=impact, cursor=cursor)
    assert (len(one.rows), len(two.rows), two.next_cursor) == (2, 1, "")
    assert {row.case_id for row in (*one.rows, *two.rows)} == cases


@pytest.mark.django_db(transaction=True, databases=["default", "relay"])
class TestWorkers:
    """With real commits: chunks are kept one by one, and workers may die."""

    @pytest.fixture
    def many(self, play: Play) -> int:
        for _ in range(5):
            play.at_check(sufficient_unit())
        return 5

    def test_a_worker_that_died_loses_its_chunk_and_doubles_nothing(
        self, first: Actor, draft: RuleSetDraft, many: int, monkeypatch
    ):
        monkeypatch.setattr(rule_sets_lanes, "CHUNK", 1)
        impact = start(first, draft)
        assert work(first, impact, 1) is False
        ended = now(first, impact)
        assert work(first, impact, 1) is False
        assert now(first, impact).done == ended.done
        impact = start_over(first, draft)
        assert work(first, impact, 0, seconds=0) is True
        before = now(first, impact)
        assert (before.done, before.changed) == (1, 1)
        with monkeypatch.context() as broken:

            def die(*_args):
                raise RuntimeError("killed")

            broken.setattr("cases.services.rule_sets_lanes.site_changes", die)
            with pytest.raises(RuntimeError):
                work(first, impact, 0)
        assert now(first, impact).done == 1
        for lane in LANES:
            assert work(first, impact, lane) is False
        after = now(first, impact)
        assert (after.status, after.done, after.changed) == ("done", many, many)
        assert len(changed(first, impact)) == many
        assert work(first, impact, 0) is False

    def test_two_workers_on_one_lane_keep_every_case_once(
        self, first: Actor, draft: RuleSetDraft, many: int, monkeypatch
    ):
        monkeypatch.setattr(rule_sets_lanes, "CHUNK", 1)
        impact = start(first, draft)
        original = rule_sets_compare.site_changes
        inside: list[bool] = []

        def meanwhile(before, after):
            # Somebody else does the same chunk while this worker computes.
            if not inside:
                inside.append(True)
                with_other_connection(lambda: work(first, impact, 0, seconds=0))
            return original(before, after)

        monkeypatch.setattr(rule_sets_lanes, "site_changes", meanwhile)
        for lane in LANES:
            assert work(first, impact, lane) is False
        after = now(first, impact)
        assert (after.status, after.done, after.changed) == ("done", many, many)
        assert len({r.case_id for r in changed(first, impact)}) == many

    def test_the_relay_carries_both_lanes_to_the_end(
        self, first: Actor, draft: RuleSetDraft, many: int, monkeypatch
    ):
        monkeypatch.setattr(rule_sets_lanes, "CHUNK", 1)
        monkeypatch.setattr(
            rule_sets_lanes.impact_slice, "__kwdefaults__", {"seconds": 0.0}
        )
        impact = start(first, draft, LATER - timedelta(minutes=1))
        tasks.relay_outbox()
        after = now(first, impact)
        assert (after.status, after.done, after.changed) == ("done", many, many)
        with acting(first):
            rows = OutboxRow.objects.filter(kind="rule_set_impact")
            assert not rows.filter(done_at__isnull=True).exists()
            assert rows.count() > len(LANES)

    def test_a_slice_that_fails_comes_back(
        self, first: Actor, draft: RuleSetDraft, many: int, monkeypatch
    ):
        impact = start(first, draft, LATER - timedelta(minutes=1))
        with monkeypatch.context() as broken:

            def die(**_values):
                raise RuntimeError("killed")

            broken.setattr("cases.services.rule_set_impact.impact_slice", die)
            tasks.relay_outbox()
        assert now(first, impact).done == 0
        with superuser() as raw:
            raw.execute("UPDATE cases_outboxrow SET next_try_at = created_at")
        tasks.relay_outbox()
        assert now(first, impact).status == ImpactStatus.DONE

    def test_a_case_under_a_set_nobody_kept_is_compared_all_the_same(
        self, first: Actor, draft: RuleSetDraft, play: Play
    ):
        case = play.at_check(sufficient_unit())
        with superuser() as raw:
            raw.execute("SET LOCAL session_replication_role = replica")
            raw.execute("UPDATE cases_check SET rule_set_digest = repeat('0', 64)")
        (row,) = changed(first, run(first, draft))
        assert (row.case_id, row.before, row.after) == (
            case.pk,
            "sufficient",
            "undecided",
        )

"""What cases make of the full rules: staleness, verified mounting, sets in force."""

from datetime import date, timedelta
from typing import Any

import pytest

from cases.canonical import canonical_json, sha256_hex
from cases.errors import IllegalTransition, Invalid, NotAllowed
from cases.models import (
    Check,
    Flag,
    Reading,
    TimelineContent,
)
from cases.services import readings, rule_sets, submission
from cases.tenancy import acting
from rules.loader import shipped_rule_set
from rules.models import RuleSetVersion
from rules.parse import parse_rule_set
from rules.toml_text import to_toml
from tests.cases.services.test_rule_sets import manager
from tests.play import Play, reading, sufficient_unit, unit

LOW = {
    "tooth": "36",
    **reading("lingual_cusps", held_mm="1.0"),
    "basis": "model",
    "mounting_number": 1,
}


def bench_reading(play: Play, case, row: dict = LOW):
    who = play.world.technician
    with acting(who):
        return readings.readings_add(
            actor=who, code=case.code, version=None, readings=[row], at=play.tick()
        )


def lost(play: Play, case, *, who=None, note="Lost on Friday."):
    who = who or play.world.assistant
    with acting(who):
        return readings.provisional_lost(
            actor=who, code=case.code, version=None, note=note, at=play.tick()
        )


class TestProvisional:
    def test_stale_readings_prove_no_room(self, play: Play):
        case = play.at_check(sufficient_unit())
        assert play.fresh(case).verdict == "sufficient"
        marked = lost(play, case)
        assert (marked.state, marked.verdict) == ("at_check", "undecided")
        with acting(play.world.dentist):
            rows = Reading.objects.filter(case=case)
            assert {r.stale_at for r in rows} == {play.at}
            asked = Check.objects.filter(case=case).latest("id").request
        assert all(r["stale"] for r in asked["units"][0]["readings"])

    def test_a_fresh_reading_takes_their_place(self, play: Play):
        case = play.at_check(sufficient_unit())
        lost(play, case)
        for site, at_least in (
            ("buccal_cusps", "2.0"),
            ("lingual_cusps", "1.5"),
            ("central_fossa", "1.5"),
        ):
            row = {"tooth": "36", **reading(site, passes_mm=at_least), "basis": "model"}
            checked = bench_reading(play, case, row)
        assert checked.verdict == "sufficient"

    def test_it_is_the_clinics_to_say_and_says_what_happened(self, play: Play):
        case = play.at_check(sufficient_unit())
        with pytest.raises(NotAllowed):
            lost(play, case, who=play.world.technician)
        with pytest.raises(Invalid) as refused:
            lost(play, case, note="  ")
        assert refused.value.fields[0].pointer == "/note"

    def test_after_clearance_the_clinic_stops_the_work_instead(self, play: Play):
        case = play.at_check(sufficient_unit())
        play.clear(case)
        with pytest.raises(IllegalTransition):
            lost(play, case)


class TestVerified:
    def test_a_query_on_an_own_reading_asks_for_the_mounting(self, play: Play):
        case = play.at_check(sufficient_unit())
        bench_reading(play, case)
        with pytest.raises(Invalid) as refused:
            play.flag(case)
        assert refused.value.fields[0].pointer == "/verified"
        assert play.flag(case, verified=True).verified is True

    def test_a_query_on_the_clinics_readings_does_not(self, play: Play):
        flag = play.flag(play.at_check(unit()))
        with acting(play.world.technician):
            assert Flag.objects.get(pk=flag.pk).verified is False

    def test_an_own_reading_elsewhere_does_not(self, play: Play):
        case = play.at_check(unit())
        row = {"tooth": "36", **reading("buccal_cusps", passes_mm="2.0")}
        bench_reading(play, case, {**row, "basis": "model"})
        assert play.flag(case).pk


class TestReadingsAsJudged:
    def test_the_stored_check_says_whose_and_on_what(self, play: Play):
        case = play.at_check(sufficient_unit())
        checked = bench_reading(play, case)
        with acting(play.world.technician):
            asked = Check.objects.get(pk=checked.current_check_id).request
        rows = [
            (r["site"], r["side"], r["basis"], r.get("mounting_number"))
            for r in asked["units"][0]["readings"]
        ]
        assert ("lingual_cusps", "laboratory", "model", 1) in rows
        assert ("lingual_cusps", "clinic", "mouth", None) in rows

    def test_whose_a_reading_is_cannot_be_typed(self, play: Play):
        row = {**reading("buccal_cusps", passes_mm="2.0"), "side": "laboratory"}
        with pytest.raises(Invalid) as refused:
            play.draft(unit(readings=[row]))
        assert [f.pointer for f in refused.value.fields] == ["/units/0/readings/0/side"]


def publish(play: Play, *, name: str, effective_from: date, **changes) -> str:
    """Let one manager write a changed set and another put it into force."""
    laboratory = play.world.technician.organisation_id
    writer, second = (manager(laboratory, f"{one}.{name}") for one in ("w", "s"))
    document = {**shipped_rule_set().dump(), "name": name, **changes}
    made = parse_rule_set(document)
    with acting(writer):
        code = rule_sets.draft_import(
            actor=writer, document=to_toml(made), at=play.at
        ).code
        rule_sets.draft_propose(
            actor=writer,
            code=code,
            version=None,
            effective_from=effective_from,
            note="",
            at=play.at,
        )
    for step in (rule_sets.draft_approve, rule_sets.draft_publish):
        with acting(second):
            step(actor=second, code=code, version=None, at=play.at)
    return made.digest


class TestSetInForce:
    def test_a_case_goes_out_under_the_set_of_the_day_and_keeps_it(self, play: Play):
        case = play.draft(sufficient_unit())
        assert play.fresh(case).rule_set_digest == shipped_rule_set().digest
        first = publish(play, name="First", effective_from=play.at.date())
        sent = play.submit_shown(case)
        assert sent.rule_set_digest == first
        publish(play, name="Second", effective_from=play.at.date() + timedelta(days=1))
        play.at += timedelta(days=2)
        assert play.receive(case).rule_set_digest == first
        assert play.fresh(play.draft(sufficient_unit())).rule_set_digest != first

    def test_a_set_of_tomorrow_is_not_in_force_today(self, play: Play):
        publish(play, name="Later", effective_from=play.at.date() + timedelta(days=1))
        assert (
            play.fresh(play.draft(sufficient_unit())).rule_set_digest
            == shipped_rule_set().digest
        )

    def test_a_material_that_is_gone_is_named_before_anything_is_signed(
        self, play: Play
    ):
        case = play.draft(sufficient_unit())
        shipped: dict[str, Any] = shipped_rule_set().dump()
        kept = [m for m in shipped["materials"] if m["key"] != "metal_ceramic"]
        lines = {
            key: [x for x in shipped[key] if x["material"] != "metal_ceramic"]
            for key in ("needs", "span_limits")
            if key in shipped
        }
        publish(
            play,
            name="Without",
            effective_from=play.at.date(),
            materials=kept,
            **lines,
        )
        with pytest.raises(Invalid) as refused:
            play.submit_shown(case)
        assert refused.value.fields[0].pointer == "/units/0/material"
        assert play.fresh(case).state == "draft"

    def test_a_recheck_keeps_both_sets_and_verdicts_on_the_record(self, play: Play):
        case = play.at_check(unit())
        before = play.fresh(case)
        after = publish(play, name="Newer", effective_from=play.at.date())
        who = play.world.technician
        with acting(who):
            readings.case_recheck(
                actor=who, code=case.code, version=None, digest=after, at=play.tick()
            )
            kept = TimelineContent.objects.filter(entry__case=case).latest("id")
        assert kept.content["rule_set"] == after
        assert kept.content["rule_set_before"] == before.rule_set_digest
        assert kept.content["verdict_before"] == before.verdict

    def test_a_recheck_takes_no_set_that_has_not_begun_or_is_anothers(self, play: Play):
        case = play.at_check(unit())
        tomorrow = play.at.date() + timedelta(days=1)
        later = publish(play, name="Later", effective_from=tomorrow)
        strange = {**shipped_rule_set().dump(), "name": "Another laboratory's"}
        other = parse_rule_set(strange)
        RuleSetVersion.objects.create(
            digest=other.digest,
            name=other.name,
            version=other.version,
            payload=other.dump(),
            published_at=play.at,
        )
        who = play.world.technician
        for digest in (later, other.digest):
            with acting(who), pytest.raises(Invalid) as refused:
                readings.case_recheck(
                    actor=who,
                    code=case.code,
                    version=None,
                    digest=digest,
                    at=play.tick(),
                )
            assert refused.value.fields[0].pointer == "/rule_set"


def test_connectors_are_kept_signed_and_judged(play: Play):
    span = [
        sufficient_unit(tooth="35", kind="retainer", span="1"),
        sufficient_unit(tooth="36", kind="pontic", span="1"),
        sufficient_unit(tooth="37", kind="retainer", span="1"),
    ]
    planned = [{"between": ["35", "36"], "height_mm": "4.00", "width_mm": "3.00"}]
    typed = [{"between": ["35", "36"], "height_mm": "4,0", "width_mm": 3}]
    case = play.draft(*span, connectors=typed)
    with acting(play.world.dentist):
        content = submission.submission_content(play.fresh(case))
    assert content["connectors"] == planned
    sent = play.submit(case)
    with acting(play.world.dentist):
        check = Check.objects.get(pk=sent.current_check_id or 0)
    assert check.request["connectors"] == planned
    assert check.request_sha256 == sha256_hex(canonical_json(check.request))
    with pytest.raises(Invalid) as refused:
        play.draft(*span, connectors=[{**planned[0], "between": ["35", "37"]}])
    assert refused.value.fields[0].pointer.startswith("/connectors/0")

    def test_a_new_draft_may_name_a_product_only_the_laboratory_has(self, play: Play):
        document: dict[str, Any] = shipped_rule_set().dump()
        metal = next(m for m in document["materials"] if m["key"] == "full_metal")
        key = "own_metal".ljust(40, "x")  # as long as a key may be
        own = {**metal, "key": key, "label": "own metal", "under": "full_metal"}
        own["instructions"] = "Instructions of an invented maker"
        digest = publish(
            play,
            name="Own",
            effective_from=play.at.date(),
            materials=[*document["materials"], own],
        )
        crown = sufficient_unit(material=key)
        crown.pop("occlusal_surface")
        case = play.submit(play.draft(crown))
        assert (case.rule_set_digest, case.verdict) == (digest, "sufficient")

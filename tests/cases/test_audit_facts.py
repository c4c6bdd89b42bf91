"""What the database writes down of a case once it has left the laboratory."""

import threading
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction

from cases.lifecycle import AnswerKind
from cases.migrations._0004_facts import BACKFILL
from cases.models import (
    AuditFact,
    AuditMonth,
    AuditQuery,
    Case,
    Organisation,
    TimelineEntry,
)
from cases.services import (
    answers,
    bench,
    drafts,
    flags,
    outcome,
    readings,
    remakes,
    submission,
)
from cases.services.outcome import FitInput
from cases.services.remake_parts import RemakeDetails
from cases.tenancy import acting
from tests.cases.services.remade import (
    built_at_risk,
    corrected_and_built,
    delivered,
    do,
    opened,
)
from tests.database import superuser
from tests.permissions.states import dispatched, in_fabrication
from tests.play import (
    Play,
    build_world,
    draft_of,
    reading,
    signature_over,
    sufficient_unit,
    unit,
)

MARCH = date(2026, 3, 1)
ENOUGH = sufficient_unit()["readings"]


def send(play: Play, case: Case) -> Case:
    who = play.world.technician
    do(play, bench.case_dispatch, who, case.code, version=None, note="")
    return case


def build(play: Play, case: Case) -> Case:
    play.clear(case)
    play.release(case)
    return send(play, case)


def seat(play: Play, case: Case, *findings: str, fitted: bool = True, **more) -> None:
    report = FitInput(fitted=fitted, findings=findings, **more)
    who = play.world.assistant
    do(play, outcome.fit_report, who, case.code, version=None, report=report)


def inside(play: Play, case: Case, cause: str, **more) -> None:
    do(
        play,
        bench.internal_remake,
        play.world.technician,
        case.code,
        version=None,
        cause=cause,
        detected_at="framework",
        note="Again.",
        **more,
    )


def facts(play: Play, case: Case) -> dict[str, AuditFact]:
    with acting(play.world.technician):
        return {one.part: one for one in AuditFact.objects.filter(case=case)}


def fact(play: Play, case: Case) -> AuditFact:
    (only,) = facts(play, case).values()
    return only


def query(play: Play, flag) -> AuditQuery:
    with acting(play.world.technician):
        return AuditQuery.objects.get(flag_id=flag.pk)


def two_units(**second) -> tuple[dict, dict]:
    """A short crown on 36 and one on 46 that has room."""
    return unit(), sufficient_unit(tooth="46", **second)


def a_bridge(play: Play, span: str = "a") -> Case:
    """A bridge 33-37 and a crown on 47, received by the laboratory."""
    rows = [{**row, "passes_mm": "8.0"} for row in ENOUGH]
    front = [
        {**reading("facioincisal_surface", passes_mm="8.0")},
        {**reading("incisal_edge", passes_mm="8.0")},
    ]
    kinds = ("retainer", "pontic", "pontic", "pontic", "retainer")
    units = [
        unit(
            tooth=tooth,
            kind=kind,
            material="zirconia_3y",
            span=span,
            readings=front if tooth == "33" else rows,
        )
        for tooth, kind in zip(("33", "34", "35", "36", "37"), kinds, strict=True)
    ]
    units.append(unit(tooth="47", material="zirconia_4y", readings=rows))
    for one in units:
        one.pop("occlusal_surface")
    connectors = [
        {"between": [one, other], "height_mm": "5.00", "width_mm": "5.00"}
        for one, other in (("33", "34"), ("34", "35"), ("35", "36"), ("36", "37"))
    ]
    return play.receive(play.submit(play.draft(*units, connectors=connectors)))


def rows(statement: str, *values) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


# -- what is counted, and when ----------------------------------------------------------


def test_nothing_is_counted_before_the_work_left(play: Play):
    case = in_fabrication(play)
    inside(play, case, "fracture")
    assert facts(play, case) == {}
    send(play, case)
    assert list(facts(play, case)) == ["36"]


def test_a_plain_crown(play: Play):
    case = dispatched(play)
    found = fact(play, case)
    world = play.world
    assert (found.laboratory_id, found.clinic_id, found.prescriber_id) == (
        world.technician.organisation_id,
        world.dentist.organisation_id,
        world.dentist.user_id,
    )
    assert found.technician_id == world.technician.membership_id
    assert (found.part, found.teeth, found.tooth_class) == ("36", ["36"], "molar")
    assert (found.kind, found.material, found.method) == (
        "crown",
        "metal_ceramic",
        "strip",
    )
    with acting(world.technician):
        entry = TimelineEntry.objects.get(case=case, event="case.dispatched")
    assert found.submitted_at == case.submitted_at
    assert (found.dispatched_at, found.dispatched_on) == (entry.at, entry.at.date())
    assert found.month == MARCH
    assert (found.first_verdict, found.first_class) == ("sufficient", "sufficient")
    assert (found.built_verdict, found.built_class) == ("sufficient", "sufficient")
    assert found.first_shortage_mm == found.built_shortage_mm == Decimal(0)
    assert not any(
        (
            found.accepted,
            found.flagged,
            found.reported,
            found.fitted,
            found.as_delivered,
            found.restoration_adjusted,
            found.opposing_adjusted,
            found.provisional,
            found.remade,
            found.internal_remakes,
        )
    )
    empty = (found.option, found.internal_cause, found.remake_cause, found.attribution)
    assert empty == ("", "", "", "")
    unknown = (found.opposing_mm, found.minutes, found.remade_at, found.remake_days)
    assert unknown == (None, None, None, None)


def test_the_month_is_that_of_the_laboratory(play: Play):
    case = in_fabrication(play)
    with acting(play.world.technician):
        laboratory = Organisation.objects.get(pk=case.laboratory_id)
        laboratory.time_zone = "Pacific/Auckland"
        laboratory.save(update_fields=["time_zone"])
    play.at = datetime(2026, 3, 31, 12, 0, tzinfo=UTC)
    found = fact(play, send(play, case))
    assert (found.dispatched_on, found.month) == (date(2026, 4, 1), date(2026, 4, 1))


# -- clearance: at submission, and as built ---------------------------------------------


def short_by(**measured: str) -> dict:
    """A crown on 36 whose lingual cusps were read so; they need 1.5 mm."""
    rows = [
        ENOUGH[0],
        {**reading("lingual_cusps", **measured)},
        ENOUGH[2],
    ]
    return unit(readings=rows)


def point(value: str) -> dict[str, str]:
    return {"method": "silicone_caliper", "value_mm": value, "u_mm": "0.02"}


@pytest.mark.parametrize(
    ("measured", "shortage", "name"),
    [
        ({"passes_mm": "1.0", "held_mm": "1.5"}, "0.25", "up_to_025"),
        ({"passes_mm": "1.0", "held_mm": "1.4"}, "0.30", "up_to_050"),
        # Held and never let through: anything from nothing up to there.
        ({"held_mm": "1.0"}, "1.00", "over_050"),
        (point("1.25"), "0.25", "up_to_025"),
        (point("1.24"), "0.26", "up_to_050"),
        (point("1.00"), "0.50", "up_to_050"),
        (point("0.99"), "0.51", "over_050"),
    ],
)
def test_the_class_is_what_was_missing(play: Play, measured, shortage, name):
    case = play.at_check(short_by(**measured))
    play.answer(play.flag(case), AnswerKind.RE_PREPARATION)
    play.records(case, [{"tooth": "36", **row} for row in ENOUGH])
    found = fact(play, build(play, play.receive(case)))
    assert (found.first_verdict, found.first_class) == ("insufficient", name)
    assert found.first_shortage_mm == Decimal(shortage)
    assert (found.built_verdict, found.built_class) == ("sufficient", "sufficient")
    assert found.built_shortage_mm == 0


def test_what_is_within_uncertainty_is_undecided_and_accepted(play: Play):
    measured = {"method": "silicone_caliper", "value_mm": "1.55", "u_mm": "0.1"}
    case = play.at_check(short_by(**measured))
    play.clear(case, sites=[("36", "lingual_cusps")])
    play.release(case)
    found = fact(play, send(play, case))
    assert (found.first_verdict, found.first_class) == ("undecided", "undecided")
    assert (found.built_class, found.built_shortage_mm) == ("undecided", Decimal(0))
    assert (found.accepted, found.flagged) == (True, False)


def test_a_site_nobody_read_is_undecided_as_a_whole(play: Play):
    case = play.at_check(unit(readings=ENOUGH[:2]))
    assert case.verdict == "unmeasured"
    with acting(play.world.technician):
        readings.readings_add(
            actor=play.world.technician,
            code=case.code,
            version=None,
            readings=[{"tooth": "36", **ENOUGH[2]}],
            at=play.tick(),
        )
    found = fact(play, build(play, case))
    assert (found.first_verdict, found.first_class) == ("unmeasured", "undecided")
    assert (found.built_verdict, found.method) == ("sufficient", "strip")


def test_a_unit_nobody_measured(play: Play):
    case = play.at_check(sufficient_unit(), unit(tooth="46", readings=[]))
    with acting(play.world.technician):
        readings.readings_add(
            actor=play.world.technician,
            code=case.code,
            version=None,
            readings=[{"tooth": "46", **row} for row in ENOUGH],
            at=play.tick(),
        )
    found = facts(play, build(play, case))
    assert (found["46"].first_verdict, found["46"].first_class) == (
        "unmeasured",
        "unmeasured",
    )
    # The laboratory's readings are not how the clinic measured.
    assert (found["46"].method, found["36"].method) == ("", "strip")
    assert found["36"].first_class == "sufficient"


def test_the_method_is_that_of_most_readings_of_the_clinic(play: Play):
    other = {"method": "cast_caliper", "value_mm": "3.00", "u_mm": "0.1"}
    rows = [
        ENOUGH[0],
        reading("lingual_cusps", **other),
        reading("central_fossa", **other),
    ]
    assert fact(play, build(play, play.at_check(unit(readings=rows)))).method == (
        "cast_caliper"
    )
    rows = [ENOUGH[0], ENOUGH[1], reading("central_fossa", **other)]
    tie = [*rows, reading("marginal_ridge", **other)]
    assert fact(play, build(play, play.at_check(unit(readings=tie)))).method == (
        "cast_caliper"
    )


# -- queries, answers, risk -------------------------------------------------------------


def test_a_query_and_its_answer(play: Play):
    found = fact(play, send(play, corrected_and_built(play)))
    assert (found.flagged, found.option, found.accepted) == (
        True,
        "re_preparation",
        False,
    )


def test_a_risk_that_was_accepted(play: Play):
    found = fact(play, send(play, built_at_risk(play)))
    assert (found.flagged, found.option, found.accepted) == (True, "accept_risk", True)
    assert (found.built_verdict, found.built_class) == ("insufficient", "up_to_025")


def test_a_coping_is_no_accepted_risk(play: Play):
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    found = fact(play, build(play, case))
    assert (found.option, found.accepted) == ("reduction_coping", False)


def test_an_answer_that_changed_the_material(play: Play):
    case = play.at_check(unit())
    changed = {"36": {"material": "zirconia_3y"}}
    play.answer(play.flag(case), AnswerKind.CHANGE_MATERIAL, changes=changed)
    found = fact(play, build(play, case))
    assert (found.material, found.option) == ("zirconia_3y", "change_material")
    assert (found.first_class, found.built_class) == ("up_to_025", "sufficient")


def test_a_query_that_was_only_withdrawn(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    who = play.world.technician
    do(
        play,
        flags.flag_withdraw,
        who,
        flag.code,
        version=None,
        reason="Measured again.",
    )
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    assert fact(play, build(play, case)).option == "reduction_coping"
    case = play.at_check(sufficient_unit())
    flag = raise_about(play, case, "36", "lingual_cusps")
    do(play, flags.flag_withdraw, who, flag.code, version=None, reason="It is enough.")
    found = fact(play, build(play, case))
    assert (found.flagged, found.option) == (True, "withdrawn")


def raise_about(play: Play, case: Case, tooth: str, site: str, **more):
    return do(
        play,
        flags.flag_raise,
        play.world.technician,
        case.code,
        version=None,
        reasons=more.get("reasons", ["clearance"]),
        text="Is there room?",
        sites=[(tooth, site)],
    )


def test_a_declined_risk_is_not_the_option(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(flag, AnswerKind.ACCEPT_RISK, grounds="As it is.", consent=True)
    decline(play, flag)
    play.answer(flag, AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    assert fact(play, build(play, case)).option == "reduction_coping"


def decline(play: Play, flag) -> None:
    do(
        play,
        answers.flag_countersign,
        play.world.responsible,
        flag.code,
        version=None,
        accept=False,
        reason="Below the instructions for use.",
        signature=None,
    )


def test_a_query_about_something_else_is_none(play: Play):
    case = play.at_check(sufficient_unit())
    flag = raise_about(play, case, "36", "lingual_cusps", reasons=["shade"])
    who = play.world.technician
    do(play, flags.flag_withdraw, who, flag.code, version=None, reason="Found it.")
    assert not fact(play, build(play, case)).flagged
    with acting(who):
        assert not AuditQuery.objects.exists()


def test_a_query_counts_for_the_tooth_it_names(play: Play):
    case = play.at_check(*two_units())
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    found = facts(play, build(play, case))
    assert (found["36"].flagged, found["36"].option) == (True, "reduction_coping")
    assert (found["46"].flagged, found["46"].option) == (False, "")


# -- parts ------------------------------------------------------------------------------


def test_a_bridge_is_one_restoration(play: Play):
    found = facts(play, build(play, a_bridge(play)))
    assert list(found) == ["47", "a"]
    bridge, crown = found["a"], found["47"]
    assert bridge.teeth == ["33", "34", "35", "36", "37"]
    assert (bridge.kind, bridge.tooth_class, bridge.material) == (
        "bridge",
        "molar",
        "zirconia_3y",
    )
    assert (crown.kind, crown.material) == ("crown", "zirconia_4y")


def test_a_span_that_is_called_like_a_tooth(play: Play):
    found = facts(play, build(play, a_bridge(play, span="47")))
    assert {part: one.kind for part, one in found.items()} == {
        "47": "crown",
        "bridge 47": "bridge",
    }


# -- outcome ----------------------------------------------------------------------------


def test_fitted_as_delivered(play: Play):
    case = dispatched(play)
    seat(play, case, "as_delivered", minutes=20)
    found = fact(play, case)
    assert (found.reported, found.fitted, found.as_delivered) == (True, True, True)
    assert (found.restoration_adjusted, found.opposing_adjusted) == (False, False)
    assert (found.minutes, found.provisional) == (20, False)


def test_what_was_done_at_seating(play: Play):
    case = dispatched(play)
    seat(
        play,
        case,
        "restoration_adjusted",
        "opposing_adjusted",
        "provisionally_cemented",
        opposing_adjusted_mm=Decimal("0.30"),
    )
    found = fact(play, case)
    assert (found.fitted, found.as_delivered) == (True, False)
    assert (found.restoration_adjusted, found.opposing_adjusted) == (True, True)
    assert (found.provisional, found.opposing_mm) == (True, Decimal("0.30"))
    assert found.minutes is None


def test_not_fitted(play: Play):
    found = fact(play, delivered(play, in_fabrication(play)))
    assert (found.reported, found.fitted, found.as_delivered) == (True, False, False)


def test_the_other_arch_is_adjusted_across_from_one_of_two(play: Play):
    case = build(play, play.at_check(sufficient_unit(), sufficient_unit(tooth="46")))
    seat(play, case, "opposing_adjusted", opposing_teeth=["25"])
    found = facts(play, case)
    assert (found["36"].opposing_adjusted, found["46"].opposing_adjusted) == (
        True,
        False,
    )
    assert (found["36"].as_delivered, found["46"].as_delivered) == (False, True)


def test_without_a_tooth_every_restoration_counts_as_ground_against(play: Play):
    case = build(play, play.at_check(sufficient_unit(), sufficient_unit(tooth="46")))
    seat(play, case, "opposing_adjusted")
    assert all(one.opposing_adjusted for one in facts(play, case).values())


def test_work_that_came_back_and_left_again(play: Play):
    case = delivered(play, in_fabrication(play), "contact_wrong")
    first = fact(play, case)
    who = play.world.assistant
    do(play, bench.case_return, who, case.code, version=None, note="Tight contact.")
    play.at += timedelta(days=40)
    send(play, case)
    seat(play, case, "as_delivered")
    found = fact(play, case)
    assert found.pk == first.pk
    assert (found.dispatched_at, found.month) == (first.dispatched_at, MARCH)
    assert (found.fitted, found.restoration_adjusted, found.as_delivered) == (
        True,
        True,
        False,
    )


def test_what_is_built_after_a_return_is_what_is_counted(play: Play):
    case = delivered(play, in_fabrication(play), "contact_wrong")
    who = play.world.assistant
    do(play, bench.case_return, who, case.code, version=None, note="Make it stronger.")
    flag = raise_about(play, case, "36", "lingual_cusps")
    changed = {"36": {"material": "zirconia_3y"}}
    play.answer(flag, AnswerKind.CHANGE_MATERIAL, changes=changed)
    play.clear(case)
    play.release(case)
    assert fact(play, case).material == "metal_ceramic"
    send(play, case)
    found = fact(play, case)
    # Asked after the work had first left: no query before dispatch.
    assert (found.material, found.flagged) == ("zirconia_3y", False)


# -- made again -------------------------------------------------------------------------


def test_internal_remakes_before_dispatch(play: Play):
    case = in_fabrication(play)
    inside(play, case, "fracture")
    inside(play, case, "shade")
    found = fact(play, send(play, case))
    assert (found.internal_remakes, found.internal_cause) == (2, "fracture")
    assert not found.remade


def test_a_remake_counts_from_the_first_dispatch(play: Play):
    case = delivered(play, in_fabrication(play))
    play.at = fact(play, case).dispatched_at + timedelta(days=13, hours=23, minutes=40)
    made = opened(play, case, detected_at="seating", attribution="laboratory")
    found = fact(play, case)
    assert (found.remade, found.remade_at) == (True, made.recorded_at)
    assert (found.remake_days, found.remake_cause) == (13, "perforation")
    assert (found.remake_detected, found.attribution) == ("seating", "laboratory")


def test_a_remake_counts_for_the_teeth_it_names(play: Play):
    case = build(play, play.at_check(sufficient_unit(), sufficient_unit(tooth="46")))
    seat(play, case, "margin_open", fitted=False)
    opened(play, case, details=RemakeDetails(teeth=["46"]))
    found = facts(play, case)
    assert (found["36"].remade, found["46"].remade) == (False, True)
    assert (found["36"].reported, found["46"].reported) == (True, True)


@pytest.mark.parametrize(
    ("clinic", "laboratory", "both"),
    [
        ("", "", "undetermined"),
        ("clinic", "", "clinic"),
        ("", "laboratory", "laboratory"),
        ("shared", "shared", "shared"),
        ("clinic", "laboratory", "disputed"),
        ("disputed", "", "disputed"),
        ("clinic", "disputed", "disputed"),
        ("undetermined", "laboratory", "disputed"),
    ],
)
def test_whose_remake_it_is_follows_both_sides(play: Play, clinic, laboratory, both):
    case = delivered(play, in_fabrication(play))
    made = opened(play, case, attribution=clinic)
    if laboratory:
        do(
            play,
            remakes.remake_state,
            play.world.technician,
            case.code,
            remake=made.pk,
            attribution=laboratory,
        )
    assert fact(play, case).attribution == both


# -- how long each side took ------------------------------------------------------------


def test_the_time_of_a_query_of_each_side(play: Play):
    case = play.at_check(unit())
    sent = case.submitted_at
    play.at += timedelta(hours=2)
    flag = play.flag(case)
    found = query(play, flag)
    assert found.asked_minutes == (flag.raised_at - sent).total_seconds() / 60
    assert (found.answered_minutes, found.closed, found.option) == (None, "", "")
    assert (found.tooth_class, found.kind, found.material, found.method) == (
        "molar",
        "crown",
        "metal_ceramic",
        "strip",
    )
    assert (found.month, found.raised_at) == (MARCH, flag.raised_at)
    play.at += timedelta(hours=30)
    answer = play.answer(flag, AnswerKind.RE_PREPARATION)
    found = query(play, flag)
    waited = (answer.answered_at - flag.raised_at).total_seconds() / 60
    assert (found.answered_minutes, found.closed) == (waited, "answered")
    assert found.option == "re_preparation"


def test_a_second_query_counts_from_the_new_records(play: Play):
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.RE_PREPARATION)
    play.at += timedelta(days=9)
    rows = [{"tooth": "36", **row} for row in unit()["readings"]]
    play.records(case, rows)
    arrived = play.at
    play.receive(case)
    flag = play.flag(case)
    minutes = (flag.raised_at - arrived).total_seconds() / 60
    assert query(play, flag).asked_minutes == minutes


def test_a_query_of_a_case_that_was_sent_again(play: Play):
    case = play.at_check(unit())
    lab, who = play.world.technician, play.world.dentist
    do(play, submission.case_incomplete, lab, case.code, version=None, missing="Shade.")
    do(play, drafts.draft_save, who, case.code, version=None, draft=draft_of(unit()))
    play.at += timedelta(days=2)
    fresh = play.fresh(case)
    with acting(who):
        content = submission.submission_content(fresh)
    do(
        play,
        submission.case_resubmit,
        who,
        case.code,
        version=None,
        signature=signature_over(content),
    )
    arrived = play.at
    flag = play.flag(play.receive(case))
    minutes = (flag.raised_at - arrived).total_seconds() / 60
    assert query(play, flag).asked_minutes == minutes


def test_a_withdrawn_query_waited_until_then(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    who = play.world.technician
    do(
        play,
        flags.flag_withdraw,
        who,
        flag.code,
        version=None,
        reason="Measured again.",
    )
    found = query(play, flag)
    assert (found.closed, found.option, found.answered_minutes) == (
        "withdrawn",
        "withdrawn",
        10,
    )


def test_a_declined_answer_ended_the_clinics_time(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(flag, AnswerKind.ACCEPT_RISK, grounds="As it is.", consent=True)
    assert query(play, flag).option == "accept_risk"
    decline(play, flag)
    found = query(play, flag)
    assert (found.closed, found.option, found.answered_minutes) == ("answered", "", 10)


def test_a_query_whose_case_was_cancelled(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    who = play.world.dentist
    do(play, bench.case_cancel, who, case.code, version=None, reason="Changed plan.")
    assert query(play, flag).closed == "withdrawn"
    assert facts(play, case) == {}


# -- versions of months -----------------------------------------------------------------


def versions(play: Play) -> dict[str, dict[date, int]]:
    found = {}
    for name, who in (("clinic", play.world.dentist), ("lab", play.world.technician)):
        with acting(who):
            found[name] = dict(AuditMonth.objects.values_list("month", "version"))
    return found


def test_both_sides_months_count_what_changes(play: Play):
    case = in_fabrication(play)
    assert versions(play) == {"clinic": {}, "lab": {}}
    send(play, case)
    assert versions(play) == {"clinic": {MARCH: 1}, "lab": {MARCH: 1}}
    seat(play, case, "as_delivered")
    assert versions(play) == {"clinic": {MARCH: 2}, "lab": {MARCH: 2}}


def test_what_changes_no_fact_changes_no_month(play: Play):
    case = delivered(play, in_fabrication(play))
    made = opened(play, case, attribution="clinic")
    before = versions(play)
    # The laboratory says the same: the fact stays as it is.
    who = play.world.technician
    do(play, remakes.remake_state, who, case.code, remake=made.pk, attribution="clinic")
    assert versions(play) == before


def test_a_query_counts_in_the_month_it_was_raised(play: Play):
    play.flag(play.at_check(unit()))
    assert versions(play)["lab"] == {MARCH: 1}


# -- who may ----------------------------------------------------------------------------


def test_another_clinic_and_laboratory_see_nothing(play: Play):
    case = send(play, corrected_and_built(play))
    assert fact(play, case).flagged
    for stranger in (play.world.outsider, play.world.other_laboratory):
        with acting(stranger):
            assert not AuditFact.objects.exists()
            assert not AuditQuery.objects.exists()
            assert not AuditMonth.objects.exists()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE cases_auditfact SET remade = NOT remade",
        "DELETE FROM cases_auditfact",
        "INSERT INTO cases_auditfact (case_id, part) VALUES (1, '36')",
        "UPDATE cases_auditquery SET closed = 'answered'",
        "DELETE FROM cases_auditquery",
        "UPDATE cases_auditmonth SET version = 1",
        "DELETE FROM cases_auditmonth",
        "INSERT INTO cases_auditmonth (organisation_id, month, version, changed_at)"
        " VALUES (1, '2026-03-01', 1, now())",
        "SELECT * FROM audit_fact_rows(ARRAY[1]::bigint[])",
        "SELECT * FROM audit_query_rows(ARRAY[1]::bigint[])",
        "SELECT audit_refresh(ARRAY[1]::bigint[])",
        "SELECT audit_refresh_queries(ARRAY[1]::bigint[])",
        "SELECT * FROM audit_parts(1, 1)",
    ],
)
def test_the_application_writes_no_fact(play: Play, statement):
    send(play, corrected_and_built(play))
    with (
        acting(play.world.technician),
        pytest.raises(DatabaseError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


def test_a_draft_is_still_discarded(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist):
        drafts.case_discard(actor=play.world.dentist, code=case.code, version=None)
        assert not Case.objects.filter(pk=case.pk).exists()


# -- whatever order rows come in --------------------------------------------------------


def as_kept_and_as_worked_out(case: Case) -> None:
    """Compare the stored rows of a case with what its rows say now."""
    with superuser() as raw:
        for table, function, asked in (
            ("cases_auditfact", "audit_fact_rows", "ARRAY[%(case)s]::bigint[]"),
            (
                "cases_auditquery",
                "audit_query_rows",
                "ARRAY(SELECT id FROM cases_flag WHERE case_id = %(case)s)",
            ),
        ):
            kept = f"SELECT to_jsonb(t) - 'id' AS row FROM {table} t WHERE case_id = %(case)s"
            new = f"SELECT to_jsonb(t) AS row FROM {function}({asked}) t"
            for one, other in ((kept, new), (new, kept)):
                odd = raw.execute(f"{one} EXCEPT {other}", {"case": case.pk}).fetchall()
                assert odd == []


@pytest.mark.django_db(transaction=True)
def test_every_step_leaves_what_the_rows_say():
    play = Play(build_world())
    case = play.at_check(*two_units())
    steps = [
        lambda: play.answer(play.flag(case), AnswerKind.RE_PREPARATION),
        lambda: play.records(
            case, [{"tooth": t, **row} for t in ("36", "46") for row in ENOUGH]
        ),
        lambda: play.receive(case),
        lambda: play.clear(case),
        lambda: play.release(case),
        lambda: inside(play, case, "fracture", details=RemakeDetails(teeth=["46"])),
        lambda: send(play, case),
        lambda: seat(play, case, "contact_wrong", fitted=False, minutes=30),
        lambda: do(
            play,
            bench.case_return,
            play.world.assistant,
            case.code,
            version=None,
            note="Tight contact.",
        ),
        lambda: inside(play, case, "shade"),
        lambda: raise_about(play, case, "46", "lingual_cusps"),
        lambda: change_46(play, case),
        lambda: play.clear(case),
        lambda: play.release(case),
        lambda: send(play, case),
        lambda: seat(play, case, "opposing_adjusted", opposing_teeth=["16"]),
        lambda: opened(play, case, details=RemakeDetails(teeth=["46"])),
        lambda: state(play, case, "laboratory"),
    ]
    for step in steps:
        step()
        as_kept_and_as_worked_out(case)
    found = facts(play, case)
    assert (found["36"].opposing_adjusted, found["46"].opposing_adjusted) == (
        False,
        True,
    )
    assert (found["36"].internal_remakes, found["46"].internal_remakes) == (1, 2)
    assert (found["36"].remade, found["46"].remade) == (False, True)
    assert found["46"].attribution == "laboratory"
    assert found["46"].material == "zirconia_3y"


def change_46(play: Play, case: Case) -> None:
    with acting(play.world.technician):
        flag = case.flags.order_by("-id")[0]
    changed = {"46": {"material": "zirconia_3y"}}
    play.answer(flag, AnswerKind.CHANGE_MATERIAL, changes=changed)


def state(play: Play, case: Case, attribution: str) -> None:
    with acting(play.world.technician):
        made = case.remakes.get(internal=False)
    who = play.world.technician
    do(
        play,
        remakes.remake_state,
        who,
        case.code,
        remake=made.pk,
        attribution=attribution,
    )


REPORT = """
INSERT INTO cases_fitreport (case_id, outcome, findings, minutes, note, reported_by_id,
  reported_by_name, reported_at)
VALUES (%s, 'not_fitted', '["margin_open"]', 25, '', %s, 'Assistant', now())
"""
REMAKE = """
INSERT INTO cases_remake (case_id, internal, cause, detected_at, attribution_clinic,
  attribution_laboratory, note, recorded_by_id, recorded_at)
VALUES (%s, false, 'marginal_fit', 'seating', '', '', '', %s, now())
"""


@pytest.mark.django_db(transaction=True)
def test_two_that_write_at_once_leave_a_fact_with_both():
    play = Play(build_world())
    case = dispatched(play)
    who = play.world.assistant.membership_id
    with superuser() as first, superuser() as second:
        first.execute(REPORT, [case.pk, who])
        waiting = threading.Thread(
            target=lambda: second.execute(REMAKE, [case.pk, who])
        )
        waiting.start()
        waiting.join(0.5)
        assert waiting.is_alive()
        first.commit()
        waiting.join(10)
        assert not waiting.is_alive()
    as_kept_and_as_worked_out(case)
    found = fact(play, case)
    assert (found.minutes, found.remade) == (25, True)


@pytest.mark.django_db(transaction=True)
def test_cases_of_before_the_facts_are_worked_out_once():
    play = Play(build_world())
    cases = [
        send(play, corrected_and_built(play)),
        build(play, play.at_check(sufficient_unit(), sufficient_unit(tooth="46"))),
        in_fabrication(play),
    ]
    seat(play, cases[0], "as_delivered")
    with superuser() as raw:
        kept = raw.execute("SELECT count(*) FROM cases_auditfact").fetchone()
        raw.execute("TRUNCATE cases_auditfact, cases_auditquery, cases_auditmonth")
        raw.execute("SET ROLE chairbench_owner")
        raw.execute(BACKFILL)
        raw.execute("RESET ROLE")
        again = raw.execute("SELECT count(*) FROM cases_auditfact").fetchone()
    assert kept == again == (3,)
    for case in cases:
        as_kept_and_as_worked_out(case)
    with acting(play.world.technician):
        assert AuditQuery.objects.count() == 1
        assert AuditMonth.objects.get().month == MARCH

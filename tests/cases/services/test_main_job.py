"""The main job through the services: from a short site to a released order."""

from datetime import date

import pytest

from cases.errors import Conflict, IllegalTransition
from cases.lifecycle import AnswerKind
from cases.models import (
    Answer,
    Case,
    Check,
    Flag,
    OutboxRow,
    Prescription,
    TimelineEntry,
    WorkOrder,
)
from cases.services import answers, bench, flags, outcome, readings, release
from cases.services.outcome import FitInput
from cases.tenancy import acting
from cases.timeline import chain_faults
from tests.play import (
    WANTED,
    Play,
    reading,
    signature_over,
    sufficient_unit,
    unit,
)

NEW_ROWS = [{"tooth": "36", **row} for row in sufficient_unit()["readings"]]


def test_a_sufficient_case_goes_straight_to_the_bench(play: Play):
    case = play.at_check(sufficient_unit())
    assert case.verdict == "sufficient"
    play.clear(case)
    order = play.release(case)
    assert order.number == 1
    assert play.fresh(case).state == "in_fabrication"


def test_a_short_case_cannot_be_cleared(play: Play):
    case = play.at_check(unit())
    assert case.verdict == "insufficient"
    with pytest.raises(Conflict) as refused:
        play.clear(case)
    assert refused.value.reasons == (
        "Tooth 36, lingual cusps: insufficient, not covered by an answer.",
    )
    assert play.fresh(case).state == "at_check"


def test_re_preparation_brings_a_new_round_and_clears(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    assert play.fresh(case).state == "on_hold"
    assert [s["site"] for s in flag.sites] == ["lingual_cusps"]
    answer = play.answer(flag, AnswerKind.RE_PREPARATION)
    assert answer.parameters["depth_mm"]["36"]["lingual_cusps"] == {
        "low": 0.0,
        "high": 0.5,
    }
    assert play.fresh(case).state == "awaiting_records"
    assert play.fresh(case).records_due == ["impression", "jaw_record", "readings"]
    sent = play.records(case, NEW_ROWS)
    assert (sent.state, sent.round, sent.verdict) == ("submitted", 2, "sufficient")
    play.receive(case)
    play.clear(case)
    order = play.release(case)
    assert [q["kind"] for q in order.content["queries"]] == ["re_preparation"]
    with acting(play.world.technician):
        bench.case_dispatch(
            actor=play.world.technician,
            code=case.code,
            version=None,
            note="",
            at=play.tick(),
        )
    with acting(play.world.assistant):
        outcome.fit_report(
            actor=play.world.assistant,
            code=case.code,
            version=None,
            report=FitInput(fitted=True, findings=["as_delivered"]),
            at=play.tick(),
        )
    assert play.fresh(case).state == "fitted"
    with acting(play.world.dentist):
        entries = list(TimelineEntry.objects.filter(case=case).order_by("position"))
        assert [e.event for e in entries] == [
            "case.submitted",
            "case.received",
            "flag.raised",
            "answer.signed",
            "records.sent",
            "case.received",
            "case.cleared",
            "work_order.released",
            "case.dispatched",
            "fit.reported",
        ]
        assert chain_faults(entries) == []


def test_change_of_material_makes_a_signed_revision(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(
        flag, AnswerKind.CHANGE_MATERIAL, changes={"36": {"material": "zirconia_3y"}}
    )
    changed = play.fresh(case)
    assert (changed.state, changed.revision, changed.verdict) == (
        "at_check",
        2,
        "sufficient",
    )
    with acting(play.world.dentist):
        second = Prescription.objects.get(case=case, revision=2)
        assert second.signature is not None
        assert second.units.get().material == "zirconia_3y"
        assert Check.objects.filter(case=case).count() == 2
    play.clear(case)
    play.release(case)


def test_accepted_risk_waits_for_the_countersignature(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(
        flag,
        AnswerKind.ACCEPT_RISK,
        grounds="Patient declines further preparation.",
        consent=True,
    )
    assert play.fresh(case).state == "on_hold"
    who = play.world.responsible
    with acting(who):
        countersigned_at = play.tick()
        held = Flag.objects.get(pk=flag.pk)
        answer = answers.pending_answer(held)
        content = answers.countersign_content(case=case, flag=held, answer=answer)
        answers.flag_countersign(
            actor=who,
            code=flag.code,
            version=None,
            accept=True,
            reason="",
            signature=signature_over(content),
            at=countersigned_at,
        )
    assert play.fresh(case).state == "at_check"
    play.clear(case)
    order = play.release(case)
    assert order.content["grounds"] == [
        {
            "tooth": "36",
            "site": "lingual_cusps",
            "quantity": "clearance",
            "verdict": "insufficient",
            "ground": "answer",
            "answer_kind": "accept_risk",
            "answer": answer.code,
            "given_by": "Responsible",
            "given_at": countersigned_at.isoformat(),
        }
    ]


def test_a_declined_risk_opens_the_query_again(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(flag, AnswerKind.ACCEPT_RISK, grounds="As it is.", consent=True)
    who = play.world.responsible
    with acting(who):
        answers.flag_countersign(
            actor=who,
            code=flag.code,
            version=None,
            accept=False,
            reason="Below the minimum of the instructions for use.",
            signature=None,
            at=play.tick(),
        )
        assert Flag.objects.get(pk=flag.pk).status == "open"
    assert play.fresh(case).state == "on_hold"
    play.answer(flag, AnswerKind.RE_PREPARATION)
    assert play.fresh(case).state == "awaiting_records"
    with acting(who):
        assert Answer.objects.filter(flag=flag).count() == 2


def test_coverage_is_void_after_a_new_reading(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(flag, AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    assert play.fresh(case).state == "at_check"
    who = play.world.technician
    with acting(who):
        readings.readings_add(
            actor=who,
            code=case.code,
            version=None,
            readings=[{"tooth": "36", **reading("lingual_cusps", passes_mm="1.2")}],
            at=play.tick(),
        )
    with pytest.raises(Conflict):
        play.clear(case)


def test_a_coping_covers_and_is_said_on_the_order(play: Play):
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.REDUCTION_COPING, grounds="One cusp only.")
    play.clear(case)
    assert play.release(case).content["coping_enclosed"] is True


def test_remount_keeps_what_was_read_in_the_mouth(play: Play):
    case = play.at_check(sufficient_unit())
    who = play.world.technician
    low = {
        "tooth": "36",
        **reading("lingual_cusps", held_mm="1.0"),
        "basis": "model",
    }
    with acting(who):
        checked = readings.readings_add(
            actor=who, code=case.code, version=None, readings=[low], at=play.tick()
        )
    assert checked.verdict != "sufficient"
    play.answer(play.flag(case, verified=True), AnswerKind.RE_MEASURE)
    again = play.fresh(case)
    assert (again.state, again.round, again.verdict) == ("at_check", 2, "sufficient")


def test_withdrawing_restores_state_and_work_order(play: Play):
    case = play.at_check(sufficient_unit())
    play.clear(case)
    order = play.release(case)
    who = play.world.technician
    with acting(who):
        flag = flags.flag_raise(
            actor=who,
            code=case.code,
            version=None,
            reasons=["shade"],
            text="Which shade at the neck?",
            sites=None,
            at=play.tick(),
        )
        assert WorkOrder.objects.get(pk=order.pk).status == "suspended"
        flags.flag_withdraw(
            actor=who,
            code=flag.code,
            version=None,
            reason="Found it in the notes.",
            at=play.tick(),
        )
        assert WorkOrder.objects.get(pk=order.pk).status == "active"
    assert play.fresh(case).state == "in_fabrication"


def test_a_second_release_supersedes_the_first_without_a_gap(play: Play):
    case = play.at_check(sufficient_unit())
    play.clear(case)
    first = play.release(case)
    who = play.world.technician
    with acting(who):
        flag = flags.flag_raise(
            actor=who,
            code=case.code,
            version=None,
            reasons=["other"],
            text="Is the relation normal?",
            sites=None,
            at=play.tick(),
        )
    play.answer(
        flag, AnswerKind.CHANGE_MATERIAL, changes={"36": {"material": "full_metal"}}
    )
    play.clear(case)
    second = play.release(case)
    assert (first.number, second.number) == (1, 2)
    with acting(who):
        assert WorkOrder.objects.get(pk=first.pk).status == "superseded"


def test_two_queries_leave_to_the_strongest_answer(play: Play):
    case = play.at_check(unit())
    first = play.flag(case)
    who = play.world.technician
    with acting(who):
        second = flags.flag_raise(
            actor=who,
            code=case.code,
            version=None,
            reasons=["jaw_record"],
            text="The jaw record does not seat.",
            sites=None,
            at=play.tick(),
        )
    play.answer(
        first, AnswerKind.CHANGE_MATERIAL, changes={"36": {"material": "zirconia_3y"}}
    )
    assert play.fresh(case).state == "on_hold"
    play.answer(second, AnswerKind.NEW_JAW_RECORD)
    assert play.fresh(case).state == "awaiting_records"
    assert play.fresh(case).records_due == ["jaw_record"]


def test_deferral_needs_a_date_and_resumes_to_new_records(play: Play):
    case = play.at_check(unit())
    flag = play.flag(case)
    play.answer(
        flag,
        AnswerKind.REFER,
        grounds="Too short a wall.",
        referral="crown_lengthening",
        review_on=date(2026, 6, 1),
    )
    assert play.fresh(case).state == "deferred"
    who = play.world.dentist
    with acting(who):
        bench.case_resume(
            actor=who, code=case.code, version=None, note="", at=play.tick()
        )
    assert play.fresh(case).state == "awaiting_records"


def test_an_answer_can_cancel_the_case(play: Play):
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.CANCEL, grounds="Extraction planned.")
    assert play.fresh(case).state == "cancelled"
    with pytest.raises(IllegalTransition):
        play.clear(case)


def test_an_undecided_point_above_the_need_is_cleared_on_the_record(play: Play):
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        {
            "site": "lingual_cusps",
            "position": "maximal_intercuspation",
            "method": "silicone_caliper",
            "value_mm": "1.55",
            "u_mm": "0.1",
        },
        reading("central_fossa", passes_mm="1.5"),
    ]
    case = play.at_check(unit(readings=rows))
    assert case.verdict == "undecided"
    with pytest.raises(Conflict):
        play.clear(case)
    cleared = play.clear(case, sites=[("36", "lingual_cusps")])
    assert cleared.state == "cleared"
    assert play.release(case).content["grounds"][0]["ground"] == "uncertainty"


def test_every_step_leaves_one_row_for_the_other_side(play: Play):
    case = play.at_check(unit())
    play.flag(case)
    with acting(play.world.technician):
        kinds = list(OutboxRow.objects.filter(case=case).values_list("kind", flat=True))
    with acting(play.world.dentist):
        told = sorted(
            OutboxRow.objects.filter(case=case).values_list("kind", flat=True)
        )
    assert kinds == ["case.submitted"]
    assert told == ["case.received", "flag.raised"]


def test_a_remake_opens_a_linked_draft_and_keeps_the_state(play: Play):
    case = play.at_check(sufficient_unit())
    play.clear(case)
    play.release(case)
    with acting(play.world.technician):
        bench.case_dispatch(
            actor=play.world.technician,
            code=case.code,
            version=None,
            note="",
            at=play.tick(),
        )
    who = play.world.dentist
    with acting(who):
        outcome.fit_report(
            actor=who,
            code=case.code,
            version=None,
            report=FitInput(fitted=False, findings=["too_high"]),
            at=play.tick(),
        )
        remake = outcome.remake_open(
            actor=who,
            code=case.code,
            version=None,
            cause="occlusion_high",
            attribution="undetermined",
            note="",
            at=play.tick(),
        )
        assert remake.new_case_id is not None
        new = Case.objects.get(pk=remake.new_case_id)
        assert (new.state, new.remake_of_id) == ("draft", case.pk)
    assert play.fresh(case).state == "not_fitted"


def test_release_is_refused_while_the_prescription_due_date_is_kept(play: Play):
    case = play.draft(sufficient_unit())
    assert case.wanted_on == WANTED
    with pytest.raises(Exception, match="There is no such thing here"):
        play.clear(case)


def test_release_needs_clear_first(play: Play):
    case = play.at_check(sufficient_unit())
    with acting(play.world.technician), pytest.raises(IllegalTransition):
        release.work_order_release(
            actor=play.world.technician, code=case.code, version=None, at=play.tick()
        )


def test_an_incisal_edge_may_be_read_as_clearance_and_as_reduction(play: Play):
    edge = reading("incisal_edge", "protrusion", passes_mm="1.0", held_mm="1.5")
    cut = {"site": "incisal_edge", "method": "index_probe", "value_mm": "0.5"}
    body = unit(tooth="11", material="lithium_disilicate", readings=[edge, cut])
    del body["occlusal_surface"]
    case = play.at_check(body)
    flag = play.flag(case)
    quantities = [s["quantity"] for s in flag.sites if s["site"] == "incisal_edge"]
    assert sorted(quantities) == ["clearance", "reduction"]
    play.answer(flag, AnswerKind.REDUCTION_COPING, grounds="One edge.")
    assert play.clear(case).state == "cleared"


def test_a_query_about_the_shade_is_answered_in_the_prescription(play: Play):
    case = play.at_check(sufficient_unit())
    who = play.world.technician
    with acting(who):
        flag = flags.flag_raise(
            actor=who,
            code=case.code,
            version=None,
            reasons=["shade", "finish_line"],
            text="Which shade, and which finish line lingually?",
            sites=None,
            at=play.tick(),
        )
    play.answer(
        flag,
        AnswerKind.CHANGE_DESIGN,
        changes={"36": {"shade": "Tab 3", "finish_line": "chamfer"}},
    )
    with acting(who):
        second = Prescription.objects.get(case=case, revision=2)
        made = second.units.get()
        assert (made.shade, made.finish_line) == ("Tab 3", "chamfer")
        assert made.material == "metal_ceramic"
        assert second.signature is not None
        assert second.signature.content["prescription"]["units"][0]["shade"] == "Tab 3"
    assert play.fresh(case).state == "at_check"

"""Drafts: what cannot be used is refused with its field, nothing half-written."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from cases.errors import Conflict, IllegalTransition, Invalid, NotAllowed, NotFound
from cases.models import Case, Prescription, Reading, Unit
from cases.services import drafts, flags, submission
from cases.services.drafts import PatientInput
from cases.tenancy import acting
from tests.play import (
    AT,
    WANTED,
    Play,
    draft_of,
    reading,
    signature_over,
    sufficient_unit,
    unit,
)

INDEX = "/units/0/readings/0"


def with_reading(**values) -> dict:
    return unit(readings=[reading("buccal_cusps", **values)])


def point(value: object) -> dict:
    return unit(
        readings=[
            {
                "site": "buccal_cusps",
                "position": "maximal_intercuspation",
                "method": "silicone_caliper",
                "value_mm": value,
            }
        ]
    )


def save(play: Play, case: Case, *units: dict, **changes) -> Case:
    who = play.world.assistant
    with acting(who):
        return drafts.draft_save(
            actor=who,
            code=case.code,
            version=None,
            draft=replace(draft_of(*units), **changes),
            at=play.tick(),
        )


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        (with_reading(passes_mm="NaN"), f"{INDEX}/passes_mm"),
        (with_reading(passes_mm="1_5"), f"{INDEX}/passes_mm"),
        (with_reading(passes_mm="two"), f"{INDEX}/passes_mm"),
        (with_reading(passes_mm="-1"), f"{INDEX}/passes_mm"),
        (with_reading(passes_mm="20.01"), f"{INDEX}/passes_mm"),
        (with_reading(passes_mm="1.005"), f"{INDEX}/passes_mm"),
        (point("1,500"), f"{INDEX}/value_mm"),
        (point(True), f"{INDEX}/value_mm"),
        (unit(tooth="19"), "/units/0/tooth"),
        (unit(tooth="55"), "/units/0/tooth"),
        (unit(material="unobtainium"), "/units/0/material"),
        (
            unit(readings=[reading("incisal_edge", passes_mm="1.0")]),
            f"{INDEX}/site",
        ),
        (unit(shade="A" * 41), "/units/0/shade"),
    ],
)
def test_a_value_that_cannot_be_is_named_and_nothing_is_stored(play, body, pointer):
    case = play.draft(unit())
    with pytest.raises(Invalid) as refused:
        save(play, case, body)
    assert pointer in [fault.pointer for fault in refused.value.fields]
    with acting(play.world.dentist):
        assert Case.objects.get(pk=case.pk).version == case.version
        assert Reading.objects.filter(case=case).count() == 3


def test_strips_out_of_order_are_refused(play: Play):
    case = play.draft(unit())
    with pytest.raises(Invalid):
        save(play, case, with_reading(passes_mm="1.5", held_mm="1.0"))


def test_a_bridge_that_jumps_a_tooth_is_refused(play: Play):
    case = play.draft(unit())
    first = unit(tooth="36", kind="retainer", span="A", readings=[])
    last = unit(tooth="34", kind="retainer", span="A", readings=[])
    with pytest.raises(Invalid) as refused:
        save(play, case, first, last)
    assert any(
        "/span" in f.pointer or "/units" in f.pointer for f in refused.value.fields
    )


def test_a_decimal_comma_is_one_and_a_half(play: Play):
    case = save(play, play.draft(unit()), point("1,5"))
    with acting(play.world.dentist):
        assert str(Reading.objects.get(case=case).value_mm) == "1.50"


def test_contact_is_accepted_as_zero(play: Play):
    case = save(play, play.draft(unit()), point("0"))
    with acting(play.world.dentist):
        assert Reading.objects.get(case=case).value_mm == 0


def test_a_due_date_in_the_past_is_refused(play: Play):
    case = play.draft(unit())
    with pytest.raises(Invalid) as refused:
        save(play, case, unit(), wanted_on=date(2026, 3, 1))
    assert [f.pointer for f in refused.value.fields] == ["/wanted_on"]


def test_saving_replaces_the_draft(play: Play):
    case = play.draft(unit())
    saved = save(play, case, unit(tooth="46"), patient=PatientInput(reference="P-200"))
    with acting(play.world.dentist):
        assert [u.tooth for u in Unit.objects.filter(case=case)] == ["46"]
        assert Prescription.objects.filter(case=case).count() == 1
        assert Case.objects.get(pk=case.pk).patient.reference == "P-200"
    assert saved.version == case.version + 1


def test_the_laboratory_and_the_neighbour_find_no_draft(play: Play):
    case = play.draft(unit())
    for who in (play.world.technician, play.world.outsider):
        with acting(who), pytest.raises(NotFound):
            drafts.draft_save(
                actor=who, code=case.code, version=None, draft=draft_of(unit()), at=AT
            )


def test_a_technician_prepares_no_case(play: Play):
    with acting(play.world.technician), pytest.raises(NotAllowed):
        drafts.case_create(
            actor=play.world.technician,
            laboratory="x",
            draft=draft_of(unit()),
            at=AT,
        )


def test_without_a_partnership_there_is_no_laboratory_to_choose(play: Play):
    with acting(play.world.dentist), pytest.raises(Invalid) as refused:
        drafts.case_create(
            actor=play.world.dentist,
            laboratory=play.world.other_laboratory.organisation_code,
            draft=draft_of(unit()),
            at=AT,
        )
    assert refused.value.fields[0].pointer == "/laboratory"


def test_discarding_leaves_nothing(play: Play):
    case = play.draft(unit())
    with acting(play.world.assistant):
        assert (
            drafts.case_discard(
                actor=play.world.assistant, code=case.code, version=None
            )
            == []
        )
    with acting(play.world.dentist):
        assert Case.objects.count() == 0
        assert Reading.objects.count() == 0


def test_a_submitted_case_is_not_discarded(play: Play):
    case = play.submit(play.draft(unit()))
    with acting(play.world.assistant), pytest.raises(IllegalTransition):
        drafts.case_discard(actor=play.world.assistant, code=case.code, version=None)


def test_an_incomplete_case_comes_back_as_a_new_revision(play: Play):
    case = play.at_check(unit())
    who = play.world.technician
    with acting(who):
        submission.case_incomplete(
            actor=who,
            code=case.code,
            version=None,
            missing="The opposing impression.",
            at=play.tick(),
        )
    better = reading("lingual_cusps", passes_mm="1.5")
    save(play, case, unit(readings=[better]))
    with acting(who):
        assert Prescription.objects.filter(case=case).count() == 1
    dentist = play.world.dentist
    with acting(dentist):
        fresh = Case.objects.get(pk=case.pk)
        submission.case_resubmit(
            actor=dentist,
            code=case.code,
            version=fresh.version,
            signature=signature_over(submission.submission_content(fresh)),
            at=play.tick(),
        )
    again = play.fresh(case)
    assert (again.state, again.revision, again.verdict) == (
        "submitted",
        2,
        "sufficient",
    )


def test_a_case_without_reading_is_not_submitted(play: Play):
    case = play.draft(unit(readings=[]))
    with acting(play.world.dentist), pytest.raises(Invalid):
        submission.submission_content(case)


def test_what_changed_after_it_was_shown_is_not_signed(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist):
        shown = signature_over(submission.submission_content(case))
    save(play, case, unit(tooth="46"))
    with acting(play.world.dentist), pytest.raises(Conflict):
        submission.case_submit(
            actor=play.world.dentist,
            code=case.code,
            version=None,
            signature=shown,
            at=AT,
        )


def test_a_due_date_that_passed_meanwhile_is_kept_but_not_sent(play: Play):
    case = play.draft(sufficient_unit())
    soon = (play.at + timedelta(days=14)).date()
    save(play, case, sufficient_unit(), wanted_on=soon)
    play.at += timedelta(days=20)
    save(play, case, sufficient_unit(), wanted_on=soon)
    with pytest.raises(Invalid) as refused:
        play.submit(case)
    assert [f.pointer for f in refused.value.fields] == ["/wanted_on"]
    save(play, case, sufficient_unit())
    assert play.submit(case).state == "submitted"


def test_a_correction_in_preparation_moves_no_date_of_the_case(play: Play):
    case = play.at_check(sufficient_unit())
    who = play.world.technician
    with acting(who):
        submission.case_incomplete(
            actor=who, code=case.code, version=None, missing="The scan.", at=play.tick()
        )
    later = date(2099, 6, 1)
    save(play, case, sufficient_unit(), wanted_on=later)
    with acting(who):
        assert Case.objects.get(pk=case.pk).wanted_on == WANTED
    dentist = play.world.dentist
    with acting(dentist):
        fresh = Case.objects.get(pk=case.pk)
        content = submission.submission_content(fresh)
        assert content["wanted_on"] == later.isoformat()
        submission.case_resubmit(
            actor=dentist,
            code=case.code,
            version=None,
            signature=signature_over(content),
            at=play.tick(),
        )
    assert play.fresh(case).wanted_on == later


def test_text_that_turns_the_reading_direction_is_refused(play: Play):
    case = play.draft(unit())
    with pytest.raises(Invalid) as refused:
        save(play, case, unit(), patient=PatientInput(reference="P\u202e2.0"))
    assert [f.pointer for f in refused.value.fields] == ["/patient/reference"]
    sent = play.at_check(unit())
    who = play.world.technician
    with acting(who), pytest.raises(Invalid) as refused:
        flags.flag_raise(
            actor=who,
            code=sent.code,
            version=None,
            reasons=["other"],
            text="Short by \u202e2.0 mm",
            sites=None,
            at=play.tick(),
        )
    assert [f.pointer for f in refused.value.fields] == ["/text"]

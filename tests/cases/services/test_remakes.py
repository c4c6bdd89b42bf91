"""Remakes: cause, teeth, evidence, what they go back to, who they go back to."""

import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError

from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import (
    Attachment,
    Case,
    OutboxRow,
    Prescription,
    Remake,
    RemakeEvidence,
    RemakeStatement,
    RemakeTrace,
    SiteVerdict,
    TimelineContent,
    TimelineEntry,
    Unit,
)
from cases.services import attachments, bench, outcome, remakes
from cases.services.outcome import FitInput
from cases.services.remake_parts import RemakeDetails
from cases.tenancy import acting
from tests.cases.services.remade import (
    PDF,
    built_at_risk,
    corrected_and_built,
    delivered,
    do,
    opened,
    pointers,
)
from tests.permissions.states import dispatched, in_fabrication
from tests.play import Play, sufficient_unit, unit


def bridge(play: Play) -> Case:
    """A bridge 35-37 and a crown on 46, delivered and not fitted."""
    span = {"span": "a", "material": "zirconia_3y", "occlusal_surface": None}
    rows = sufficient_unit()["readings"]
    wide = [{**row, "passes_mm": "8.0"} for row in rows]
    parts = [
        unit(tooth="35", kind="retainer", readings=rows, **span),
        unit(tooth="36", kind="pontic", readings=wide, **span),
        unit(tooth="37", kind="retainer", readings=rows, **span),
        unit(tooth="46", material="zirconia_3y", occlusal_surface=None, readings=rows),
    ]
    parts = [{k: v for k, v in p.items() if v is not None} for p in parts]
    connectors = [
        {"between": pair, "height_mm": "4.00", "width_mm": "4.00"}
        for pair in (["35", "36"], ["36", "37"])
    ]
    case = play.receive(play.submit(play.draft(*parts, connectors=connectors)))
    play.clear(case)
    play.release(case)
    return delivered(play, play.fresh(case))


def test_the_new_draft_carries_the_remade_teeth_only(play: Play):
    case = bridge(play)
    remake = opened(play, case, details=RemakeDetails(teeth=["46"]))
    with acting(play.world.dentist):
        new = Prescription.objects.get(case=remake.new_case)
        units = Unit.objects.filter(prescription=new)
        assert [one.tooth for one in units] == ["46"]
        assert (new.connectors, remake.teeth) == ([], ["46"])


def test_a_whole_bridge_keeps_its_connectors(play: Play):
    case = bridge(play)
    details = RemakeDetails(teeth=["37", "35", "36"])
    remake = opened(play, case, details=details)
    with acting(play.world.dentist):
        new = Prescription.objects.get(case=remake.new_case)
        assert [c["between"] for c in new.connectors] == [["35", "36"], ["36", "37"]]
        assert remake.teeth == ["35", "36", "37"]
    whole = opened(play, case, details=RemakeDetails(teeth=["35", "36", "37", "46"]))
    assert whole.teeth == []


@pytest.mark.parametrize(
    ("details", "where"),
    [
        (RemakeDetails(teeth=["35"]), ["/teeth"]),
        (RemakeDetails(teeth=["46", "11", "x"]), ["/teeth/1", "/teeth/2"]),
        (RemakeDetails(evidence=["0" * 10]), ["/evidence/0"]),
    ],
)
def test_what_is_not_of_the_case_is_refused(play: Play, details, where: list[str]):
    case = bridge(play)
    assert pointers(lambda: opened(play, case, details=details)) == where
    with acting(play.world.dentist):
        assert not Remake.objects.exists()
        assert Case.objects.count() == 1


def test_a_word_that_is_on_no_list_is_refused_beside_its_field(play: Play):
    case = delivered(play, in_fabrication(play))
    assert pointers(
        lambda: opened(
            play,
            case,
            cause="bad_luck",
            detected_at="framework",
            attribution="weather",
            note="x" * 4001,
        )
    ) == ["/cause", "/detected_at", "/attribution", "/note"]


def test_without_a_place_the_remake_says_after_dispatch(play: Play):
    case = delivered(play, in_fabrication(play))
    assert opened(play, case).detected_at == "after_dispatch"
    assert opened(play, case, detected_at="seating").detected_at == "seating"


# ---------- evidence ----------


def a_file(play: Play, case: Case, *, internal: bool = False) -> str:
    who = play.world.technician if internal else play.world.assistant
    return do(
        play,
        attachments.attachment_add,
        who,
        case.code,
        name="x.pdf",
        content=PDF,
        internal=internal,
    ).code


def test_evidence_is_chosen_from_the_case_or_added_with_it(play: Play):
    case = delivered(play, in_fabrication(play))
    code = a_file(play, case)
    details = RemakeDetails(evidence=[code], files=[("photo.pdf", PDF)])
    remake = opened(play, case, details=details)
    with acting(play.world.technician):
        shown = RemakeEvidence.objects.filter(remake=remake)
        assert shown.count() == 2
        assert Attachment.objects.filter(case=case).count() == 2


def test_the_laboratorys_own_file_is_no_evidence_of_the_clinic(play: Play):
    case = delivered(play, in_fabrication(play))
    code = a_file(play, case, internal=True)
    details = RemakeDetails(evidence=[code])
    assert pointers(lambda: opened(play, case, details=details)) == ["/evidence/0"]


def test_another_cases_file_is_no_evidence(play: Play):
    case = delivered(play, in_fabrication(play))
    other = a_file(play, in_fabrication(play))
    details = RemakeDetails(evidence=[other])
    assert pointers(lambda: opened(play, case, details=details)) == ["/evidence/0"]


def test_a_file_that_cannot_be_kept_leaves_nothing(play: Play, monkeypatch):
    case = delivered(play, in_fabrication(play))
    gone: list[str] = []
    monkeypatch.setattr("cases.services.remake_store.storage.delete", gone.append)
    details = RemakeDetails(files=[("a.pdf", PDF), ("b.exe", b"MZ")])
    assert pointers(lambda: opened(play, case, details=details)) == ["/files/1"]
    assert len(gone) == 1
    with acting(play.world.dentist):
        assert not Attachment.objects.filter(case=case).exists()
        assert not Remake.objects.exists()


# ---------- what it goes back to ----------


def traces(play: Play, remake: Remake) -> list[tuple]:
    with acting(play.world.technician):
        return [
            (
                t.site_verdict.site,
                t.site_verdict.verdict,
                t.answer.kind if t.answer else "",
                t.coverage is not None,
                t.automatic,
            )
            for t in RemakeTrace.objects.filter(remake=remake)
            .select_related("site_verdict", "answer", "coverage")
            .order_by("id")
        ]


def test_an_accepted_risk_that_came_true_is_traced_to_its_answer(play: Play):
    case = delivered(play, built_at_risk(play))
    remake = opened(play, case, "perforation")
    found = traces(play, remake)
    assert ("lingual_cusps", "insufficient", "accept_risk", True, True) in found
    assert {row[0] for row in found} == {"lingual_cusps"}


def test_a_site_that_was_short_at_first_is_traced_to_the_answer(play: Play):
    case = delivered(play, corrected_and_built(play))
    remake = opened(play, case, "fracture")
    assert traces(play, remake) == [
        ("lingual_cusps", "insufficient", "re_preparation", False, True)
    ]


@pytest.mark.parametrize("cause", ["shade", "marginal_fit", "patient"])
def test_a_cause_that_is_no_shortage_draws_no_line(play: Play, cause: str):
    case = delivered(play, built_at_risk(play))
    assert traces(play, opened(play, case, cause)) == []


def test_nothing_short_draws_no_line(play: Play):
    case = delivered(play, in_fabrication(play))
    assert traces(play, opened(play, case, "perforation")) == []


def test_an_internal_remake_is_traced_too(play: Play):
    case = built_at_risk(play)
    remake = do(
        play,
        bench.internal_remake,
        play.world.technician,
        case.code,
        version=None,
        cause="perforation",
        detected_at="final_check",
        note="",
        attribution="undetermined",
    )
    assert remake.attribution_laboratory == "undetermined"
    assert {row[:3] for row in traces(play, remake)} == {
        ("lingual_cusps", "insufficient", "accept_risk")
    }


def test_a_line_is_withdrawn_with_a_reason_and_another_added(play: Play):
    case = delivered(play, built_at_risk(play))
    remake = opened(play, case, "perforation")
    lab = play.world.technician
    with acting(lab):
        trace = RemakeTrace.objects.get(remake=remake)
        sites = trace.site_verdict.stored_check.site_verdicts
        other = sites.get(site="central_fossa")
    values = {"remake": remake.pk, "trace": trace.pk}
    service = remakes.remake_trace_withdraw
    say = "Ground through buccally."
    assert pointers(
        lambda: do(play, service, lab, case.code, reason=" ", **values)
    ) == ["/reason"]
    do(play, service, lab, case.code, reason=say, **values)
    with pytest.raises(Conflict):
        do(play, service, lab, case.code, reason=say, **values)
    add = {"remake": remake.pk, "site_verdict": other.pk}
    added = do(play, remakes.remake_trace_add, lab, case.code, **add)
    assert (added.automatic, added.made_by_name) == (False, "Technician")
    assert pointers(
        lambda: do(play, remakes.remake_trace_add, lab, case.code, **add)
    ) == ["/site_verdict"]
    back = {"remake": remake.pk, "site_verdict": trace.site_verdict_id}
    do(play, remakes.remake_trace_add, play.world.dentist, case.code, **back)
    with acting(lab):
        events = TimelineEntry.objects.filter(case=case, event="remake.traced")
        assert events.count() == 3


def test_a_line_leads_to_a_site_of_the_case_only(play: Play):
    case = delivered(play, built_at_risk(play))
    remake = opened(play, case, "perforation")
    other = delivered(play, built_at_risk(play))
    with acting(play.world.dentist):
        foreign = SiteVerdict.objects.filter(case=other, site="central_fossa")[0]
    assert pointers(
        lambda: do(
            play,
            remakes.remake_trace_add,
            play.world.dentist,
            case.code,
            remake=remake.pk,
            site_verdict=foreign.pk,
        )
    ) == ["/site_verdict"]


# ---------- attribution ----------


def stated(play: Play, who, case: Case, remake: Remake, word: str, **more):
    return do(
        play,
        remakes.remake_state,
        who,
        case.code,
        remake=remake.pk,
        attribution=word,
        **more,
    )


def test_each_side_states_and_the_latest_counts(play: Play):
    case = delivered(play, in_fabrication(play))
    remake = opened(play, case, attribution="laboratory")
    assert remake.attribution_clinic == "laboratory"
    version = play.fresh(case).version
    lab = play.world.technician
    stated(play, lab, case, remake, "clinic", note="The margin was open.")
    stated(play, lab, case, remake, "disputed")
    stated(play, lab, case, remake, "disputed")
    with acting(play.world.dentist):
        fresh = Remake.objects.get(pk=remake.pk)
        assert fresh.attribution_clinic == "laboratory"
        assert fresh.attribution_laboratory == "disputed"
        told = RemakeStatement.objects.filter(remake=remake).order_by("id")
        assert [(s.side, s.attribution) for s in told] == [
            ("clinic", "laboratory"),
            ("laboratory", "clinic"),
            ("laboratory", "disputed"),
        ]
        entries = TimelineEntry.objects.filter(case=case, event="remake.stated")
        assert entries.count() == 2
        first = TimelineContent.objects.get(entry=entries.order_by("position")[0])
        assert first.content["note"] == "The margin was open."
        assert play.fresh(case).version == version + 2
        sent = OutboxRow.objects.filter(case=case, kind="remake.stated")
        assert {row.organisation_id for row in sent} == {case.clinic_id}


@pytest.mark.parametrize(
    ("word", "note", "where"),
    [("", "", "/attribution"), ("fate", "", "/attribution"), ("clinic", "‮", "/note")],
)
def test_a_statement_that_cannot_be_is_refused(play: Play, word, note, where):
    case = delivered(play, in_fabrication(play))
    remake = opened(play, case)
    who = play.world.technician
    assert pointers(lambda: stated(play, who, case, remake, word, note=note)) == [where]


def test_only_who_may_states_and_only_on_a_remake_of_the_case(play: Play):
    case = delivered(play, in_fabrication(play))
    other = delivered(play, in_fabrication(play))
    remake = opened(play, case)
    with pytest.raises(NotAllowed):
        stated(play, play.world.assistant, case, remake, "shared")
    for who in (play.world.outsider, play.world.other_laboratory):
        with pytest.raises(NotFound):
            stated(play, who, case, remake, "shared")
    with pytest.raises(NotFound):
        stated(play, play.world.dentist, other, remake, "shared")


def test_the_database_lets_nobody_state_for_the_other_side(play: Play):
    case = delivered(play, in_fabrication(play))
    remake = opened(play, case)
    lab = play.world.technician
    with acting(lab), pytest.raises(DatabaseError), transaction.atomic():
        RemakeStatement.objects.create(
            remake=remake,
            side="clinic",
            attribution="clinic",
            made_by_id=lab.membership_id,
            made_by_name="Technician",
            made_at=play.tick(),
        )
    update = "UPDATE cases_remake SET attribution_clinic = 'clinic'"
    with (
        acting(lab),
        connection.cursor() as cursor,
        pytest.raises(DatabaseError),
        transaction.atomic(),
    ):
        cursor.execute(update)


def test_a_second_remake_of_the_same_case_is_a_row_of_its_own(play: Play):
    case = delivered(play, in_fabrication(play))
    one, two = opened(play, case), opened(play, case, "shade")
    assert one.new_case_id != two.new_case_id
    stated(play, play.world.technician, case, two, "shared")
    with acting(play.world.dentist):
        assert Remake.objects.get(pk=one.pk).attribution_laboratory == ""


def test_a_stale_version_opens_nothing(play: Play):
    case = dispatched(play)
    do(
        play,
        outcome.fit_report,
        play.world.assistant,
        case.code,
        version=None,
        report=FitInput(fitted=True),
    )
    with pytest.raises(Exception, match="changed"):
        opened(play, case, version=1)
    with acting(play.world.dentist):
        assert not Remake.objects.exists()


def test_invalid_is_raised_before_anything_is_stored(play: Play):
    case = delivered(play, in_fabrication(play))
    with pytest.raises(Invalid):
        opened(play, case, "moon")
    assert play.fresh(case).version == case.version

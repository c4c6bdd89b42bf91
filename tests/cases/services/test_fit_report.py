"""The fit report: several findings, where the other arch was adjusted, only once."""

from decimal import Decimal

import pytest

from cases.enums import Finding
from cases.errors import IllegalTransition, NotAllowed
from cases.models import FitReport
from cases.services import bench, outcome
from cases.services.outcome import FitInput
from cases.tenancy import acting
from tests.cases.services.remade import delivered, do, pointers
from tests.permissions.states import dispatched, in_fabrication
from tests.play import Play


def reported(play: Play, case, report: FitInput, who=None, **more):
    values = {"version": None, **more}
    return do(
        play,
        outcome.fit_report,
        who or play.world.assistant,
        case.code,
        report=report,
        **values,
    )


def test_several_findings_hold_at_once_and_keep_where_and_how_much(play: Play):
    case = dispatched(play)
    report = FitInput(
        fitted=True,
        findings=[
            "opposing_adjusted",
            "restoration_adjusted",
            "provisionally_cemented",
        ],
        opposing_adjusted_mm=Decimal("0.2"),
        opposing_teeth=["26", "25", "26"],
        minutes=14,
    )
    reported(play, case, report)
    with acting(play.world.technician):
        kept = FitReport.objects.get(case=case)
    assert kept.opposing_teeth == ["25", "26"]
    assert kept.findings == sorted(report.findings)
    assert (kept.opposing_adjusted_mm, kept.minutes) == (Decimal("0.20"), 14)


@pytest.mark.parametrize(
    ("report", "where"),
    [
        (FitInput(True, ["as_delivered", "too_high"]), ["/findings"]),
        (FitInput(False, ["as_delivered"]), ["/findings"]),
        (FitInput(False), ["/findings"]),
        (FitInput(True, opposing_teeth=["26"]), ["/opposing_teeth"]),
        (
            FitInput(True, ["opposing_adjusted"], opposing_teeth=["26", "46", "99"]),
            ["/opposing_teeth/1", "/opposing_teeth/2"],
        ),
        (
            FitInput(True, ["opposing_adjusted"], Decimal("-0.1")),
            ["/opposing_adjusted_mm"],
        ),
        (FitInput(True, minutes=-1), ["/minutes"]),
        (FitInput(True, note="x" * 4001), ["/note"]),
    ],
)
def test_a_report_that_cannot_be_names_its_fields(play: Play, report, where):
    case = dispatched(play)
    assert pointers(lambda: reported(play, case, report)) == where
    with acting(play.world.technician):
        assert not FitReport.objects.exists()


@pytest.mark.parametrize("stale", [False, True])
def test_the_second_report_reads_what_the_first_said(play: Play, stale: bool):
    case = dispatched(play)
    version = case.version if stale else None
    reported(play, case, FitInput(True, [Finding.RESTORATION_ADJUSTED]))
    with pytest.raises(IllegalTransition) as refused:
        reported(
            play,
            case,
            FitInput(False, ["too_high"]),
            play.world.dentist,
            version=version,
        )
    told = refused.value.text()
    assert refused.value.status == 409
    assert "Assistant reported the fit already" in told
    assert "Fitted, Restoration adjusted" in told
    with acting(play.world.technician):
        assert FitReport.objects.count() == 1


def test_before_dispatch_the_refusal_says_so(play: Play):
    case = in_fabrication(play)
    with pytest.raises(IllegalTransition, match="not left the laboratory"):
        reported(play, case, FitInput(True))


def test_the_role_is_asked_before_anything_is_told(play: Play):
    case = dispatched(play)
    reported(play, case, FitInput(True))
    with pytest.raises(NotAllowed):
        reported(play, case, FitInput(True), play.world.technician)


def test_work_that_came_back_is_reported_again(play: Play):
    case = delivered(play, in_fabrication(play))
    clinic, lab = play.world.dentist, play.world.technician
    do(play, bench.case_return, clinic, case.code, version=None, note="High.")
    do(play, bench.case_dispatch, lab, case.code, version=None, note="")
    reported(play, case, FitInput(True, ["restoration_adjusted"]))
    assert play.fresh(case).state == "fitted"

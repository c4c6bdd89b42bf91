"""The audit finds what was planted among thousands of cases, and nothing in chance."""

from datetime import UTC, datetime

import pytest

from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport, DoseResponse
from cases.management.volume.plan import PLANTED_MATERIAL
from cases.services.audit_report import audit_report
from cases.tenancy import Actor, acting
from tests.cases.volume.loaded import load, people

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

AT = datetime(2026, 6, 1, 7, tzinfo=UTC)
WHOLE = {"from": "2025-04", "to": "2026-05"}


def report_of(actor: Actor, **narrowed: str) -> AuditReport:
    filters = AuditFilters.read({**WHOLE, **narrowed}, today=AT.date())
    with acting(actor):
        return audit_report(actor=actor, filters=filters, at=AT)


def dose_of(report: AuditReport, basis: str, measure: str) -> DoseResponse:
    return next(d for d in report.dose if (d.basis, d.measure) == (basis, measure))


def test_the_planted_clinic_and_the_help_of_queries_are_found():
    load(
        cases=4000,
        seed=11,
        laboratories=1,
        clinics=6,
        plant=["clinic_twice", "queries_help"],
    )
    (manager,) = people("lab_manager")

    report = report_of(manager)

    assert report.n > 4000
    found = {finding.key: finding for finding in report.findings}
    assert {*found} == {"clinic", "opposing"}
    assert found["clinic"].params["clinic"] == "Volume clinic 1 (invented)"
    assert report.funnel is not None
    above = [p.label for p in report.funnel.points if p.place == "above_998"]
    assert above == ["Volume clinic 1 (invented)"]
    assert report.opposing.odds_ratio is not None
    assert report.opposing.odds_ratio < 0.7
    assert report.opposing.p is not None
    assert report.opposing.p < 0.001
    # Each clinic sees its own, and nothing that sets it beside the others.
    for other in people("clinic_manager"):
        own = report_of(other)
        assert 0 < own.n < report.n / 2
        assert own.funnel is None
        assert "clinic" not in own.rates


def test_the_planted_dose_response_is_found_in_its_material_alone():
    load(cases=4000, seed=11, laboratories=1, clinics=6, plant=["material_dose"])
    (manager,) = people("lab_manager")

    report = report_of(manager)

    keys = {finding.key for finding in report.findings}
    assert keys & {"dose", "dose_built"}
    # Because of it that material has more remakes than the others, and what was asked
    # about has more opposing teeth ground. No clinic and no period stands out.
    assert keys <= {"dose", "dose_built", "material", "opposing"}
    planted = report_of(manager, material=PLANTED_MATERIAL)
    other = report_of(manager, material="zirconia_3y")
    for basis in ("first", "built"):
        trend = dose_of(planted, basis, "adverse").trend
        assert trend is not None
        assert trend.z > 4
        assert trend.clustered_p is not None
        assert trend.clustered_p < 0.01
        nothing = dose_of(other, basis, "adverse").trend
        assert nothing is not None
        assert abs(nothing.z) < 3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_chance_alone_gives_no_finding(seed):
    load(cases=1500, seed=seed, laboratories=1, clinics=6, null=True)
    (manager,) = people("lab_manager")

    report = report_of(manager)

    assert report.n > 1500
    assert report.findings == ()
    assert report.funnel is not None
    assert not [p for p in report.funnel.points if p.place.endswith("998")]

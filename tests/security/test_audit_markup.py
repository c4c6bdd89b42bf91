"""Names and texts that want to be markup, formulas or templates, in every audit output."""

import csv
import io

import pytest
from django.core.cache import cache

from cases import clock
from cases.documents.audit_tables import NAMES
from cases.services.audit_set_up import note_add, settings_save
from cases.services.remake_causes import cause_add
from cases.tenancy import acting
from tests.audit_rows import multiplied
from tests.database import superuser
from tests.permissions.shape import play_of
from tests.permissions.states import dispatched
from tests.personas import Personas, client_of

HOSTILE = '=1+1;=2+2<svg onload=alert(1)>"{0.__class__}{p}%(n)s$\\frac{$'
PAGES = (
    "",
    "rates/",
    "clearance/",
    "queries/",
    "clinics/",
    "compare/",
    "cases/",
    "notes/",
)
API = ("summary", "rates", "causes", "control-chart", "funnel", "clearance", "queries")
PERIOD = "from=2025-07&to=2026-06"


@pytest.fixture
def named(personas: Personas) -> Personas:
    """Clinics, a cause, a note and people with hostile names, all of them shown."""
    cache.clear()
    dispatched(play_of(personas))
    actor = personas.lab_manager.actor
    at = clock.now()
    with acting(actor):
        cause = cause_add(actor=actor, label=HOSTILE[:60], at=at)
        note_add(actor=actor, on=at.date().replace(day=1), text=HOSTILE, at=at)
        settings_save(
            actor=actor,
            small_number=3,
            least_cases=5,
            compare_people=True,
            monthly_digest=True,
            currency="EUR",
            at=at,
        )
    clinic = str(personas.clinic_b.pk)
    who = str(personas.clinician_b.user.pk)
    bench = str(personas.technician.membership.pk)
    multiplied(1000, 1400)
    multiplied(2000, 2010, remade=True, cause=cause.code)
    multiplied(3000, 3150, clinic_id=clinic, prescriber_id=who, technician_id=bench)
    multiplied(
        4000,
        4060,
        remade=True,
        cause=cause.code,
        clinic_id=clinic,
        prescriber_id=who,
        technician_id=bench,
    )
    with superuser() as raw:
        raw.execute("UPDATE cases_organisation SET name = %s", [HOSTILE])
        raw.execute("UPDATE cases_user SET name = %s", [HOSTILE])
    return personas


@pytest.mark.django_db(transaction=True)
def test_names_stay_names(named: Personas) -> None:
    client = client_of(named.lab_manager)
    shown = 0
    for page in PAGES:
        answer = client.get(f"/audit/{page}?{PERIOD}")
        told = answer.content.decode()
        assert answer.status_code == 200, page
        assert "<svg onload" not in told, page
        assert "<class" not in told.replace("&lt;", "<"), page
        shown += "&lt;svg onload" in told
    assert shown >= 4
    for part in API:
        answer = client.get(f"/api/v1/audit/{part}?{PERIOD}")
        assert answer.status_code == 200, part
        assert answer.headers["Content-Type"] == "application/json", part
        assert answer.headers["X-Content-Type-Options"] == "nosniff", part
        assert "<class" not in answer.content.decode(), part
    cells = []
    for name in (
        *NAMES,
        "cases",
        "rates-clinic",
        "rates-clinician",
        "rates-technician",
    ):
        answer = client.get(f"/audit/export/{name}.csv?{PERIOD}")
        assert answer.status_code == 200, name
        text = answer.content.decode("utf-8-sig")
        assert "<class" not in text
        cells += [
            one
            for row in csv.reader(io.StringIO(text, newline=""), strict=True)
            for one in row
            if "1+1" in one
        ]
    assert len(cells) > 10
    # Neither as a cell, nor where a semicolon parts cells, does anything compute.
    for cell in cells:
        assert all(not part.lstrip().startswith("=") for part in cell.split(";")), cell
    answer = client.get("/audit/report.pdf?quarter=2026-Q1")
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF-")

"""Tables and the quarter's report as files of the pages."""

import csv
import io
import time
from dataclasses import replace
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from pypdf import PdfReader

from cases.documents.audit_tables import NAMES
from cases.forms.audit_words import audit_words
from cases.services.audit_turn import TURN
from cases.views import audit_export
from tests.audit_rows import multiplied
from tests.cases.documents.audit_samples import SETUP, rate, report
from tests.database import superuser
from tests.permissions.shape import play_of
from tests.permissions.states import dispatched
from tests.personas import Personas, client_of

REPORT = "/audit/report.pdf"


@pytest.fixture
def manager(personas: Personas) -> Client:
    """The laboratory's manager, with nobody's requests counted."""
    cache.clear()
    return client_of(personas.lab_manager)


@pytest.fixture
def sampled(manager: Client, monkeypatch) -> Client:
    """The manager over a report made by hand."""
    made = report(setup=replace(SETUP, labels=audit_words()))
    monkeypatch.setattr(audit_export, "audit_report", lambda **_asked: made)
    return manager


def _rows(response: Any) -> list[dict[str, str]]:
    assert response.content.startswith(b"\xef\xbb\xbf")
    text = response.content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("table", [*NAMES, "rates-material", "rates-kind"])
def test_every_table_is_a_download_nobody_keeps(sampled: Client, table):
    answer = sampled.get(f"/audit/export/{table}.csv?from=2026-07&to=2026-09")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/csv; charset=utf-8")
    assert answer.headers["Content-Disposition"] == (
        f'attachment; filename="audit-{table}_2026-07_2026-09_20261031T0630Z.csv"'
    )
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert _rows(answer)[0]["period_from"] == "2026-07"


def test_the_filter_stands_in_every_row(sampled: Client):
    answer = sampled.get("/audit/export/rates.csv?kind=crown&material=zirconia_3y")
    assert {row["filter"] for row in _rows(answer)} == {
        "material=zirconia_3y&kind=crown"
    }


def test_a_hidden_number_is_the_word_for_it(sampled: Client):
    rows = _rows(sampled.get("/audit/export/rates-kind.csv"))
    assert [row["count"] for row in rows] == ["28", "hidden", "hidden"]


def test_a_table_that_is_none_is_not_there(sampled: Client):
    for name in ("secrets", "rates-technician", "Rates", "rates.csv", "%2e%2e"):
        assert sampled.get(f"/audit/export/{name}.csv").status_code == 404, name


def test_a_period_that_is_none_is_refused(manager: Client):
    for query in ("from=2026-05&to=2026-01", "from=x", "outcome=lost"):
        answer = manager.get(f"/audit/export/rates.csv?{query}")
        assert answer.status_code == 422
        assert "Content-Disposition" not in answer.headers


def test_nothing_can_be_posted(manager: Client):
    assert manager.post("/audit/export/rates.csv").status_code == 405
    assert manager.post(REPORT).status_code == 405


@pytest.mark.parametrize(
    "asked", ["", "2026", "2026-Q0", "2026-Q5", "Q3-2026", "٢٠٢٦-Q3"]
)
def test_a_quarter_that_is_none_is_refused_with_an_example(manager: Client, asked):
    answer = manager.get(REPORT, {"quarter": asked})
    assert answer.status_code == 422
    assert "2026-Q3" in answer.content.decode()


def test_a_quarter_to_come_is_refused(manager: Client):
    assert manager.get(REPORT, {"quarter": "2098-Q1"}).status_code == 422


def _text(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


def test_the_quarter_is_the_period_whatever_else_is_asked(sampled: Client, monkeypatch):
    asked: list[Any] = []
    by: list[str] = []

    def made(**given: Any) -> Any:
        asked.append(given["filters"])
        by.append(given.get("charted_by", ""))
        return report(setup=replace(SETUP, labels=audit_words()))

    monkeypatch.setattr(audit_export, "audit_report", made)
    answer = sampled.get(
        REPORT, {"quarter": "2026-Q3", "from": "2020-01", "kind": "crown"}
    )
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/pdf"
    assert (
        'attachment; filename="audit-report_2026-07_2026-09_'
        in (answer.headers["Content-Disposition"])
    )
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    quarter, charted = asked
    # A month that is hidden must not follow from its quarter's total.
    assert by == ["", "quarter"]
    assert (quarter.first.isoformat(), quarter.last.isoformat()) == (
        "2026-07-01",
        "2026-09-01",
    )
    assert len(charted.months) == 24
    assert charted.last == quarter.last
    assert quarter.kind == charted.kind == "crown"
    said = _text(answer.content)
    assert "Quarter 3 of 2026" in said
    assert "Kind of restoration: Crown" in said


def test_who_asks_too_often_waits(sampled: Client, monkeypatch):
    monkeypatch.setattr(audit_export, "PER_MINUTE", 1)
    assert sampled.get(REPORT, {"quarter": "2026-Q3"}).status_code == 200
    assert sampled.get(REPORT, {"quarter": "2026-Q3"}).status_code == 429


def test_an_organisation_has_one_report_made_at_a_time(
    sampled: Client, personas: Personas
):
    with superuser() as elsewhere:
        elsewhere.execute(TURN, {"organisation": personas.laboratory.pk})
        assert sampled.get(REPORT, {"quarter": "2026-Q3"}).status_code == 429
    with superuser() as elsewhere:
        elsewhere.execute(TURN, {"organisation": personas.clinic_a.pk})
        assert sampled.get(REPORT, {"quarter": "2026-Q3"}).status_code == 200


def test_a_formula_in_a_clinics_name_computes_nothing(manager: Client, monkeypatch):
    attack = rate("remade", 20, 6, label='=cmd|" /C calc"!A0')
    made = report(headline=(attack,))
    monkeypatch.setattr(audit_export, "audit_report", lambda **_asked: made)
    (row,) = _rows(manager.get("/audit/export/headline.csv"))
    assert row["label"] == "'" + '=cmd|" /C calc"!A0'


@pytest.mark.django_db(transaction=True)
def test_a_quarter_of_real_cases(personas: Personas):
    """Every part of the chain: facts, figures, report, pictures, paper; in time."""
    cache.clear()
    dispatched(play_of(personas))
    multiplied(100, 180)
    multiplied(200, 208, remade=True, cause="shade")
    client = client_of(personas.lab_manager)
    client.get(REPORT, {"quarter": "2026-Q1"})
    began = time.monotonic()
    answer = client.get(REPORT, {"quarter": "2026-Q1"})
    took = time.monotonic() - began
    assert answer.status_code == 200
    said = _text(answer.content)
    assert "Restorations dispatched 91" in said
    assert "Laboratory L" in said
    # Measured: about a second; many times that would want a worker.
    assert took < 8
    rows = _rows(client.get("/audit/export/cases.csv?from=2026-01&to=2026-12"))
    assert len(rows) == 91
    assert "outcome" not in rows[0]

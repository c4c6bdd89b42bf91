"""A report as plain data: as the API's schemas say, and hiding what is hidden."""

import json
from dataclasses import replace
from datetime import date
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # -- it ships no types
import pytest

from cases.api.schemas import COMPONENTS
from cases.audit.filters import AuditFilters
from cases.audit.report_types import Opposing
from cases.canonical import canonical_json
from cases.documents.audit_csv import Table
from cases.documents.audit_data import PARTS, part_of, whole
from cases.documents.audit_keys import with_codes
from cases.documents.audit_tables import table_of
from tests.cases.documents.audit_samples import SETUP, rate, report

FILTERS = AuditFilters(date(2026, 7, 1), date(2026, 9, 1), material="zirconia_3y")
ANSWERS = {
    "summary": "AuditSummary",
    "rates": "AuditRates",
    "causes": "AuditCauses",
    "control-chart": "AuditControlChart",
    "funnel": "AuditFunnel",
    "clearance": "AuditClearance",
    "queries": "AuditQueries",
}


def _held(name: str, body: Any) -> None:
    schema = {
        "$ref": f"#/components/schemas/{ANSWERS[name]}",
        "components": {"schemas": COMPONENTS},
    }
    jsonschema.Draft202012Validator(schema).validate(body)


def test_every_part_has_its_schema():
    assert set(PARTS) == set(ANSWERS)


@pytest.mark.parametrize("name", PARTS)
def test_a_part_is_what_its_schema_promises(name):
    _held(name, part_of(report(), FILTERS, name))


@pytest.mark.parametrize("name", PARTS)
def test_a_part_of_nothing_is_too(name):
    empty = report(
        headline=(), findings=(), rates={}, causes=(), funnel=None, dose=(),
        options=(), waiting=(), flow=(), alarms=(),
    )  # fmt: skip
    _held(name, part_of(empty, FILTERS, name))


def test_every_answer_says_of_when_of_what_and_what_is_hidden():
    for name in PARTS:
        said = part_of(report(), FILTERS, name)
        assert said["as_of"] == "2026-10-31T06:30:00+00:00"
        assert said["period"] == {"from": "2026-07", "to": "2026-09"}
        assert said["filter"] == {"material": "zirconia_3y"}
        assert said["suppression"] == {
            "small_number": 5,
            "least_cases": 10,
            "suppressed": True,
        }


def test_a_hidden_row_has_neither_figures_nor_a_list_of_cases():
    rates = part_of(report(), FILTERS, "rates")["rates"]
    bridge = rates[1]["rows"][1]
    assert bridge["hidden"] == "small"
    assert [bridge[k] for k in ("count", "rate", "low", "high", "cases")] == [None] * 5
    assert bridge["n"] == 105


def test_an_infinite_odds_ratio_is_no_number():
    endless = Opposing(
        rate("without", 40, 20), rate("with", 40, 0), float("inf"), 0.001, 9, None
    )
    found = part_of(report(opposing=endless), FILTERS, "clearance")
    assert found["opposing"]["odds_ratio"] is None
    row = table_of(report(opposing=endless), "opposing")
    assert row.rows[0][row.columns.index("odds_ratio")] == float("inf")


def test_the_whole_has_a_canonical_form_and_all_parts():
    found = json.loads(canonical_json(whole(report(), FILTERS)))
    for name in PARTS:
        assert part_of(report(), FILTERS, name).items() <= found.items()


def _keys(table: Table) -> list[Any]:
    at = table.columns.index("key")
    return [row[at] for row in table.rows]


def test_clinics_are_known_by_their_codes_never_by_a_row_of_the_database():
    codes = {"clinic_code": {"1": "NNNNNNNNNN", "2": "SSSSSSSSSS"}}
    coded = report(setup=replace(SETUP, labels=codes))
    # The third is unknown to the labels: it has no key rather than a number.
    assert _keys(table_of(coded, "funnel")) == ["NNNNNNNNNN", "SSSSSSSSSS", ""]
    assert _keys(table_of(coded, "alarms")) == ["SSSSSSSSSS"]
    assert with_codes(coded).rates["material"] == coded.rates["material"]
    points = part_of(coded, FILTERS, "funnel")["funnel"]["points"]
    assert points[1]["key"] == "SSSSSSSSSS"

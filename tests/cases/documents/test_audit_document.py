"""The audit of a quarter on paper: archival, complete, hiding what is hidden."""

import io
import json
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pdfua
import pikepdf
import pytest
from pikepdf import pdfa
from pypdf import PdfReader

from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport
from cases.canonical import canonical_json, sha256_hex
from cases.charts.words import Words
from cases.documents.audit_data import whole
from cases.documents.audit_document import ATTACHED_NAME, AuditPaper, render_audit
from cases.documents.audit_sheet import Heading
from cases.forms.audit_words import audit_words
from tests.cases.documents.audit_samples import SETUP, rate, report
from tests.cases.documents.reading import pages, text

FILTERS = AuditFilters(date(2026, 7, 1), date(2026, 9, 1), material="zirconia_3y")
HEADING = Heading(
    organisation="Laboratory L",
    period="Quarter 3 of 2026",
    as_of="31 Oct 2026, 07:30 (UTC+01:00)",
    filters=(("Material", "Zirconia (3Y)"),),
    later="Some remakes are not all known yet.",
)


def sample(**changes: Any) -> AuditReport:
    return report(setup=replace(SETUP, labels=audit_words()), **changes)


def printed(found: AuditReport, **changes: Any) -> bytes:
    paper = AuditPaper(
        report=found,
        trend=found,
        filters=FILTERS,
        heading=HEADING,
        words=Words(labels=found.setup.labels),
    )
    return render_audit(replace(paper, **changes))


@cache
def usual() -> bytes:
    return printed(sample())


# What pikepdf cannot judge: the hatching of the pictures is a tiling pattern, which
# ISO 19005-3 allows (6.2.4 asks of its colours what it asks of all others).
UNJUDGED = {
    "pattern colour is not supported",
    "patterns are not supported",
    *(f"scn with a pattern /p{number}" for number in range(40)),
}


def test_the_file_is_pdf_a_3_by_the_rules_of_level_b():
    # As of the work order: the only finding is the claim of the stricter level A.
    with pikepdf.open(io.BytesIO(usual())) as pdf:
        found = [(f.rule, f.message) for f in pdfa.check(pdf, "3b").findings]
    judged = [
        one
        for one in found
        if not (one[0].startswith("pikepdf:") and one[1] in UNJUDGED)
    ]
    assert judged == [
        ("ISO_19005_3:6.6.4-3", "pdfaid:conformance is 'A', expected 'B'")
    ]


def test_the_file_is_accessible_as_far_as_a_machine_can_tell(tmp_path):
    path = tmp_path / "audit.pdf"
    path.write_bytes(usual())
    found = pdfua.validate(path).findings
    assert [(f.rule_id, f.severity.name) for f in found] == [("UA-28-004", "WARNING")]


def test_the_same_report_gives_the_same_bytes():
    assert printed(sample()) == usual()


def test_every_page_says_of_what_and_of_when_and_which_page_it_is():
    found = pages(usual())
    assert len(found) > 1
    for number, page in enumerate(found, 1):
        assert "Quarter 3 of 2026" in page
        assert "Laboratory L" in page
        assert "Data as of 31 Oct 2026, 07:30 (UTC+01:00)" in page
        assert f"{number} / {len(found)}" in page


def test_it_opens_with_filter_findings_and_headline():
    first = pages(usual())[0]
    assert "Material: Zirconia (3Y)" in first
    assert "Clinic South: 11.7 % of 205 restorations were made again." in first
    assert "Exact binomial, p = 0.0004." in first
    assert "Made again after dispatch 605 31 5.1 %" in first
    assert "not all known yet" in first


def test_every_section_is_there():
    found = text(usual())
    for title in (
        "Over time",
        "Causes",
        "Clinics",
        "Clearance at submission and outcome",
        "Clearance as built and outcome",
        "Opposing teeth",
        "Queries",
        "What became of them",
        "Rates",
        "Remakes that accumulate",
    ):
        assert title in found, title


def test_the_four_cautions_stand_on_it():
    found = text(usual())
    for words in (
        "Decision support only.",
        "The instructions for use of the actual material and batch come first",
        "Local dental, medical-device and privacy law applies",
        "Statistics show variation, not fault. Small numbers are hidden.",
    ):
        assert words in found


def test_without_findings_it_says_so():
    assert "can be told from chance" in text(printed(sample(findings=())))


def test_a_hidden_number_stands_nowhere_in_the_file():
    """4711 stands for what must not be told; no row that hides it may print it."""
    hidden = rate("secret", 4711, None, label="Rare material")
    found = sample(headline=(hidden,))
    said = text(printed(found))
    assert "Rare material 4711 < 5 – –" in said
    assert "hidden" in said  # the total of the sample, worked out otherwise


def test_a_clinic_has_no_page_of_clinics_and_no_remakes_before_dispatch():
    clinic = replace(SETUP, viewer="clinic", labels=audit_words())
    said = text(printed(report(setup=clinic, funnel=None, alarms=())))
    assert "Clinics" not in said
    assert "Before dispatch 6" not in said
    assert "Whom remakes go back to" in said


def test_the_figures_are_inside_and_their_digest_is_printed():
    reader = PdfReader(io.BytesIO(usual()))
    (attached,) = reader.attachments[ATTACHED_NAME]
    assert json.loads(attached)["period"] == {"from": "2026-07", "to": "2026-09"}
    assert attached == canonical_json(whole(sample(), FILTERS))
    assert sha256_hex(attached) in text(usual()).replace(" ", "")
    assert "null" in attached.decode()


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("<b>Clinic</b>", "<b>Clinic</b>"),
        ("Praxis Łódź", "Praxis Łódź"),
        ("Clinic \U0001f9b7", "Clinic [tooth]"),
        ("Clinic \u202exela", "Clinic xela"),
    ],
)
def test_a_name_is_printed_as_text_whatever_it_holds(name, shown):
    found = sample(headline=(rate("remade", 50, 20, label=name),))
    assert f"{shown} 50 20" in text(printed(found))


def test_it_can_be_read_without_colour():
    """What a mark means is never said by colour alone: every kind has its words."""
    said = text(usual())
    assert "above its limits" in said
    assert "too early to judge" in said
    assert "above the 99.8 % limit" in said

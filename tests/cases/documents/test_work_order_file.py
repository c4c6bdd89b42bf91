"""The file itself: archival form, what is inside, what it may load."""

import hashlib
import importlib.abc
import io
import json
import logging
import subprocess
import sys
from datetime import datetime

import pdfua
import pikepdf
import pytest
from pikepdf import pdfa
from pypdf import PdfReader

from cases.canonical import canonical_json, sha256_hex
from cases.documents import fonts
from cases.documents.pdf import Source, fetcher, write_pdf
from cases.documents.work_order import render_work_order
from cases.errors import DocumentError
from tests.cases.documents import samples
from tests.cases.documents.reading import markup_of, rendered

EVERY_SAMPLE = ("sufficient", "accepted_risk", "bridge", "mouthful")


@pytest.fixture(params=EVERY_SAMPLE)
def document(request) -> bytes:
    return rendered(request.param)


def pdfa_findings(document: bytes) -> list[tuple[str, str]]:
    with pikepdf.open(io.BytesIO(document)) as pdf:
        return [(f.rule, f.message) for f in pdfa.check(pdf, "3b").findings]


def test_the_file_is_pdf_a_3_by_the_rules_of_level_b(document):
    # pikepdf knows level B; ours claims the stricter level A (tagged), and that
    # claim is all it has to say. Rules: ISO 19005-3, as pikepdf names them.
    assert pdfa_findings(document) == [
        ("ISO_19005_3:6.6.4-3", "pdfaid:conformance is 'A', expected 'B'")
    ]


def test_the_file_is_accessible_as_far_as_a_machine_can_tell(tmp_path, document):
    path = tmp_path / "order.pdf"
    path.write_bytes(document)
    report = pdfua.validate(path)

    # ISO 14289-1 as far as pdfua checks it. One string names one variant, so a
    # PDF/A-3a does not claim PDF/UA as well; nothing else is found.
    assert [(f.rule_id, f.severity.name) for f in report.findings] == [
        ("UA-28-004", "WARNING")
    ]


def test_the_validators_find_faults_where_there_are_some(tmp_path):
    with pikepdf.open(io.BytesIO(rendered("sufficient"))) as pdf:
        del pdf.Root.OutputIntents
        del pdf.Root.StructTreeRoot
        del pdf.Root.Lang
        pdf.save(tmp_path / "broken.pdf")
    broken = (tmp_path / "broken.pdf").read_bytes()
    severities = {
        f.severity.name for f in pdfua.validate(tmp_path / "broken.pdf").findings
    }

    assert len(pdfa_findings(broken)) > 1
    assert "ERROR" in severities


def test_every_figure_and_header_cell_says_what_it_is():
    with pikepdf.open(io.BytesIO(rendered("accepted_risk"))) as pdf:
        elements = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary)]
        figures = [o for o in elements if o.get("/S") == "/Figure"]
        heads = [o for o in elements if o.get("/S") == "/TH"]
        alternatives = [str(o["/Alt"]) for o in figures]
        scopes = {str(o["/A"]["/Scope"]) for o in heads}

    assert len(figures) == 3
    assert "Tooth chart. Units: 36: crown, insufficient" in alternatives
    assert any(
        alternative.startswith("Clearance chart of tooth 36.")
        and "Lingual cusps: 1.0 to 1.5 of 1.5 mm, insufficient" in alternative
        for alternative in alternatives
    )
    assert any("QR code" in alternative for alternative in alternatives)
    assert scopes == {"/Column", "/Row"}


def test_the_attachment_is_the_canonical_content(document, request):
    sample = request.node.callspec.params["document"]
    content = getattr(samples, sample)()
    reader = PdfReader(io.BytesIO(document))

    assert {k: list(v) for k, v in reader.attachments.items()} == {
        "case.json": [canonical_json(content)]
    }


def test_the_attachment_is_data_of_the_document_dated_at_the_release():
    with pikepdf.open(io.BytesIO(rendered("sufficient"))) as pdf:
        [specification] = list(pdf.Root.AF)
        embedded = specification.EF.F
        relation = str(specification.AFRelationship)
        dates = {str(embedded.Params[key]) for key in ("/CreationDate", "/ModDate")}
        content = embedded.read_bytes()
        language = str(pdf.Root.Lang)

    released = samples.sufficient()["released_at"]
    assert relation == "/Data"
    assert {date[2:16] for date in dates} == {
        datetime.fromisoformat(released).strftime("%Y%m%d%H%M%S")
    }
    assert json.loads(content) == samples.sufficient()
    assert language == "en"


def test_only_our_own_fonts_are_used_and_all_are_embedded(document):
    with pikepdf.open(io.BytesIO(document)) as pdf:
        descriptors = [
            o
            for o in pdf.objects
            if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
        ]
        names = {str(o["/FontName"]).partition("+")[2] for o in descriptors}
        embedded = [
            any(key in o for key in ("/FontFile", "/FontFile2", "/FontFile3"))
            for o in descriptors
        ]

    assert descriptors
    assert all(embedded)
    assert all(name.startswith("Source-Sans-3") for name in names)


def test_the_title_names_the_order():
    information = PdfReader(io.BytesIO(rendered("sufficient"))).metadata

    assert information is not None
    assert information.title == "Work order 14, revision 1"


def test_the_markup_gives_weasyprint_nothing_to_complain_of(caplog):
    # The settings hush WeasyPrint; here every word counts.
    caplog.set_level(logging.WARNING, logger="weasyprint")
    render_work_order(**samples.render_arguments(samples.accepted_risk()))

    assert [r.getMessage() for r in caplog.records if r.name == "weasyprint"] == []


@pytest.mark.parametrize("sample", ["accepted_risk", "bridge"])
def test_identical_input_gives_identical_bytes_in_another_process(sample):
    script = (
        "import django, hashlib; django.setup()\n"
        "from cases.documents.work_order import render_work_order\n"
        "from tests.cases.documents import samples\n"
        f"body = samples.{sample}()\n"
        "document = render_work_order(**samples.render_arguments(body))\n"
        "print(hashlib.sha256(document).hexdigest())\n"
    )
    other = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    again = render_work_order(**samples.render_arguments(getattr(samples, sample)()))

    assert again == rendered(sample)
    assert other.stdout.strip() == hashlib.sha256(again).hexdigest()


def test_other_input_gives_other_bytes():
    body = samples.sufficient()
    body["pan_number"] = "42"

    assert render_work_order(**samples.render_arguments(body)) != rendered("sufficient")


@pytest.mark.parametrize(
    ("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))]
)
def test_paper_is_a4_or_letter(paper, size):
    document = render_work_order(
        **samples.render_arguments(samples.sufficient(), paper=paper)
    )
    boxes = [page.mediabox for page in PdfReader(io.BytesIO(document)).pages]

    assert {(round(b.width), round(b.height)) for b in boxes} == {size}
    assert pdfa_findings(document) == pdfa_findings(rendered("sufficient"))


def test_another_paper_is_refused():
    with pytest.raises(DocumentError, match="paper"):
        render_work_order(**samples.render_arguments(samples.sufficient(), paper="A5"))


def test_a_digest_that_is_not_the_contents_is_refused():
    arguments = samples.render_arguments(samples.sufficient())
    arguments["digest"] = sha256_hex(b"something else")

    with pytest.raises(DocumentError, match="digest"):
        render_work_order(**arguments)


@pytest.mark.parametrize(
    "address",
    [
        "http://192.0.2.1/x.png",
        "https://192.0.2.1/x.css",
        "file:///etc/hostname",
        "ftp://192.0.2.1/x",
        "font:../../../../settings.py",
        "font:/etc/hostname",
        "font:other.woff2",
        "FONT:source-sans-3-latin-400-normal.woff2",
        "jar:file:///x",
    ],
)
def test_nothing_but_data_and_our_fonts_is_fetched(address):
    loads = fetcher()
    # WeasyPrint's own error for "stop here" is no Exception, on purpose.
    with pytest.raises(BaseException, match=r"may not load|no font") as caught:
        loads.fetch(address)
    assert type(caught.value).__name__ == "FatalURLFetchingError"

    source = Source(
        html=f'<!doctype html><html lang="en"><title>x</title><img alt="x" src="{address}">',
        attached_name="case.json",
        attached=b"{}",
        attached_about="x",
        at=datetime.fromisoformat("2026-03-06T08:30:00+00:00"),
    )
    with pytest.raises(DocumentError):
        write_pdf(source)


def test_data_and_our_fonts_are_fetched():
    loads = fetcher()

    assert loads.fetch("data:text/plain,abc").read() == b"abc"
    name = fonts.Face("latin", 400).file_name
    assert loads.fetch(f"font:{name}").read() == fonts.font_bytes(name)


def test_a_missing_font_fails_and_is_named(monkeypatch, tmp_path):
    monkeypatch.setattr(fonts, "_FOLDER", tmp_path)

    with pytest.raises(DocumentError) as caught:
        render_work_order(**samples.render_arguments(samples.sufficient()))
    assert "source-sans-3-latin-400-normal.woff2" in caught.value.text()


def test_a_damaged_font_fails_too(monkeypatch, tmp_path):
    fonts.covered()  # as in a worker that has made documents before
    for file in fonts._FILES:
        (tmp_path / file).write_bytes(b"wOF2 but no font")
    monkeypatch.setattr(fonts, "_FOLDER", tmp_path)

    with pytest.raises(DocumentError) as caught:
        render_work_order(**samples.render_arguments(samples.sufficient()))
    assert "cannot be loaded" in caught.value.text()

    fonts._characters.cache_clear()
    fonts.covered.cache_clear()
    with pytest.raises(DocumentError) as caught:
        render_work_order(**samples.render_arguments(samples.sufficient()))
    assert caught.value.text().startswith("The font source-sans-3-latin-400")
    assert caught.value.text().endswith("is damaged.")


def test_one_damaged_weight_is_enough_to_fail(monkeypatch, tmp_path):
    fonts.covered()
    for file in fonts._FILES:
        good = "-400-" in file
        (tmp_path / file).write_bytes(fonts.font_bytes(file) if good else b"wOF2")
    monkeypatch.setattr(fonts, "_FOLDER", tmp_path)

    with pytest.raises(DocumentError) as caught:
        render_work_order(**samples.render_arguments(samples.sufficient()))
    assert "cannot be loaded" in caught.value.text()


def test_without_pango_the_error_names_the_line_to_type(monkeypatch):
    class NoPango(importlib.abc.MetaPathFinder):
        def find_spec(self, name, path, target=None):
            if name == "weasyprint":
                raise OSError("cannot load library 'libgobject-2.0-0'")

    monkeypatch.delitem(sys.modules, "weasyprint")
    monkeypatch.setattr(sys, "meta_path", [NoPango(), *sys.meta_path])
    with pytest.raises(DocumentError) as caught:
        render_work_order(**samples.render_arguments(samples.sufficient()))

    assert (
        "apt-get install --no-install-recommends libpango-1.0-0" in caught.value.text()
    )
    assert caught.value.status == 503


def test_only_the_parts_of_the_font_that_a_text_needs_are_loaded(monkeypatch):
    def parts(body) -> set[str]:
        html = markup_of(monkeypatch, body)
        return {p for p in fonts._PARTS if f"source-sans-3-{p}-400" in html}

    greek = samples.sufficient() | {"released_by": "Νίκος"}

    assert parts(samples.sufficient()) == {"latin"}
    assert parts(greek) == {"latin", "greek"}

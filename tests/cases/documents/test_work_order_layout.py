"""How the document stands on paper, whatever people wrote."""

import io
from typing import Any

import pytest
from pypdf import PdfReader

from cases.canonical import canonical_json
from cases.documents.work_order import PatientLine, render_work_order
from tests.cases.documents import samples
from tests.cases.documents.reading import (
    laid_out,
    marks_of,
    markup_of,
    sources_of,
    text,
    unbroken,
)
from tests.cases.documents.test_work_order_file import pdfa_findings

HTML = (
    "</style></p></td><script>alert(1)</script><img src=http://192.0.2.1/x.png>"
    "<link rel=attachment href=file:///etc/hostname>{{ 7 }}{% now 'Y' %}&lt;&#65;"
)
RTL = "\u202eevil\u202c שלום עולם مرحبا"
EMOJI = "\U0001f9b7\U0001f600 ✔ 中文"
LONG = "W" * 4000


def hostile() -> dict[str, Any]:
    """A content with bad text in every place a person can write."""
    nasty = f"{HTML} {RTL} {EMOJI}\x00 x{chr(0x336) * 50}"
    body = samples.accepted_risk()
    unit = body["units"][0] | {
        "shade": "W" * 40,
        "finish_line": "W" * 20,
        "span": "W" * 8,
        "material_label": "W" * 60,
    }
    unit["readings"] = [r | {"note": HTML} for r in unit["readings"]]
    signature = body["prescription_signature"] | {
        "name": "N" * 120,
        "meaning": nasty[:300],
        "signed_for": "S" * 120,
    }
    query = body["queries"][0] | {
        "question": LONG,
        "grounds": nasty + "\n\n" + LONG,
        "raised_by": nasty[:120],
        "signature": signature,
    }
    return body | {
        "units": [unit],
        "queries": [query, query | {"flag": "OTHER", "kind": "refer"}],
        "notes": nasty + LONG,
        "occlusal_scheme": "O" * 60,
        "disinfection": HTML[:60],
        "jaw_record": "J" * 60,
        "pan_number": "P" * 20,
        "laboratory": {"code": "L", "name": HTML, "address": nasty},
        "clinic": body["clinic"] | {"name": "C" * 120, "address": HTML},
        "prescriber": {"name": RTL, "licence_number": "9" * 40},
        "prescription_signature": signature,
        "released_by": nasty[:120],
    }


PATIENT = PatientLine(reference="<b>R</b>" + "R" * 32, initials="<i>é", age_band="<40")


@pytest.fixture(scope="module")
def document() -> bytes:
    return render_work_order(**samples.render_arguments(hostile(), patient=PATIENT))


def test_markup_of_people_is_printed_and_not_obeyed(document):
    found = unbroken(document)

    assert HTML.replace(" ", "") in found
    assert "<b>R</b>" in found
    # The question twice, the grounds twice, the notes; a page may break each.
    assert found.count("W") >= 5 * 4000


def test_reading_order_cannot_be_turned(document):
    assert "\u202e" not in text(document)
    assert "evil" in text(document)


def test_names_in_other_alphabets_are_read_back_as_written():
    names = ["Łucja Žižková", "Nguyễn Thị Hằng", "Νίκος Παππάς", "Иван Йорданов"]
    body = samples.sufficient() | {"released_by": names[2], "notes": "; ".join(names)}
    body["prescriber"] |= {"name": names[3]}
    found = text(render_work_order(**samples.render_arguments(body)))

    # Several parts of the font meet here; each must print its own glyphs.
    assert all(name in found for name in names)
    assert found.count(names[2]) == 2
    assert found.count(names[3]) == 2


def test_pictographs_are_named(document):
    found = text(document)

    assert "[grinning face]" in found
    assert "[tooth]" in found
    assert "[heavy check mark]" in found


def test_hostile_text_leaves_the_file_valid(document):
    assert pdfa_findings(document) == [
        ("ISO_19005_3:6.6.4-3", "pdfaid:conformance is 'A', expected 'B'")
    ]


def test_hostile_text_gives_identical_bytes_too(document):
    again = render_work_order(**samples.render_arguments(hostile(), patient=PATIENT))

    assert again == document


def test_the_attachment_keeps_what_was_written(document):
    [attached] = PdfReader(io.BytesIO(document)).attachments["case.json"]

    assert attached == canonical_json(hostile())
    assert EMOJI.encode() in attached


def test_a_character_without_any_font_is_named_in_a_second_attempt(monkeypatch):
    rare = "\U00012000"  # cuneiform: in no font that comes with Pango
    body = samples.sufficient() | {"notes": f"before {rare} after"}
    seen = sources_of(monkeypatch, body)

    assert len(seen) == 2
    assert rare in seen[0].html
    assert "before [cuneiform sign a] after" in seen[1].html


def _overflow(page: Any) -> list[str]:
    """Return the texts that reach beyond the page's content area."""
    area = page._page_box
    left, right = area.content_box_x(), area.content_box_x() + area.width
    bottom = area.content_box_y() + area.height
    return [
        getattr(box, "text", "picture")
        for box, _tags in marks_of(page)
        if box.position_x < left - 1
        or box.position_x + box.width > right + 1
        or box.position_y + box.height > bottom + 1
    ]


SAMPLES = ("sufficient", "accepted_risk", "asked", "coping", "bridge", "mouthful")


@pytest.fixture(params=[*SAMPLES, "hostile"])
def layout(request, monkeypatch):
    body = (
        hostile() if request.param == "hostile" else getattr(samples, request.param)()
    )
    return laid_out(markup_of(monkeypatch, body))


def test_nothing_is_cut_off_and_no_heading_ends_a_page(layout):
    for page in layout.pages:
        assert _overflow(page) == []
        boxes = sorted(
            marks_of(page), key=lambda found: found[0].position_y + found[0].height
        )
        _last, tags = boxes[-1]
        assert not {"h1", "h2", "h3", "h4", "thead"} & set(tags)


def test_a_wide_word_would_be_noticed():
    # The measure itself: a text that cannot break must be found.
    html = (
        "<!doctype html><html lang=en><title>x</title>"
        f"<p style='white-space: nowrap'>{'W' * 400}</p>"
    )

    assert [len(found) for found in _overflow(laid_out(html).pages[0])] == [400]

"""The case page on paper: grey, without buttons, with every verdict as a word."""

from io import BytesIO

import pytest
from playwright.sync_api import Page
from pypdf import PdfReader

from tests.browser.hands import sign_in
from tests.play import Play, reading, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


def test_a_printed_case_says_its_verdicts(play: Play, page: Page, tmp_path):
    mixed = unit(
        readings=[
            reading("buccal_cusps", passes_mm="2.0"),
            reading("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
        ]
    )
    case = play.at_check(mixed)
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/")
    page.emulate_media(media="print")

    printed = page.locator("body").inner_text()
    for word in ("sufficient", "insufficient", "unmeasured", "short by up to 0.5"):
        assert word in printed
    for pressed in (".btn", ".compose", ".nav", ".skip"):
        assert page.locator(f"{pressed}:visible").count() == 0
    colours = page.evaluate(
        """() => Array.from(document.querySelectorAll(".verdict, .state"))
            .map(e => getComputedStyle(e).color)"""
    )
    assert colours
    for colour in colours:
        red, green, blue = (int(c) for c in colour[4:-1].split(",")[:3])
        assert red == green == blue, colour


def test_a_printed_derivation_begins_under_its_heading(play: Play, page: Page):
    case = play.at_check(unit())
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/why/36/lingual_cusps/clearance/")

    first = PdfReader(BytesIO(page.pdf(format="A4"))).pages[0].extract_text()

    assert "How the verdict came about" in first
    assert "Step by step" in first

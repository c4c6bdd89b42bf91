"""The chair guide in a browser: it follows each choice, and prints on one page."""

import io

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.hands import sign_in
from tests.browser.windows import Windows
from tests.play import Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]

PLANS = {
    "molar": "tooth=26&material=metal_ceramic",
    "incisor": "tooth=21&material=lithium_disilicate",
    "both prepared": "tooth=36&material=zirconia_3y&antagonist=prepared"
    "&facing-tooth=26&facing-material=metal_ceramic",
    "onlay": "tooth=15&kind=onlay&material=resin_ceramic",
}


def test_every_plan_prints_on_one_page(play: Play, page: Page):
    sign_in(page, play.world.dentist)
    for name, query in PLANS.items():
        page.goto(f"/guide/?{query}")
        paper = PdfReader(io.BytesIO(page.pdf(format="A4")))
        assert len(paper.pages) == 1, name
        said = " ".join(paper.pages[0].extract_text().split())
        for words in (
            "Try before the impression",
            "Keep in mind",
            "Other figures",
            "Sources",
            "Decision support only",
        ):
            assert words in said, (name, words)
        assert "What is made" not in said


def test_paper_is_grey(play: Play, page: Page):
    sign_in(page, play.world.technician)
    page.goto(f"/guide/?{PLANS['molar']}")
    page.emulate_media(media="print")
    colours = page.evaluate(
        """() => Array.from(document.querySelectorAll(".guide-plan *"))
            .flatMap(e => { const s = getComputedStyle(e);
                            return [s.color, s.fill, s.stroke]; })
            .filter(c => c.startsWith("rgb("))"""
    )
    assert len(colours) > 100
    for colour in set(colours):
        red, green, blue = (int(c) for c in colour[4:-1].split(","))
        assert red == green == blue, colour


def settled(page: Page) -> None:
    """Wait until what was swapped listens again: some 20 ms, which no hand is as fast."""
    expect(
        page.locator(".htmx-request, .htmx-swapping, .htmx-settling, .htmx-added")
    ).to_have_count(0)


def test_a_choice_changes_plan_and_address(play: Play, phone: Page):
    sign_in(phone, play.world.assistant)
    phone.goto("/guide/")
    phone.get_by_role("radio", name="36, lower left first molar").check(force=True)
    expect(phone.locator("#tooth-panel summary")).to_contain_text("36")
    settled(phone)
    phone.get_by_label("Material").focus()
    phone.get_by_label("Material").select_option("zirconia_3y")
    plan = phone.locator(".guide-plan")
    expect(plan).to_contain_text("0.7 mm thickness must slide freely")
    expect(phone.get_by_label("Material")).to_be_focused()
    assert "tooth=36" in phone.url
    assert "material=zirconia_3y" in phone.url
    settled(phone)
    phone.get_by_label("Material").select_option("metal_ceramic")
    expect(plan).to_contain_text("2.0 mm thickness must slide freely")
    phone.reload()
    expect(plan).to_contain_text("2.0 mm thickness must slide freely")


def test_it_works_without_script(play: Play, windows: Windows):
    page = windows.desk(script=False)
    sign_in(page, play.world.dentist)
    page.goto("/guide/")
    page.get_by_role("radio", name="11, upper right central incisor").check(force=True)
    page.get_by_label("Material").select_option("full_metal")
    page.get_by_role("button", name="Show the plan").click()
    expect(page.locator(".guide-plan")).to_contain_text("Palatal surface")
    expect(page.get_by_role("button", name="Print on one page")).to_have_count(0)

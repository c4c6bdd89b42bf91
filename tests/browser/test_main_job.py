"""The main job by both sides, each in a window of their own."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from cases.tasks import relay_outbox
from tests.browser.hands import (
    begin_case,
    move,
    open_case,
    press,
    reading,
    sign,
    sign_in,
    state,
)
from tests.browser.windows import Windows
from tests.play import Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]
REFERENCE = "P-2001"


def make_draft(page: Page) -> None:
    """The assistant types what is called at the chair: lingually short."""
    begin_case(page, REFERENCE, "36", "Metal-ceramic")
    reading(page, "Buccal cusps").get_by_label("Slides freely").fill("2,0")
    lingual = reading(page, "Lingual cusps")
    lingual.get_by_label("Slides freely").fill("1")
    lingual.get_by_label("Is held").fill("1.5")
    reading(page, "Central fossa").get_by_label("Slides freely").fill("1.5")
    page.get_by_label("Shade", exact=True).last.fill("Tab 3")
    expect(page.locator("#verdict")).to_contain_text("insufficient")
    press(page, "Look through")
    expect(page.locator("main")).to_contain_text("Ready for signature by Dentist")


def raise_query(page: Page) -> None:
    """The technician sees within one look what is short, and asks."""
    expect(page.locator(".page-head")).to_contain_text("insufficient")
    expect(page.locator("main")).to_contain_text("short by up to 0.5")
    page.keyboard.press("f")
    question = page.get_by_label("Question to the clinician")
    expect(question).to_have_value(re.compile("Lingual cusps"))
    press(page, "Raise a query")
    expect(state(page)).to_have_text("on hold")


def answer_on_phone(phone: Page) -> None:
    """The clinician chooses the re-preparation, looks, signs."""
    open_case(phone, REFERENCE)
    move(phone, "Answer the query")
    chosen = phone.get_by_role("radio", name="Re-preparation")
    way = phone.locator("li.option").filter(has=chosen)
    expect(way).to_contain_text("0.0 to 0.5 mm")
    chosen.check()
    press(phone, "Look at what you sign")
    expect(phone.locator("main")).to_contain_text("Exactly this is signed")
    sign(phone, "Sign the answer")
    expect(state(phone)).to_have_text("waiting for new records")


def send_records(page: Page) -> None:
    """The assistant sends the new reading; the others still hold."""
    page.reload()
    move(page, "Send the new records")
    lingual = reading(page, "Lingual cusps")
    lingual.get_by_label("Slides freely").fill("1.5")
    for again in page.get_by_label(re.compile("Not cut again")).all():
        again.check()
    for sent in ("Impression", "Jaw record"):
        page.get_by_label(re.compile(rf"^{sent}")).first.check()
    press(page, "Send the new records")
    expect(state(page)).to_have_text("sent, not yet received")


def receive(page: Page, pan: str) -> None:
    """The technician logs what arrived."""
    move(page, "Log the receipt")
    page.get_by_label("Impression", exact=True).check()
    page.get_by_label("Pan number").fill(pan)
    press(page, "Log the receipt")
    expect(state(page)).to_have_text("at check")


def release(page: Page, folder: Path) -> None:
    """The technician clears and releases; the document is made and fetched."""
    move(page, "Clear for fabrication")
    press(page, "Clear for fabrication")
    expect(state(page)).to_have_text("cleared")
    move(page, "Release the work order")
    press(page, "Release the work order")
    expect(state(page)).to_have_text("in fabrication")
    relay_outbox()
    page.reload()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the PDF").click()
    file = folder / "order.pdf"
    download.value.save_as(file)
    text = "".join(one.extract_text() for one in PdfReader(file).pages)
    assert REFERENCE in text
    assert "1.5" in text


def test_from_a_short_site_to_a_fitted_crown(
    play: Play, windows: Windows, tmp_path: Path
):
    assistant, dentist, bench = windows.desk(), windows.desk(), windows.desk()
    sign_in(assistant, play.world.assistant)
    sign_in(dentist, play.world.dentist)
    sign_in(bench, play.world.technician)

    make_draft(assistant)
    dentist.reload()
    open_case(dentist, REFERENCE)
    move(dentist, "Sign and send")
    sign(dentist, "Sign and send")
    expect(state(dentist)).to_have_text("sent, not yet received")
    bench.reload()
    open_case(bench, REFERENCE)
    receive(bench, "7")
    raise_query(bench)

    phone = windows.phone()
    sign_in(phone, play.world.dentist)
    answer_on_phone(phone)
    assistant.goto("/work/")
    open_case(assistant, REFERENCE)
    send_records(assistant)
    bench.reload()
    receive(bench, "8")
    release(bench, tmp_path)
    move(bench, "Dispatch")
    press(bench, "Dispatch")
    expect(state(bench)).to_have_text("dispatched")

    phone.goto("/work/")
    phone.get_by_role("link", name=re.compile(f"^{REFERENCE}")).tap()
    phone.get_by_role("link", name="Report the fit").tap()
    phone.get_by_role("button", name="Fitted as delivered").tap()
    expect(state(phone)).to_have_text("fitted")

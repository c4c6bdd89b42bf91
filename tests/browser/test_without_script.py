"""Everything still works where no script runs."""

import re

import pytest
from playwright.sync_api import Page, expect

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


def add_reading(page: Page, position: str) -> None:
    """Add a reading of another jaw position to the first site on the list."""
    page.get_by_text("Another site or jaw position").click()
    page.get_by_label("Site", exact=True).select_option(label="Buccal cusps")
    page.get_by_label("Jaw position", exact=True).select_option(label=position)
    press(page, "Add the reading")


def test_a_case_is_made_sent_and_talked_about(play: Play, windows: Windows):
    page = windows.phone(script=False)
    sign_in(page, play.world.dentist)
    begin_case(page, "P-2002", "36", "Zirconia 3Y")
    add_reading(page, "Right laterotrusion")
    row = reading(page, "Buccal cusps right laterotrusion")
    row.get_by_label("Slides freely").fill("1.5")
    for site in ("Buccal cusps maximal", "Lingual cusps", "Central fossa"):
        reading(page, site).get_by_label("Slides freely").fill("1.5")
    press(page, "Save the draft")
    expect(page.locator("main")).to_contain_text("The draft is saved.")
    expect(page.locator("#verdict")).to_contain_text("sufficient")
    press(page, "Look through and sign")
    sign(page, "Sign and send")
    expect(state(page)).to_have_text("sent, not yet received")

    page.get_by_label("Message", exact=True).fill("The impression leaves at noon.")
    press(page, "Send")
    thread = page.get_by_role("region", name="Conversation")
    expect(thread).to_contain_text("The impression leaves at noon.")

    bench = windows.desk(script=False)
    sign_in(bench, play.world.technician)
    open_case(bench, "P-2002")
    move(bench, "Log the receipt")
    bench.get_by_label("Impression", exact=True).check()
    press(bench, "Log the receipt")
    expect(state(bench)).to_have_text("at check")
    bench.get_by_role("link", name=re.compile("^Clear for fabrication")).click()
    press(bench, "Clear for fabrication")
    expect(state(bench)).to_have_text("cleared")


def test_a_refused_reading_keeps_what_was_typed(play: Play, windows: Windows):
    windows.watch.expect(422)
    page = windows.desk(script=False)
    sign_in(page, play.world.dentist)
    begin_case(page, "P-2003", "36", "Zirconia 3Y")
    field = reading(page, "Lingual cusps").get_by_label("Slides freely")
    field.fill("1_5")
    press(page, "Save the draft")

    summary = page.locator("[data-errors]")
    expect(summary).to_contain_text("36, Lingual cusps, maximal intercuspation")
    expect(field).to_have_value("1_5")
    assert page.title().startswith("Error: ")
    summary.get_by_role("link").first.click()
    assert page.url.split("#")[1]

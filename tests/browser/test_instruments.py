"""A strip set is entered, found beforehand at the chair, and decides there."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.hands import sign_in
from tests.browser.windows import Windows
from tests.play import Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


def enter_set(page: Page) -> None:
    """Enter a set whose 2.0 strip measures 1.96."""
    page.goto("/people/")
    page.get_by_role("link", name="Instruments").click()
    page.get_by_role("link", name="Enter an instrument").click()
    page.get_by_label("Name").fill("Strips, room 2")
    page.get_by_role("group", name="Strip 1").get_by_label("Written on it").fill("1,5")
    second = page.get_by_role("group", name="Strip 2")
    second.get_by_label("Written on it").fill("2.0")
    second.get_by_label("Measured").fill("1.96")
    second.get_by_label("Measured").press("Enter")
    expect(page.get_by_text("Stored. Readings may name it")).to_be_visible()


def test_a_set_entered_decides_at_the_chair(play: Play, windows: Windows):
    page = windows.desk()
    sign_in(page, play.world.assistant)
    enter_set(page)
    page.goto("/chair/?tooth=36&material=metal_ceramic")
    row = page.get_by_role("group", name=re.compile("Buccal cusps"))
    chosen = row.get_by_label("Set of strips")
    expect(chosen.locator("option:checked")).to_have_text("Strips, room 2")

    row.get_by_label("Slides freely").fill("2.0")
    told = page.locator("#verdict")
    expect(told).to_contain_text("1.96 or more")
    chosen.select_option(label="none named")

    expect(told).to_contain_text("2.0 or more")
    expect(told).not_to_contain_text("1.96 or more")


def test_the_list_goes_with_the_method(play: Play, windows: Windows):
    page = windows.desk()
    sign_in(page, play.world.assistant)
    enter_set(page)
    page.goto("/instruments/new/?kind=caliper")
    page.get_by_label("Name").fill("Caliper 3")
    page.get_by_role("button", name="Store").last.click()
    page.goto("/chair/?tooth=36&material=metal_ceramic")
    row = page.get_by_role("group", name=re.compile("Buccal cusps"))

    expect(row.get_by_label("Set of strips")).to_be_visible()
    expect(row.get_by_label("Instrument")).to_be_hidden()
    row.get_by_label("Method").select_option("wax_caliper")

    expect(row.get_by_label("Set of strips")).to_be_hidden()
    expect(row.get_by_label("Instrument")).to_be_visible()

"""The technician's own readings: a method shows what it states, no more."""

import pytest
from playwright.sync_api import expect

from tests.browser.hands import move, press, sign_in, state
from tests.browser.windows import Windows
from tests.play import Play, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


def test_a_method_shows_its_own_fields(play: Play, windows: Windows):
    case = play.at_check(unit())
    page = windows.phone()
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/")
    move(page, "Enter own readings")
    row = page.get_by_role("group", name="Lingual cusps")
    value, slides = row.get_by_label("Value"), row.get_by_label("Slides freely")
    expect(value).to_be_visible()
    expect(slides).to_be_hidden()
    row.get_by_label("Method").select_option(label="Thickness strip")
    expect(value).to_be_hidden()
    expect(slides).to_be_visible()

    row.get_by_label("Method").select_option(label="Casts and caliper")
    value.fill("1,2")
    press(page, "Enter own readings")
    expect(state(page)).to_have_text("at check")
    expect(page.locator("main")).to_contain_text("casts and caliper")

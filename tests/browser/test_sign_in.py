"""Signing in by hand, with and without a second factor."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.hands import sign_in, sign_out
from tests.play import Play

pytestmark = pytest.mark.browser


def test_the_clinic_lands_on_what_needs_it(play: Play, page: Page):
    sign_in(page, play.world.dentist)

    expect(page).to_have_url("/work/")
    sign_out(page)


def test_the_laboratory_lands_on_the_bench(play: Play, phone: Page):
    sign_in(phone, play.world.technician)

    expect(phone).to_have_url("/bench/")

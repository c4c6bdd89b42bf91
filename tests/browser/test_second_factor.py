"""Setting up and using a second factor, where the portal asks everyone for one."""

import re
import time
from types import SimpleNamespace

import pytest
from playwright.sync_api import Page, expect

from tests.browser.hands import email_of, press, sign_out
from tests.browser.judge import violations
from tests.browser.stage import code_of
from tests.play import PASSWORD, Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


def give_password(page: Page, email: str) -> None:
    """Give address and password."""
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    press(page, "Sign in")


def give_code(page: Page, secret: str) -> None:
    """Type what the authenticator shows."""
    page.locator("#id_code").fill(code_of(secret))
    page.keyboard.press("Enter")


def test_set_up_at_first_then_asked_for(
    play: Play, page: Page, settings, monkeypatch: pytest.MonkeyPatch
):
    settings.REQUIRE_SECOND_FACTOR = True
    email = email_of(play.world.dentist)
    page.goto("/")
    give_password(page, email)

    # No other page opens before.
    page.goto("/work/")
    expect(page).to_have_url(re.compile("/account/second-factor/set-up/"))
    assert violations(page) == []
    key = re.search(r"\b[A-Z2-7]{32}\b", page.locator("main").inner_text())
    assert key is not None
    give_code(page, key[0])
    expect(page).to_have_url(re.compile("recovery-codes"))
    assert violations(page) == []

    page.goto("/")
    expect(page).to_have_url("/work/")
    sign_out(page)
    # A code works once, so a minute passes for the authenticator and the portal.
    later = SimpleNamespace(time=lambda: time.time() + 60)
    monkeypatch.setattr("allauth.mfa.totp.internal.auth.time", later)
    give_password(page, email)
    expect(page).to_have_url(re.compile("/account/second-factor/code/"))
    assert violations(page) == []
    give_code(page, key[0])
    expect(page).to_have_url("/work/")

"""What hands do in every journey: sign in, press, fill in readings, sign."""

import re

from playwright.sync_api import Locator, Page, expect

from cases.models import User
from cases.tenancy import Actor
from tests.play import PASSWORD

__all__ = [
    "begin_case",
    "email_of",
    "move",
    "open_case",
    "press",
    "reading",
    "sign",
    "sign_in",
    "sign_out",
    "state",
]


def email_of(actor: Actor) -> str:
    """Return the address somebody signs in with."""
    return str(User.objects.get(pk=actor.user_id).email)


def sign_in(page: Page, actor: Actor, *, password: str = PASSWORD) -> None:
    """Sign in through the form, from the address a person is given."""
    page.goto("/")
    page.get_by_label("E-mail").fill(email_of(actor))
    page.get_by_label("Password").fill(password)
    press(page, "Sign in")
    expect(page.locator(".who-as")).to_contain_text(actor.name)


def sign_out(page: Page) -> None:
    """Sign out by the button in the header."""
    press(page, "Sign out")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


def press(page: Page, words: str) -> None:
    """Press the button with these words; the last, as forms end with theirs."""
    page.get_by_role("button", name=words, exact=True).last.click()


def open_case(page: Page, reference: str) -> None:
    """Open a case from the list one stands on."""
    page.get_by_role("link", name=re.compile(rf"^{reference}\b")).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(reference)


def move(page: Page, words: str) -> None:
    """Choose a command in the case's bar of next moves."""
    page.locator("[data-moves]").get_by_role("link", name=re.compile(words)).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(words)


def state(page: Page) -> Locator:
    """Return where the page says the case stands."""
    return page.locator(".page-head .state").first


def reading(page: Page, site: str) -> Locator:
    """Return the row of one site's reading."""
    return page.get_by_role("group", name=re.compile(rf"^{site}\b"))


def sign(page: Page, button: str) -> None:
    """Sign what the page shows with the password."""
    page.get_by_label("Your password").fill(PASSWORD)
    press(page, button)


def begin_case(page: Page, reference: str, tooth: str, material: str) -> None:
    """Begin a draft with one crown, from the list of cases."""
    page.get_by_role("link", name=re.compile("^New case")).click()
    page.get_by_label("Prescriber").select_option(label="Dentist")
    page.get_by_label("Patient reference").fill(reference)
    press(page, "Begin the draft")
    page.get_by_role("checkbox", name=re.compile(rf"^{tooth},")).check()
    page.get_by_label("Material").select_option(label=material)
    press(page, "Add the chosen teeth")
    expect(reading(page, "Central fossa")).to_be_visible()

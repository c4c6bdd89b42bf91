"""What hands do in every journey: sign in, fill in, sign, press."""

from playwright.sync_api import Page, expect

from cases.models import User
from cases.tenancy import Actor
from tests.play import PASSWORD

__all__ = ["email_of", "sign_in", "sign_out"]


def email_of(actor: Actor) -> str:
    """Return the address somebody signs in with."""
    return str(User.objects.get(pk=actor.user_id).email)


def sign_in(page: Page, actor: Actor, *, password: str = PASSWORD) -> None:
    """Sign in through the form, from the address a person is given."""
    page.goto("/")
    page.get_by_label("E-mail").fill(email_of(actor))
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator(".who-as")).to_contain_text(actor.name)


def sign_out(page: Page) -> None:
    """Sign out by the button in the header."""
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")

"""From the sign-in to a raised query without touching a mouse."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.hands import email_of, sign_in, state
from tests.browser.windows import Windows
from tests.play import PASSWORD, Play, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]
# Presses apart from the words one types oneself.
LIMIT = 60


# The middle of the focused element, and what a finger there would meet.
COVERED = """() => {
    const own = document.activeElement;
    const box = own.getBoundingClientRect();
    const top = document.elementFromPoint(
        box.left + box.width / 2, box.top + box.height / 2
    );
    const bar = top && top.closest(".actions-bar, .draft-bar");
    return { id: own.id, covered: Boolean(bar && !bar.contains(own)) };
}"""


class Keys:
    """A keyboard that counts."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0

    def press(self, key: str) -> None:
        """Press one key."""
        self.page.keyboard.press(key)
        self.presses += 1

    def tab_to(self, selector: str) -> None:
        """Press Tab until this has the focus, which must be seen to be there."""
        for _try in range(LIMIT):
            self.press("Tab")
            if self.page.locator(f"{selector}:focus").count():
                return
        raise AssertionError(f"{selector} is not reached by Tab")


def has_visible_focus(page: Page) -> bool:
    """Say whether the focused element is drawn with an outline."""
    return page.evaluate(
        """() => {
            const style = getComputedStyle(document.activeElement);
            return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
        }"""
    )


def test_a_query_is_raised_by_keys_alone(play: Play, page: Page):
    case = play.at_check(unit())
    keys = Keys(page)
    page.goto("/")
    keys.tab_to("#id_login")
    page.keyboard.type(email_of(play.world.technician))
    keys.press("Tab")
    page.keyboard.type(PASSWORD)
    keys.press("Enter")
    page.wait_for_url("**/bench/")

    keys.press("j")
    expect(page.locator("[data-row]:focus")).to_have_count(1)
    assert has_visible_focus(page)
    keys.press("Enter")
    page.wait_for_url(f"**/cases/{case.code}/")
    keys.press("f")
    page.wait_for_url("**/flag/")
    keys.tab_to("#id_text")
    keys.press("Control+End")
    page.keyboard.type(" Please decide by Friday.")
    keys.tab_to("#command button[type=submit]")
    assert has_visible_focus(page)
    keys.press("Enter")

    expect(state(page)).to_have_text("on hold")
    expect(page.locator("main")).to_contain_text("Please decide by Friday.")
    assert keys.presses <= LIMIT


def test_the_skip_link_leads_past_the_header(play: Play, page: Page):
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    expect(page.locator(".skip")).to_be_in_viewport()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.locator("#id_login")).to_be_focused()


def test_what_has_the_focus_is_never_covered(play: Play, windows: Windows):
    """WCAG 2.2, success criterion 2.4.11 (w3.org/TR/WCAG22): the sticky bar."""
    case = play.draft(unit())
    phone = windows.phone()
    sign_in(phone, play.world.assistant)
    phone.goto(f"/cases/{case.code}/edit/")
    for _step in range(200):
        phone.keyboard.press("Tab")
        place = phone.evaluate(COVERED)
        assert not place["covered"], place
        if place["id"] == "id_files":
            return
    raise AssertionError("the last field is not reached")


def test_letters_typed_into_a_field_press_nothing(play: Play, page: Page):
    case = play.at_check(unit())
    page.goto("/")
    page.locator("#id_login").fill(email_of(play.world.technician))
    page.locator("#id_password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench/")
    page.goto(f"/cases/{case.code}/")
    page.get_by_label("Message", exact=True).focus()
    page.keyboard.type("fcrj")

    expect(page.get_by_label("Message", exact=True)).to_have_value("fcrj")
    assert page.url.endswith(f"/cases/{case.code}/")

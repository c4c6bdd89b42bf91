"""The windows of one module that shares the demo: one for each of its people."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.browser.stage import Demo, code_of
from tests.browser.windows import Windows

__all__ = ["Scenery", "scenery_of"]


class Scenery:
    """Signed-in windows by person, opened when first asked for."""

    def __init__(self, demo: Demo, windows: Windows) -> None:
        self.demo = demo
        self.windows = windows
        self._pages: dict[str, Page] = {}

    def window(self, who: str) -> Page:
        """Return somebody's window, or nobody's for the empty name."""
        if who not in self._pages:
            page = self.windows.desk()
            if who:
                self._sign_in(page, who)
            self._pages[who] = page
        return self._pages[who]

    def _sign_in(self, page: Page, who: str) -> None:
        email, password, secret = self.demo.login(who)
        page.goto("/account/login/")
        page.get_by_label("E-mail").fill(email)
        page.get_by_label("Password").fill(password)
        page.get_by_role("button", name="Sign in").click()
        if secret:
            page.get_by_label("Code").fill(code_of(secret))
            page.keyboard.press("Enter")
        page.locator(".bar").wait_for()


@contextmanager
def scenery_of(
    demo: Demo, chromium: Browser, portal: str, folder: Path
) -> Iterator[Scenery]:
    """Open the windows of a module and close them."""
    windows = Windows(chromium, portal, folder)
    yield Scenery(demo, windows)
    windows.close()

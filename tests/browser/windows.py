"""Browser windows that tell on the page: what must never happen is written down.

Each window is a context of its own (cookies, storage). It records console errors
(which is also how a page's content security policy reports a breach), script
errors, requests to other hosts, and answers of 500 and above.
"""

from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    Response,
    ViewportSize,
)

__all__ = ["DESK", "PHONE", "Watch", "Windows"]

DESK = ViewportSize(width=1440, height=900)
PHONE = ViewportSize(width=390, height=844)
# A page that does not answer in this time is a fault, not a slow machine.
PATIENCE_MS = 15_000
# Chromium reports every refused request as a console error of this form; the
# refusals a test provokes are declared by their status.
_REFUSED = "Failed to load resource: the server responded with a status of "


@dataclass
class Watch:
    """What went wrong in the windows of one test."""

    origin: str
    faults: list[str] = field(default_factory=list)
    expected: set[int] = field(default_factory=set)

    def expect(self, *statuses: int) -> None:
        """Say which refusals (4xx) the test provokes on purpose."""
        assert all(400 <= status < 500 for status in statuses)
        self.expected.update(statuses)

    def begin(self, status: int) -> None:
        """Forget what an earlier test saw; expect this status of the next page."""
        self.faults.clear()
        self.expected = {status}

    def follow(self, context: BrowserContext) -> None:
        """Listen to everything a window reports."""
        context.on("console", self._console)
        context.on("weberror", lambda error: self._note(f"script: {error.error}"))
        context.on("request", self._request)
        context.on("response", self._response)

    def _note(self, fault: str) -> None:
        self.faults.append(fault)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type not in ("error", "warning"):
            return
        refused = message.text.removeprefix(_REFUSED)
        if refused != message.text and int(refused[:3]) in self.expected:
            return
        where = message.location.get("url", "")
        self._note(f"console {message.type}: {message.text} ({where})")

    def _request(self, request: Request) -> None:
        address = urlsplit(request.url)
        if address.scheme in ("data", "blob"):
            return
        if f"{address.scheme}://{address.netloc}" != self.origin:
            self._note(f"foreign request: {request.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 500:
            self._note(f"{response.status}: {response.request.method} {response.url}")


class Windows:
    """Opens windows on the portal and closes them all."""

    def __init__(self, chromium: Browser, origin: str, downloads: Path) -> None:
        self.watch = Watch(origin)
        self.downloads = downloads
        self._chromium = chromium
        self._open: list[BrowserContext] = []

    def desk(self, *, script: bool = True) -> Page:
        """Open a window of a desk's screen."""
        return self._open_window(DESK, script=script, touch=False)

    def phone(self, *, script: bool = True) -> Page:
        """Open a window of a phone, which is touched."""
        return self._open_window(PHONE, script=script, touch=True)

    def close(self) -> None:
        """Close every window."""
        while self._open:
            self._open.pop().close()

    def _open_window(self, size: ViewportSize, *, script: bool, touch: bool) -> Page:
        context = self._chromium.new_context(
            base_url=self.watch.origin,
            viewport=size,
            is_mobile=touch,
            has_touch=touch,
            device_scale_factor=2 if touch else 1,
            java_script_enabled=script,
            locale="en-GB",
            timezone_id="UTC",
        )
        self._open.append(context)
        context.set_default_timeout(PATIENCE_MS)
        self.watch.follow(context)
        return context.new_page()

"""Every page, for everyone who sees it, at 1440, 390 and 320 pixels.

WCAG 2.2 AA as far as axe can tell, with the rules of the tags below; the reflow
width of 320 CSS pixels is success criterion 1.4.10 (w3.org/TR/WCAG22).
"""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import URLPattern, URLResolver, get_resolver
from playwright.sync_api import Page

from tests.browser.addresses import LOOKS, NO_PAGE, Look, address_of
from tests.browser.scenery import Scenery
from tests.browser.windows import DESK, PHONE

pytestmark = pytest.mark.browser

RULES = {
    "resultTypes": ["violations"],
    "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"],
}
REFLOW = 320
VISITS = [
    pytest.param(look, who, id=f"{look.label}-{who or 'nobody'}")
    for look in LOOKS
    for who in look.people
]


def page_names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    """Yield the names of what people open, which the API is not."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if not str(pattern.pattern).startswith("api/"):
                yield from page_names(pattern.url_patterns)
        else:
            yield str(pattern.name)


def test_every_page_is_looked_at():
    addresses = set(page_names(get_resolver().url_patterns))
    listed = {look.name for look in LOOKS} | set(NO_PAGE)

    assert sorted(addresses - listed) == []
    assert sorted(listed - addresses) == []


def violations(page: Page) -> list[str]:
    """Return what axe finds, with the first places of each kind."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [
        f"{one['id']}: {[node['html'][:140] for node in one['nodes'][:3]]}"
        for one in found
    ]


def overflow(page: Page) -> list[str]:
    """Return the elements that make the page scroll sideways; none when none do."""
    return page.evaluate(
        """() => {
            const root = document.scrollingElement;
            if (root.scrollWidth <= root.clientWidth) return [];
            return Array.from(document.querySelectorAll("body *"))
                .filter(e => e.getBoundingClientRect().right > root.clientWidth + 0.5)
                .slice(-3)
                .map(e => `${root.scrollWidth}: ${e.outerHTML.slice(0, 120)}`);
        }"""
    )


def frame_faults(page: Page) -> list[str]:
    """Return what is wrong with the page's frame: title, heading, skip link."""
    return page.evaluate(
        r"""() => {
            const faults = [];
            const headings = document.querySelectorAll("h1").length;
            if (headings !== 1) faults.push(`${headings} h1`);
            if (!document.title || document.title.startsWith(" ")) faults.push("title");
            const skip = document.querySelector("a");
            const target = skip && document.querySelector(skip.getAttribute("href"));
            if (!target || target.tagName !== "MAIN") faults.push("skip link");
            const raw = document.body.innerText.match(
                /=(True|False|None)\b|object at 0x|\{\{|\{%|%\([a-z]|\{[a-z_]+\}/
            );
            if (raw) faults.push(`not meant for people: ${raw[0]}`);
            return faults;
        }"""
    )


@pytest.mark.parametrize(("look", "who"), VISITS)
def test_page(look: Look, who: str, scenery: Scenery):
    page, watch = scenery.window(who), scenery.windows.watch
    watch.begin(look.status)
    page.set_viewport_size(DESK)
    response = page.goto(address_of(look, scenery.demo))
    faults = frame_faults(page)
    faults += [f"1440 {one}" for one in violations(page)]
    page.set_viewport_size(PHONE)
    faults += [f"390 {one}" for one in violations(page)]
    faults += [f"390 wide {one}" for one in overflow(page)]
    page.set_viewport_size({"width": REFLOW, "height": PHONE["height"]})
    faults += [f"320 wide {one}" for one in overflow(page)]

    assert response is not None
    assert response.status == look.status
    assert faults == []
    assert watch.faults == []

"""Every page, for everyone who sees it, at 1440, 390 and 320 pixels.

The reflow width of 320 CSS pixels is success criterion 1.4.10
(w3.org/TR/WCAG22).
"""

from collections.abc import Iterator

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from tests.browser.addresses import LOOKS, NO_PAGE, Look, address_of
from tests.browser.judge import frame_faults, overflow, violations
from tests.browser.scenery import Scenery
from tests.browser.windows import DESK, PHONE

pytestmark = pytest.mark.browser

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

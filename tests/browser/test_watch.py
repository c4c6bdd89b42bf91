"""The guards of every browser test do notice what must not happen."""

import pytest
from playwright.sync_api import Page

from tests.browser.judge import overflow, violations
from tests.browser.windows import Windows

pytestmark = pytest.mark.browser

BREACHES = {
    "inline script": """() => {
        const script = document.createElement("script");
        script.textContent = "window.broken = true";
        document.body.append(script);
    }""",
    "inline style": """() => {
        document.body.insertAdjacentHTML("beforeend", "<p style='color: red'>x</p>");
    }""",
    "foreign request": """() => fetch("http://127.0.0.1:1/").catch(() => null)""",
    "script": """() => { setTimeout(() => { throw new Error("broken"); }); }""",
    "console": """() => console.error("broken")""",
    "missing file": """() => fetch("/static/none.css")""",
}


@pytest.fixture
def sign_in_page(transactional_db: None, page: Page) -> Page:
    """The one page that needs nobody."""
    page.goto("/account/login/")
    return page


@pytest.mark.parametrize("breach", BREACHES)
def test_a_breach_is_noticed(breach: str, sign_in_page: Page, windows: Windows):
    assert windows.watch.faults == []
    sign_in_page.evaluate(BREACHES[breach])
    sign_in_page.wait_for_timeout(300)
    noticed = list(windows.watch.faults)
    windows.watch.faults.clear()

    assert noticed
    assert sign_in_page.evaluate("window.broken") is None


def test_an_expected_refusal_is_no_fault_and_a_crash_always_is(
    sign_in_page: Page, windows: Windows
):
    windows.watch.expect(404)
    sign_in_page.evaluate("""() => fetch("/static/none.css")""")
    sign_in_page.wait_for_timeout(300)
    assert windows.watch.faults == []

    sign_in_page.route("**/crash", lambda route: route.fulfill(status=500))
    sign_in_page.evaluate("""() => fetch("/crash")""")
    sign_in_page.wait_for_timeout(300)
    noticed = list(windows.watch.faults)
    windows.watch.faults.clear()

    assert any(fault.startswith("500: GET") for fault in noticed)


SPOILT = {
    "no label": """() => document.querySelector("label").remove()""",
    "pale text": """() => {
        document.querySelector("main p").style.color = "#ccc";
    }""",
    "text in the colour of its ground": """() => {
        const button = document.querySelector(".btn-primary");
        button.style.color = getComputedStyle(button).backgroundColor;
    }""",
}


@pytest.mark.parametrize("spoil", SPOILT)
def test_a_spoilt_page_is_noticed(spoil: str, sign_in_page: Page):
    assert violations(sign_in_page) == []
    sign_in_page.evaluate(SPOILT[spoil])

    assert violations(sign_in_page)


def test_a_wide_page_is_noticed(sign_in_page: Page):
    sign_in_page.set_viewport_size({"width": 320, "height": 800})
    assert overflow(sign_in_page) == []
    sign_in_page.evaluate(
        """() => { document.querySelector("h1").style.width = "50rem"; }"""
    )

    assert overflow(sign_in_page)

"""What is wrong with a page: WCAG 2.2 AA as far as axe can tell, and its frame."""

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

__all__ = ["frame_faults", "overflow", "violations"]

RULES = {
    "resultTypes": ["violations", "incomplete"],
    "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"],
}


def violations(page: Page) -> list[str]:
    """Return what axe finds, with the first places of each kind."""
    # At its end a sticky bar stands in its own place and covers half of nothing.
    page.evaluate("window.scrollTo(0, document.scrollingElement.scrollHeight)")
    found = Axe().run(page, options=RULES).response
    # Text in the colour of its ground may be a mask, so axe leaves it open.
    unseen = [
        {**one, "nodes": [node for node in one["nodes"] if _is_unseen(node)]}
        for one in found["incomplete"]
        if one["id"] == "color-contrast"
    ]
    return [
        f"{one['id']}: {[node['html'][:140] for node in one['nodes'][:3]]}"
        for one in (*found["violations"], *unseen)
        if one["nodes"]
    ]


def _is_unseen(node: dict[str, Any]) -> bool:
    return any(
        (check["data"] or {}).get("messageKey") == "equalRatio" for check in node["any"]
    )


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

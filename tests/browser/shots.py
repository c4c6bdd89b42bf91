"""Pictures of every page, for people to look at; never collected by itself.

    SHOTS_DIR=/tmp/shots python -m pytest -p no:randomly tests/browser/shots.py

writes ``page-state-person-width.png`` for every line of addresses.py.
"""

import os
from pathlib import Path

import pytest

from tests.browser.addresses import LOOKS, Look, address_of
from tests.browser.scenery import Scenery
from tests.browser.windows import DESK, PHONE

pytestmark = pytest.mark.browser
ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(scope="session")
def album() -> Path:
    """The folder given, which must not lie in the repository."""
    given = os.environ.get("SHOTS_DIR")
    if not given:
        pytest.fail("say where to: SHOTS_DIR=/tmp/shots")
    folder = Path(given).resolve()
    if folder.is_relative_to(ROOT):
        pytest.fail("SHOTS_DIR must lie outside the repository")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.label)
def test_take_pictures(look: Look, scenery: Scenery, album: Path):
    """Take one picture for each person at each width."""
    for who in look.people:
        page = scenery.window(who)
        for size in (DESK, PHONE):
            page.set_viewport_size(size)
            page.goto(address_of(look, scenery.demo))
            name = f"{look.label}-{who or 'nobody'}-{size['width']}.png"
            page.screenshot(path=album / name, full_page=True)
            assert (album / name).stat().st_size > 0

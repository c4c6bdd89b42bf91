"""Debian's Chromium against a real server in this process.

Browser tests run after all others (the browser's event loop stays in the main
thread once it was started). Every window is watched: see windows.py.
"""

import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.cache import cache
from playwright.sync_api import Browser, Page, sync_playwright
from pytest_django.live_server_helper import LiveServer
from pytest_django.plugin import DjangoDbBlocker

from cases import clock
from tests.browser.scenery import Scenery, scenery_of
from tests.browser.stage import Demo, demo_stage
from tests.browser.windows import Windows
from tests.play import Play, build_world

CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
MISSING = (
    f"{CHROMIUM} is missing. Install it: apt-get install -y "
    "--no-install-recommends chromium libatomic1"
)
FLAGS = [
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
]


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the browser tests last, in the order the others left them."""
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for the whole run."""
    if not CHROMIUM.exists():
        pytest.fail(MISSING)
    with pytest.MonkeyPatch.context() as patch:
        # Playwright's loop stands in this thread; the rows a test makes are
        # written between its steps, never inside one.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=str(CHROMIUM), args=FLAGS
            )
            yield browser
            browser.close()


@pytest.fixture(scope="session")
def portal() -> Iterator[str]:
    """Serve the portal from a thread; its address without a closing slash.

    pytest-django's own fixture would empty the database after every test, also
    where a module shares one world.
    """
    server = LiveServer("localhost")
    yield server.url
    server.stop()


@pytest.fixture
def windows(chromium: Browser, portal: str, tmp_path: Path) -> Iterator[Windows]:
    """Open windows; fails the test on anything they reported."""
    cache.clear()  # tries to sign in are counted per address
    opened = Windows(chromium, portal, tmp_path)
    yield opened
    opened.close()
    assert opened.watch.faults == []


@pytest.fixture
def page(windows: Windows) -> Page:
    """A window of 1440 by 900."""
    return windows.desk()


@pytest.fixture
def phone(windows: Windows) -> Page:
    """A window of 390 by 844, touched."""
    return windows.phone()


@pytest.fixture
def play(transactional_db: None, settings, monkeypatch: pytest.MonkeyPatch) -> Play:
    """A clinic and a laboratory since yesterday, without second factors."""
    settings.REQUIRE_SECOND_FACTOR = False
    # Pages tell the time themselves, so what was played lies just before it.
    yesterday = clock.now() - timedelta(days=1)
    monkeypatch.setattr("tests.play.AT", yesterday)
    played = Play(build_world())
    played.at = yesterday
    return played


@pytest.fixture(scope="module")
def demo(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Demo]:
    """The demo's scenario, shared by a module that changes nothing."""
    folder = tmp_path_factory.mktemp("demo")
    with demo_stage(folder, django_db_blocker) as stage:
        yield stage


@pytest.fixture(scope="module")
def scenery(
    demo: Demo,
    chromium: Browser,
    portal: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Scenery]:
    """Windows of the demo's people, one each for the whole module."""
    cache.clear()
    with scenery_of(demo, chromium, portal, tmp_path_factory.mktemp("got")) as shared:
        yield shared

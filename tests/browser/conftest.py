"""A browser, a window for each visitor, and servers to visit."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.browser.chromium import launch_options
from tests.browser.console import Console
from tests.browser.site import Site

HERE = Path(__file__).parent
WINDOW = {"width": 1280, "height": 900}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder as `browser`."""
    for item in items:
        if HERE in item.path.parents:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the whole run; each test gets windows of its own from it."""
    options = launch_options()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(**options)
        yield chromium
        chromium.close()


@pytest.fixture
def allowed_console() -> list[str]:
    """Regular expressions for the console messages a test brings about on purpose; add to it."""
    return []


@pytest.fixture
def new_context(
    browser: Browser, new_server: Callable[..., Site], allowed_console: list[str]
) -> Iterator[Callable[..., BrowserContext]]:
    """Open a window without history or cookies, for a further visitor; its console is watched.

    It asks for `new_server` so that a server is still there when the windows are closed.
    """
    console = Console()
    opened: list[BrowserContext] = []

    def open_window(**options: Any) -> BrowserContext:
        opened.append(browser.new_context(**({"viewport": WINDOW} | options)))
        console.watch(opened[-1])
        return opened[-1]

    yield open_window

    unexpected = console.unexpected(allowed_console)
    for window in opened:
        window.close()
    assert not unexpected, "the browser's console is not empty:\n" + "\n".join(unexpected)


@pytest.fixture
def context(new_context: Callable[..., BrowserContext]) -> BrowserContext:
    """Return the first visitor's window."""
    return new_context()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    """Return an empty tab in the first visitor's window."""
    return context.new_page()


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """One server for the whole run, for errands that leave nothing behind on it; see its `url`."""
    servers = _servers(tmp_path_factory)
    yield next(servers)()
    next(servers, None)


@pytest.fixture
def new_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Site]]:
    """Start a server for this test alone, with an empty library; each call starts another."""
    yield from _servers(tmp_path_factory)


def _servers(folders: pytest.TempPathFactory) -> Iterator[Callable[..., Site]]:
    running: list[Site] = []

    def start(*arguments: str, **options: Any) -> Site:
        running.append(Site(folders.mktemp("server"), arguments, **options))
        return running[-1]

    yield start

    for each in running:
        each.stop()
        print(each.printed())  # pytest shows this where the test failed

"""The browser, windows and servers of the browser tests, once for all benchmarks."""

from tests.browser.conftest import (  # noqa: F401
    allowed_console,
    browser,
    context,
    new_context,
    new_server,
    page,
    server,
)

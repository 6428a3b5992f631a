"""How an errand finds out that the browser complained."""

import pytest

from tests.browser.console import Console


@pytest.fixture
def visit(browser):
    """Open a tab that runs a script, and return the console of its window."""
    window = browser.new_context()
    console = Console()
    console.watch(window)

    def open_tab(script):
        window.new_page().goto(f"data:text/html,<script>{script}</script>")
        return console

    yield open_tab
    window.close()


@pytest.mark.parametrize(
    ("script", "heard"),
    [
        ("console.log('fine')", []),
        ("console.warn('odd')", ["warning: odd"]),
        ("console.error('odd')", ["error: odd"]),
        ("throw Error('odd')", ["uncaught: Error: odd"]),
        ("Promise.reject(Error('odd'))", ["uncaught: Error: odd"]),
    ],
)
def test_console_hears_every_complaint(visit, script, heard):
    """Warnings, errors and uncaught exceptions count; what a script merely logs does not."""
    said = visit(script).unexpected()

    assert len(said) == len(heard)
    assert all(line.startswith(start) for line, start in zip(said, heard, strict=True))


def test_announced_complaint_is_let_pass(visit):
    """A complaint that a test announces is left out, and no other one is."""
    console = visit("console.error('odd'); console.error('even')")

    assert [line[:11] for line in console.unexpected(["^error: odd"])] == ["error: even"]


def test_each_tab_is_heard(visit):
    """A second tab of the window is watched like the first."""
    visit("console.warn('one')")

    assert len(visit("console.warn('two')").unexpected()) == 2

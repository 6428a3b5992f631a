"""Does a visitor see that the quick answers were checked?"""

import re

import pytest

from tests.browser.screens import HostPage

pytestmark = pytest.mark.browser


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


def test_self_check_follows_what_is_shown(host_page):
    """Some time after a slider rests the check appears; a move takes it away until the next."""
    page = host_page.open().page
    note, agreed = page.locator("#self-check"), re.compile("agrees with the exact one within")
    page.wait_for_selector("#self-check:not(:empty)")
    assert agreed.search(note.inner_text())
    host_page.set_slider(host_page.slider("sessions"), 90)
    page.wait_for_selector("#self-check:empty", state="attached")
    page.wait_for_selector("#self-check:not(:empty)")
    assert agreed.search(note.inner_text())

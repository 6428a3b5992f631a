"""How the browser tests start a server and open a window on it."""

import sys
import textwrap

import pytest

from tests.browser.site import Site, SiteError

HEALTHY = textwrap.dedent(
    """
    import http.server, os, sys

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            body = b"OK" if self.path == "/health" else PAGE
            self.send_response(200)
            kind = "text/plain" if self.path == "/health" else "text/html"
            self.send_header("Content-Type", kind)
            self.end_headers()
            self.wfile.write(body)

    PAGE = b"<title>A page</title><link rel='icon' href='data:,'>"
    port = int(sys.argv[sys.argv.index("--port") + 1])
    print("library in", os.environ["CRESTLINE_DATA_DIR"], flush=True)
    http.server.HTTPServer(("127.0.0.1", port), Answer).serve_forever()
    """
)
FALLS_OVER = "raise SystemExit('no such setting')"
NEVER_ANSWERS = "import time; print('thinking', flush=True); time.sleep(60)"


def program(source):
    """Return the command that runs a few lines of Python in place of Crestline."""
    return (sys.executable, "-c", source)


def test_site_answers_and_keeps_to_its_own_folder(tmp_path):
    """A started server is healthy, and its library lies in the folder given."""
    site = Site(tmp_path, program=program(HEALTHY))
    try:
        assert site.url.startswith("http://127.0.0.1:")
        assert f"library in {tmp_path / 'data'}" in site.printed()
    finally:
        site.stop()
        site.stop()


def test_failed_start_shows_what_the_server_printed(tmp_path):
    """A server that ends at once gives its status and its own words."""
    with pytest.raises(SiteError, match="status 1:\nno such setting"):
        Site(tmp_path, program=program(FALLS_OVER))


def test_silent_server_is_ended_and_told(tmp_path):
    """A server that never answers is stopped after the limit, and its words are shown."""
    with pytest.raises(SiteError, match=r"no answer from .*\nthinking"):
        Site(tmp_path, program=program(NEVER_ANSWERS), limit_s=1)


def test_window_has_the_smallest_supported_width(page, new_server):
    """A visitor's window is 1280 pixels wide, the least that the layout promises."""
    page.goto(new_server(program=program(HEALTHY)).url)

    assert page.title() == "A page"
    assert page.evaluate("[innerWidth, innerHeight]") == [1280, 900]

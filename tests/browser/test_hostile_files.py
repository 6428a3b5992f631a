"""Does a picture or file from a stranger, dropped on the page, do no harm?"""

import base64
import json
import random
import struct
import zlib

import pytest

from model.scenario import default, dump, from_data, to_data
from tests.browser.screens import HostPage
from tests.hostile.hostile_inputs import damaged

PICTURES = 1_000
READ_ALL = """
async (pictures) => {
  const told = [];
  for (const each of pictures) {
    const bytes = Uint8Array.from(atob(each), (c) => c.charCodeAt(0));
    const begin = performance.now();
    let how;
    try {
      const text = await window.crestlinePng.textOf(bytes, "Crestline link");
      how = text === null ? "none" : "text";
    } catch (error) {
      how = error instanceof Error ? "refused" : "thrown";
    }
    told.push([how, performance.now() - begin]);
  }
  return told;
}
"""


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


def chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk of a PNG (W3C, Portable Network Graphics, third edition, 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(*texts: bytes) -> bytes:
    """A white pixel with text chunks."""
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 2, 0, 0, 0))
    pixel = chunk(b"IDAT", zlib.compress(b"\x00\xff\xff\xff"))
    inner = b"".join(chunk(b"iTXt", text) for text in texts)
    return b"\x89PNG\r\n\x1a\n" + header + inner + pixel + chunk(b"IEND", b"")


def test_damaged_pictures_are_read_or_refused(host_page):
    """A thousand damaged pictures, some with valid checksums: each is read, or refused at once."""
    rng = random.Random(9)
    text = b"Crestline link\0\0\0\0\0http://127.0.0.1/?n=90&v=1"
    packed = b"Crestline link\0\1\0\0\0" + zlib.compress(b"http://127.0.0.1/?n=90&v=1")
    bomb = b"Crestline link\0\1\0\0\0" + zlib.compress(bytes(50_000_000))
    pictures = [png(text), png(packed), png(bomb)]
    for case in range(PICTURES):
        inner = damaged(rng.choice((text, packed)), rng)
        pictures.append(png(inner) if case % 2 else damaged(png(inner), rng))
    host_page.open()
    told = host_page.page.evaluate(READ_ALL, [base64.b64encode(p).decode() for p in pictures])

    assert [how for how, _ in told[:3]] == ["text", "text", "refused"]
    assert {how for how, _ in told} == {"none", "text", "refused"}
    assert max(spent for _, spent in told) < 5_000


def test_names_with_markup_are_text_wherever_they_stand(host_page):
    """Names that are markup are shown as text: no element comes of them, no script runs."""
    hostile = "<img src=x onerror=alert(1)>"
    data = to_data(default()) | {"name": hostile}
    before = data["activities"][0]["name"]
    data["activities"][0]["name"] = "<b>bold</b>"
    data["roles"][0]["name"] = "<svg onload=alert(2)>"
    for role in data["roles"]:
        habit = role["activity_pct"]
        role["activity_pct"] = {
            "<b>bold</b>" if name == before else name: share for name, share in habit.items()
        }
    page = host_page.open().page
    opened: list[str] = []
    page.on("dialog", lambda dialog: (opened.append(dialog.message), dialog.dismiss()))
    page.evaluate("(text) => window.crestline.openEdited(JSON.parse(text))", dump(from_data(data)))
    page.get_by_text("<svg onload=alert(2)>").first.wait_for()
    host_page.expect_all_painted()

    assert page.locator("main img[src='x'], main svg[onload], main b").count() == 0
    assert not opened
    told = json.loads(page.evaluate("() => window.crestline.scenario()"))
    assert told["roles"][0]["name"] == "<svg onload=alert(2)>"

"""What a visitor can do with pictures and files, as verbs, and what a picture file holds."""

import base64
import io
import json
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, Page, expect

from model.scenario import Scenario, load
from tests.browser.screens import SETTLES_MS, HostPage

KEYWORD = b"Crestline link"
SIGNATURE = b"\x89PNG\r\n\x1a\n"


class Pictures:
    """Saving charts as pictures, and opening pictures and scenario files."""

    def __init__(self, page: Page) -> None:
        """Take a tab that shows any page of Crestline."""
        self.page = page
        self.failure = page.locator("#failure")

    def save(self, button: str) -> tuple[str, bytes]:
        """Press a button that saves; return the file's name and content."""
        with self.page.expect_download() as download:
            self.page.get_by_role("button", name=button, exact=True).click()
        return download.value.suggested_filename, Path(download.value.path()).read_bytes()

    def save_all(self) -> dict[str, bytes]:
        """Save all pictures; return each file of the zip by its name."""
        name, content = self.save("All pictures")
        assert name == "crestline-pictures.zip"
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            assert archive.testzip() is None
            return {each: archive.read(each) for each in archive.namelist()}

    def layouts(self) -> dict[str, Any]:
        """Return where everything stands on the pictures made last, by chart."""
        made: dict[str, Any] = self.page.evaluate("() => window.crestlinePictures.layouts")
        return made

    def drag(self, event: str, *files: tuple[str, bytes]) -> None:
        """Drag files over the page ("dragover") or drop them on it ("drop")."""
        told = [[name, base64.b64encode(content).decode()] for name, content in files]
        self.page.evaluate(
            """([event, files]) => {
                const dragged = new DataTransfer();
                files.forEach(([name, content]) => {
                    const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
                    dragged.items.add(new File([bytes], name));
                });
                document.body.dispatchEvent(new DragEvent(event, {
                    dataTransfer: dragged, bubbles: true, cancelable: true }));
            }""",
            [event, told],
        )

    def drop(self, *files: tuple[str, bytes]) -> None:
        """Drop files on the page."""
        self.drag("drop", *files)

    def pick(self, name: str, content: bytes) -> None:
        """Choose a file with the button for it."""
        with self.page.expect_file_chooser() as chooser:
            self.page.get_by_role("button", name="Open a file").click()
        chooser.value.set_files({"name": name, "mimeType": "", "buffer": content})

    def expect_opened(self, name: str, host: HostPage, before: str) -> None:
        """Wait until a file's scenario is painted."""
        expect(self.page.locator("#picture-status")).to_have_text(f"Opened {name}.")
        host.expect_all_painted(before)

    def expect_refused(self, sentence: str) -> None:
        """Wait for the sentence that refuses a file."""
        expect(self.failure).to_have_text(sentence, timeout=SETTLES_MS)

    def scenario(self) -> Scenario:
        """Return the scenario that the page shows."""
        return load(self.page.evaluate("() => window.crestline.scenario()"))

    def pin(self) -> str | None:
        """Return the query of what is pinned."""
        pin: str | None = self.page.evaluate("() => window.crestline.pin()")
        return pin

    def hint(self) -> Locator:
        """Return the hint that is shown while a file is dragged."""
        return self.page.locator("#drop-hint")


def chunks(png: bytes) -> list[tuple[bytes, bytes]]:
    """Return type and data of each chunk of a PNG, having checked lengths and CRCs.

    It follows the standard's layout (W3C, Portable Network Graphics, third edition, section 5)
    with nothing but struct and zlib, as a second opinion to Pillow and to the page's script.
    """
    assert png[:8] == SIGNATURE
    found, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        body = png[at + 4 : at + 8 + length]
        (crc,) = struct.unpack(">I", png[at + 8 + length : at + 12 + length])
        assert zlib.crc32(body) == crc
        found.append((body[:4], body[4:]))
        at += 12 + length
    assert found[-1] == (b"IEND", b"")
    return found


def link_in(png: bytes) -> str:
    """Return the link of a picture, read without any library for pictures."""
    (data,) = [data for kind, data in chunks(png) if kind == b"iTXt"]
    assert data.startswith(KEYWORD + b"\0\0\0\0\0")
    return data[len(KEYWORD) + 5 :].decode("utf-8")


def scenario_file(scenario: dict[str, Any]) -> bytes:
    """Return the content of a scenario file."""
    return json.dumps(scenario).encode()

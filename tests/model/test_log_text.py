"""Does a log come in as text, however it is packed and written, and never more than fits?"""

import gzip
import io

import pytest

from model.evidence import log_text
from model.evidence.readings import look_at, read_log
from tests.model.logs import SECONDS, log_of, refusal


@pytest.mark.parametrize(
    "kind", ["path", "text of a path", "bytes", "stream", "text stream", "gzip"]
)
def test_log_may_come_as_a_file_or_as_bytes(tmp_path, kind):
    """A path, bytes, an open file and a packed file give the same readings."""
    content = log_of("0,1", "1,2")
    path = tmp_path / "trial.csv"
    path.write_bytes(gzip.compress(content) if kind == "gzip" else content)
    source = {
        "path": path,
        "text of a path": str(path),
        "bytes": content,
        "stream": io.BytesIO(content),
        "text stream": io.StringIO(content.decode()),
        "gzip": path,
    }[kind]
    assert look_at(source).rows_about == 2
    log = read_log(source, SECONDS)

    assert log.columns["encode_cores"].tolist() == [0.01, 0.02]
    assert log.name == ("trial.csv" if "path" in kind or kind == "gzip" else "log")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "a header and rows"),
        (b"\n\n", "a header and rows"),
        (b"PK\x03\x04rest", "save the sheet as CSV"),
        (b"\x1f\x8b\x08rest", "a damaged gzip file"),
        (gzip.compress(b"t,enc\n0,1\n")[:-6], "a damaged gzip file"),
        (b"t,enc\n0,1\n1,\x00\n", "not binary data"),
        (b"t,enc\n0,1\n1,\xe9\n", "name its encoding"),
        (b't,enc\n0,1\n1,"2\n2,3\n', "quote"),
        (b"t,enc\n", "readings"),
    ],
)
def test_what_is_no_text_is_refused(content, told):
    """Archives, damaged files, other encodings and open quotes are refused with the cure."""
    assert told in str(refusal(content))


def test_other_encodings_are_read_when_named():
    """An encoding that cannot be told by the bytes is read once the user names it."""
    content = "t;enc;Gerät\n0;1;Fähre\n1;2;Fähre\n".encode("cp1252")
    assert refusal(content).row == 1
    mapping = SECONDS.model_copy(update={"encoding": "cp1252", "activity": "Gerät"})

    assert read_log(content, mapping).activity == ("Fähre", "Fähre")


def test_row_of_a_bad_byte_is_counted_across_parts(monkeypatch):
    """A byte that is no UTF-8 is found at its row however the log is cut into parts."""
    monkeypatch.setattr(log_text, "_CHUNK_BYTES", 7)
    assert refusal("t,enc,ä\n0,1,ä\n1,1,".encode() + b"\xff\n").row == 3


def test_log_beyond_the_limit_is_refused_unread(tmp_path):
    """A file larger than the limit is refused by its size, before it is read."""
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.truncate(log_text.LARGEST_BYTES + 1)  # sparse: takes no room

    assert "268,435,457 bytes" in str(refusal(path))


class Endless:
    """A stream that never ends and counts what is taken from it."""

    name = "endless.csv"
    taken = 0

    def seekable(self):
        """Say that there is no going back."""
        return False

    def read(self, size):
        """Return as much as is asked for."""
        assert size >= 0, "the whole stream was asked for"
        self.taken += size
        return b"0" * size


def test_stream_is_not_read_past_the_limit(monkeypatch):
    """A stream is given up one byte after the limit."""
    monkeypatch.setattr(log_text, "LARGEST_BYTES", 1_000_000)
    stream = Endless()

    assert "endless.csv" in str(refusal(stream))
    assert stream.taken <= 1_000_001


def test_packed_log_beyond_the_limit_is_refused_while_it_is_unpacked(monkeypatch):
    """A small packed file that grows without end is counted, given up, and never held."""
    packed = gzip.compress(b"0,1\n" * 4_000_000, compresslevel=1)
    held = []
    monkeypatch.setattr(log_text, "LARGEST_BYTES", 2_000_000)
    unpacking = log_text._unpacking

    def watched(content):
        for part in unpacking(content):
            held.append(len(part))
            yield part

    monkeypatch.setattr(log_text, "_unpacking", watched)
    assert "more than 2,000,000 bytes once unpacked" in str(refusal(packed))
    assert sum(held) < 4_000_000
    assert max(held) <= 1024 * 1024

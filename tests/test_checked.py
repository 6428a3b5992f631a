"""Is the table of comparisons on the Method page what the tests find, and nobody's typing?"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.checked import FILE, HOW, PARTS, Recorder, stored_rows, write

REPOSITORY = Path(__file__).resolve().parents[1]
SOURCE = "a book"


def rows():
    """Return all rows of the file."""
    return json.loads(FILE.read_text(encoding="utf-8"))["rows"]


def recorded(stored=None, **changes):
    """Record one comparison of 2.001 with 2, within a hundredth."""
    recorder = Recorder("test", stored)
    given = {"what": "twice one", "source": SOURCE, "expected": 2, "ours": 2.001}
    recorder("Day", **given | {"kind": "published", "abs": 0.01} | changes)
    return recorder


@pytest.fixture
def kept(tmp_path):
    """What the file would hold of that comparison."""
    write(tmp_path / "checked.json", recorded().rows)
    return stored_rows("test", tmp_path / "checked.json")


def test_every_part_of_the_model_is_checked():
    """Each part has comparisons, at least 30 in all, and none lacks source or kind."""
    assert {row["part"] for row in rows()} == set(PARTS)
    assert len(rows()) >= 30
    assert all(row["source"] and row["kind"] and row["what"] for row in rows())


@pytest.mark.slow
def test_every_comparison_is_still_made():
    """Each row belongs to a test that pytest still collects."""
    files = sorted({row["test"].partition("::")[0] for row in rows()})
    asked = [sys.executable, "-m", "pytest", "-q", "--collect-only", "-m", "checked", *files]
    done = subprocess.run(asked, cwd=REPOSITORY, capture_output=True, text=True)

    gone = {row["test"] for row in rows()} - set(done.stdout.splitlines())
    assert not gone, f"write the file with {HOW}\n{done.stdout[-2000:]}"


def test_agreement_is_recorded_with_the_pair_that_differs_most():
    """Of several numbers the worst pair is kept, and how many there were."""
    recorder = recorded(expected=[1, 2, 0], ours=[1.001, 2.004, 0], rel=0.0)

    (row,) = recorder.rows
    assert (row.expected, row.ours, row.numbers, row.allowed) == (2, 2.004, 3, "0.01")


@pytest.mark.parametrize(
    "changes",
    [{"ours": 2.02}, {"ours": float("nan")}, {"ours": [2, 2]}, {"expected": [], "ours": []}],
)
def test_what_does_not_agree_is_not_recorded(changes):
    """Numbers too far apart, undefined ones and lists that do not fit fail at once."""
    with pytest.raises(AssertionError, match="twice one"):
        recorded(**changes)


def test_stored_row_passes_and_other_machines_may_round(kept):
    """A row that is found again passes, also a billionth away."""
    recorded(kept).finish()
    recorded(kept, ours=2.001000001).finish()


def test_stored_pair_may_be_any_of_those_compared(tmp_path):
    """Where another pair differs most on another machine, the stored one still counts."""
    two = {"expected": [2, 3], "abs": 0.01}
    write(tmp_path / "two.json", recorded(ours=[2.002, 3.001], **two).rows)
    kept = stored_rows("test", tmp_path / "two.json")

    recorded(kept, ours=[2.002, 3.003], **two).finish()
    with pytest.raises(AssertionError, match="ours"):
        recorded(kept, ours=[2.003, 3.001], **two)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"ours": 2.0011}, "ours"),
        ({"expected": 2.0001}, "expected"),
        ({"source": "another book"}, "source"),
        ({"kind": "derived"}, "kind"),
        ({"what": "half of four"}, "half of four"),
    ],
)
def test_row_that_the_file_tells_otherwise_fails(kept, changes, told):
    """A comparison that came out otherwise than the file says fails and names what."""
    with pytest.raises(AssertionError, match=told):
        recorded(kept, **changes)


def test_row_that_is_no_longer_recorded_fails(kept):
    """A comparison that its test no longer makes cannot stay in the file."""
    with pytest.raises(AssertionError, match="no longer records"):
        Recorder("test", kept).finish()

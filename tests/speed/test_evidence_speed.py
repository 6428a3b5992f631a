"""Is a long log read, searched for switches and worked on within seconds, and the page quick?"""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from app.evidence_reading import read_logs
from app.evidence_store import EvidenceStore
from app.evidence_switches import view

pytestmark = pytest.mark.speed

REPOSITORY = Path(__file__).resolve().parents[2]
ROWS = 1_000_000
WITHIN_S = 10.0
WITHIN_GB = 1.5
VIEW_WITHIN_S = 0.5

COUNTED = """
import resource, runpy, sys, time
sys.argv = ["model", *sys.argv[1:]]
try:
    runpy.run_module("model", run_name="__main__")
except SystemExit as ended:
    assert not ended.code
used = resource.getrusage(resource.RUSAGE_SELF)
print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1e6, file=sys.stderr)
"""


@pytest.fixture(scope="module")
def long_log(tmp_path_factory):
    """A log of a million rows and eight columns, switched every minute."""
    path = tmp_path_factory.mktemp("long") / "long.csv"
    rng = np.random.default_rng(1)
    at = np.datetime64("2026-03-04T00:00:00") + np.arange(ROWS).astype("timedelta64[s]")
    level = np.where(np.arange(ROWS) // 60 % 2, 4, 40)
    encoder = np.round(level + rng.normal(0, 2, ROWS), 2).clip(0).tolist()
    others = rng.integers(0, 100, (ROWS, 5)).tolist()
    with path.open("w", encoding="utf-8") as file:
        file.write("timestamp,activity,encoder cpu %,a,b,c,d,e\n")
        file.writelines(
            f"{stamp}Z,typing,{cpu},{a},{b},{c},{d},{e}\n"
            for stamp, cpu, (a, b, c, d, e) in zip(
                np.datetime_as_string(at).tolist(), encoder, others, strict=True
            )
        )
    return path


def test_a_million_rows_are_read_searched_and_worked_on_within_ten_seconds(long_log):
    """Reading, switches and the effect with 2,000 resamples leave time to spare."""
    arguments = ["evidence", str(long_log), "--map", "encode_base=core", "--accept-found"]
    done = subprocess.run(
        [sys.executable, "-c", COUNTED, *arguments],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=True,
    )

    used_s, memory_gb = map(float, done.stderr.split()[-2:])
    (log,) = json.loads(done.stdout)["logs"]
    print(f"\n{used_s:.1f} s of CPU, {memory_gb:.2f} GB at most")
    assert log["offload"]["switches"] == (ROWS - 1) // 60
    assert used_s < WITHIN_S
    assert memory_gb < WITHIN_GB


def test_view_of_a_million_rows_is_drawn_at_once(long_log, tmp_path):
    """Zooming in a long log stays quick: the whole of it and an hour alike."""
    session = EvidenceStore(tmp_path / "evidence").open_session()[1]
    with long_log.open("rb") as file:
        log = session.add("long.csv", file)
    answers = {
        "time": "timestamp", "time_format": "iso", "encode_cores": "encoder cpu %",
        "encode_base": {"of": "core"},
    }  # fmt: skip
    read_logs(session, lambda share, words: None, [(log.id, answers)])

    for asked in ({}, {"from_s": 500_000, "to_s": 503_600}):
        start = time.process_time()
        shown = view(session, {"log": log.id, **asked})
        used_s = time.process_time() - start
        size = len(json.dumps(shown))
        print(f"\n{shown['spells_here']:,} spells in view: {used_s:.3f} s, {size / 1e3:.0f} kB")
        assert used_s < VIEW_WITHIN_S

"""Is a long trial log worked on from text to effects within ten seconds of wall time?

Promise: 1,000,000 rows of 8 columns, four of them measured, two activities; reading, searching
for the switches and twelve effects with 2,000 resamples each take at most 10 s and 1.5 GB, in one
process, by `python -m model evidence`.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.speed

REPOSITORY = Path(__file__).resolve().parents[2]
ROWS = 1_000_000
BLOCK_S = 60
ACTIVITY_S = 900  # after which the desktop does the other thing
WITHIN_S = 10.0
WITHIN_GB = 1.5
ANSWERS = ["encode_base=core", "cpu_base=desktop:2", "host_base=host:64"]
MEASURED = ("encode_cores", "cpu_cores", "frames_hz", "host_cores")


@pytest.fixture(scope="module")
def long_trial(tmp_path_factory):
    """A log of eight columns at 1 Hz whose card is switched every minute, as nobody noted."""
    path = tmp_path_factory.mktemp("trial") / "trial.csv"
    rng = np.random.default_rng(1)
    second = np.arange(ROWS)
    stamps = np.datetime64("2026-03-04T00:00:00") + second.astype("timedelta64[s]")
    with_card = second // BLOCK_S % 2 == 1
    encoder = (np.where(with_card, 6, 48) + rng.normal(0, 2, ROWS)).clip(0).round(2)
    desktop = (encoder / 2 + 12 + rng.normal(0, 3, ROWS)).clip(0).round(2)
    host = (40 + encoder / 64 + rng.normal(0, 1, ROWS)).round(2)
    frames = (30 + rng.normal(0, 0.3, ROWS)).round(1)
    sessions = rng.integers(40, 60, ROWS)
    memory = rng.integers(3_000, 3_500, ROWS)
    columns = (np.datetime_as_string(stamps), encoder, desktop, frames, host, sessions, memory)
    with path.open("w", encoding="utf-8") as file:
        file.write("timestamp,activity,encoder cpu %,desktop cpu %,frames per s,host cpu %,")
        file.write("sessions,memory mb\n")
        file.writelines(
            f"{stamp}Z,{('typing', 'panning')[row // ACTIVITY_S % 2]},{a},{b},{c},{d},{e},{f}\n"
            for row, (stamp, a, b, c, d, e, f) in enumerate(
                zip(*(column.tolist() for column in columns), strict=True)
            )
        )
    return path


def run(arguments, output):
    """Run one process; return its wall time [s], CPU time [s] and largest memory [GB]."""
    with output.open("w") as file:
        begin = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "model", "evidence", *arguments], cwd=REPOSITORY, stdout=file
        )
        # As getrusage for children, but for this child alone.
        _, status, used = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - begin
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return wall_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1e6


def test_a_million_rows_become_twelve_effects_within_ten_seconds(long_trial, tmp_path):
    """Text, switches, and the effects of four columns in two activities leave time to spare."""
    output = tmp_path / "evidence.json"

    wall_s, cpu_s, memory_gb = run(
        [str(long_trial), "--map", *ANSWERS, "--accept-found", "--resamples", "2000"], output
    )

    print(f"\n{wall_s:.1f} s, {cpu_s:.1f} s of CPU, {memory_gb:.2f} GB at most")
    (log,) = json.loads(output.read_text(encoding="utf-8"))["logs"]
    assert log["rows_kept"] == ROWS
    assert log["offload"]["origin"] == "found"
    assert log["offload"]["switches"] == (ROWS - 1) // BLOCK_S
    assert set(log["effects"]) == set(MEASURED)
    for column in MEASURED:
        effects = log["effects"][column]
        assert set(effects) == {"all", "typing", "panning"}
        for effect in effects.values():
            assert {"hac", "bootstrap"} <= {check["name"] for check in effect["checks"]}
    saved = log["effects"]["encode_cores"]["all"]["difference"]["value"]
    assert saved == pytest.approx(-0.42, abs=0.01)
    assert wall_s < WITHIN_S
    assert memory_gb < WITHIN_GB

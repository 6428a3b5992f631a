"""Made-up logs of two desktops in a trial, and of a host."""

import numpy as np

from model.evidence.record import ReadingReport, Readings

ORDER = (0, 1, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1, 1, 0)


def trial(name, activity, seed, columns=("encode_cores", "cpu_cores", "frames_hz")):
    """A made-up log: 16 blocks of 60 s, the card saving half a core, and its states."""
    rng = np.random.default_rng(seed)
    state = np.repeat(np.array(ORDER), 60)
    rows = len(state)
    encode = np.where(state == 1, 0.1, 0.6) + rng.normal(0, 0.03, rows)
    every = {
        "encode_cores": np.maximum(encode, 0),
        "cpu_cores": np.maximum(encode, 0) + 0.3 + np.abs(rng.normal(0, 0.02, rows)),
        "frames_hz": 24 + rng.normal(0, 0.2, rows),
    }
    report = ReadingReport("CSV", rows + 2, rows)
    names = None if activity is None else tuple([activity] * rows)
    log = Readings(
        name, np.arange(float(rows)), 1.0, "2026-10-05T09:00:00Z",
        {column: every[column] for column in columns}, state, names, report,
    )  # fmt: skip
    return log, state


def host_log(rows=1_200):
    """A made-up host: two activities of 0.1 and 0.5 cores a session, 2 cores without sessions."""
    rng = np.random.default_rng(3)
    count = 20 + np.cumsum(rng.integers(-1, 2, (rows, 2)), axis=0)
    counts = np.clip(count, 2, 40).astype(float)
    total = 2 + counts @ np.array([0.1, 0.5]) + rng.normal(0, 0.2, rows)
    report = ReadingReport("CSV", rows, rows)
    return Readings(
        "host.csv", np.arange(rows) * 10.0, 10.0, None,
        {"host_cores": total, "sessions": counts.sum(axis=1)}, None, None, report,
        {"typing and reading": counts[:, 0], "full-screen video": counts[:, 1]},
    )  # fmt: skip

"""How long from `python -m app` to the first answer, and from opening the page to four charts?

Aimed at: 3 s and 2.5 s on loopback, 2 cores. Prints medians of a few starts and what dominates:
the packages that take longest to import, and the scripts that take most bytes.
"""

import json
import os
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from model.scenario import default, dump
from tests.browser.site import REPOSITORY, Site

pytestmark = pytest.mark.speed

STARTS = 5
PACKAGES = ("dash", "flask", "numpy", "pandas", "plotly", "pydantic", "sqlalchemy", "waitress")
WAIT_FOR_CHARTS = """
() => new Promise((resolve) => {
  const look = () => {
    const shown = document.documentElement.dataset;
    const drawn = ["headroom", "contention", "day", "desktop"].every(
      (name) => document.querySelector("#chart-" + name + " .main-svg"));
    if (shown.paintedcurve && shown.paintedday && drawn) resolve(performance.now());
    else setTimeout(look, 5);
  };
  look();
})
"""
LOADED = """
() => performance.getEntriesByType("resource").map((e) =>
  ({ name: e.name, kind: e.initiatorType, sent: e.transferSize, kept: e.encodedBodySize,
     plain: e.decodedBodySize, ends: e.responseEnd }))
"""


def test_start_to_first_answer(tmp_path):
    """From the command to the first answer about the example, each time in a new process."""
    question = {"sequence": 1, "scenario": dump(default()), "theme": "light", "pin": None}
    answered, healthy = [], []
    for start in range(STARTS):
        folder = tmp_path / str(start)
        folder.mkdir()
        begin = time.perf_counter()
        site = Site(folder)
        try:
            healthy.append(time.perf_counter() - begin)
            asked = urllib.request.Request(
                f"{site.url}/answer/curve", json.dumps(question).encode(),
                {"Content-Type": "application/json"},
            )  # fmt: skip
            with urllib.request.urlopen(asked) as reply:
                told = json.loads(json.load(reply)["text"])
            answered.append(time.perf_counter() - begin)
        finally:
            site.stop()
        assert "206 sessions" in told["texts"]["answer-sentence"]
    print(
        f"\n`python -m app` to first answer: median {statistics.median(answered):.2f} s, worst "
        f"{max(answered):.2f} s; to listening: median {statistics.median(healthy):.2f} s "
        f"({STARTS} starts; 3 s aimed at)"
    )
    print("imports, own and what they bring [s]:", _slowest_imports())


def test_page_to_four_charts(new_context, server):
    """From the address to four painted charts: first visit, and again with a filled cache."""
    first, again = [], []
    for _ in range(STARTS):
        page = new_context().new_page()
        for times in (first, again):
            page.goto(f"{server.url}/?n={130 + len(first) + len(again)}&v=1", wait_until="commit")
            times.append(page.evaluate(WAIT_FOR_CHARTS))
            page.wait_for_selector("html[data-settled]")
            if times is first:
                loaded = page.evaluate(LOADED)
        kept = page.evaluate(LOADED)
    scripts = sorted((e for e in loaded if e["kind"] == "script"), key=lambda e: -e["kept"])
    sent = sum(e["sent"] for e in loaded)
    print(
        f"\npage to four painted charts: first visit median {statistics.median(first):.0f} ms, "
        f"worst {max(first):.0f} ms; again median {statistics.median(again):.0f} ms, worst "
        f"{max(again):.0f} ms ({STARTS} visits; 2,500 ms aimed at)"
    )
    print(
        f"{len(loaded)} files, {sent / 1000:.0f} kB sent of "
        f"{sum(e['plain'] for e in loaded) / 1000:.0f} kB; the last script is there after "
        f"{max(e['ends'] for e in scripts):.0f} ms; largest: "
        + ", ".join(f"{Path(e['name']).name.split('?')[0]} {e['kept'] / 1000:.0f} kB"
                    for e in scripts[:4])
    )  # fmt: skip
    assert all(e["kept"] < 0.6 * e["plain"] for e in scripts if e["plain"] > 2000)  # compressed
    taken_again = [e for e in kept if e["kind"] in ("script", "link") and e["sent"] > 1000]
    assert not taken_again, taken_again  # cached


def _slowest_imports() -> str:
    """The packages that take longest, with all that each of them imports first."""
    told = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", "import app.server"],
        cwd=REPOSITORY, env=dict(os.environ), capture_output=True, text=True, check=True,
    ).stderr  # fmt: skip
    seconds = {}
    for line in told.splitlines():
        if line.count("|") == 2 and "[us]" not in line:
            _, cumulative, name = line.split("|")
            seconds[name.strip()] = int(cumulative) / 1e6
    found = sorted(((seconds.get(name, 0.0), name) for name in PACKAGES), reverse=True)
    return ", ".join(f"{name} {spent:.2f}" for spent, name in found if spent > 0)

"""Do 50 viewers who all drag a slider get right answers, and how soon?

One gunicorn with two processes, Redis and PostgreSQL run on this machine, and so does the load
(`tests/speed/viewers.py`, by locust: `pip install '.[speed]'`). LOAD_SECONDS and LOAD_VIEWERS
set another length and another number of viewers than 60 s and 50.
"""

import importlib.util
import json
import os
import random
import subprocess
import sys
import threading
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from statistics import median

import pytest

from app.labels import SHELF
from model.scenario import default, dump
from tests.browser.site import REPOSITORY
from tests.postgres import Postgres
from tests.production.many import ManySite, example, until
from tests.redis import Redis
from tests.speed.expected import expected

pytestmark = pytest.mark.speed

LOAD_S = float(os.environ.get("LOAD_SECONDS", "60"))
VIEWERS = int(os.environ.get("LOAD_VIEWERS", "50"))
MOVE_EVERY_S = 0.3
NEW_SHARE = 0.5  # of moves to where nobody has been, so that no cache helps
PROCESSES = 2
RECOVERY_S = 5.0  # after a process was killed or Redis or the database went


@pytest.fixture(scope="module")
def redis():
    """A Redis for these tests."""
    server = Redis()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def postgres():
    """A PostgreSQL for these tests."""
    server = Postgres()
    yield server
    server.stop()


@pytest.fixture
def site(redis, postgres, tmp_path):
    """The server that README.md tells to start for many viewers."""
    if importlib.util.find_spec("locust") is None:
        pytest.fail("The load comes from locust, which is missing: pip install '.[speed]'")
    started = ManySite(
        tmp_path,
        {
            "CRESTLINE_DATABASE_URL": postgres.url,
            "CRESTLINE_PROCESSES": str(PROCESSES),
            "CRESTLINE_REDIS_URL": redis.url,
        },
    )
    yield started
    started.stop()
    print(started.printed())


class Load:
    """Viewers who drag for a time, each a slider of their own; `answers` is what they got."""

    def __init__(self, site, folder, seconds):
        """Write down the questions and start to ask them."""
        self._questions, self._answers = folder / "questions.json", folder / "answers.jsonl"
        self.scenarios, self.moves = moves_of(VIEWERS, round(seconds / MOVE_EVERY_S))
        asked = {
            "scenarios": self.scenarios, "moves": self.moves, "move_every_s": MOVE_EVERY_S
        }  # fmt: skip
        self._questions.write_text(json.dumps(asked), encoding="utf-8")
        self.begin_s = time.monotonic()
        self._process = subprocess.Popen(
            [
                sys.executable, "-m", "locust", "-f", "tests/speed/viewers.py", "--headless",
                "--only-summary", "-u", str(VIEWERS), "-r", str(VIEWERS), "--host", site.url,
                "-t", f"{seconds + 60:.0f}s", "--exit-code-on-error", "0",
                "--questions", self._questions, "--answers", self._answers,
            ],
            cwd=REPOSITORY, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        self._limit_s = seconds + 90

    def wait_until_it_asks(self):
        """Wait for the first answers; locust itself takes a while to start."""
        until(lambda: self._answers.exists() and self._answers.stat().st_size > 0, "a first answer")

    def answers(self):
        """Wait until the viewers are done; return what each question brought."""
        try:
            self.said, _ = self._process.communicate(timeout=self._limit_s)
        finally:
            self._process.kill()
        lines = self._answers.read_text(encoding="utf-8").splitlines()
        assert lines, self.said
        return [json.loads(line) for line in lines]


def moves_of(viewers, moves):
    """Return scenarios, and for each viewer the numbers of those that a drag leads through.

    A slider goes up and down in steps, the same ones for all viewers; every other move, one of
    the mix of roles goes to where nobody has been.
    """
    start = default()
    steps = [example(n) for n in range(20, 240, 5)]
    steps += [example(120, cores) for cores in range(16, 60, 1)]
    steps += [
        start.model_copy(
            update={"accelerator": start.accelerator.model_copy(update={"share_pct": float(pct)})}
        )
        for pct in range(12, 100, 2)
    ]
    scenarios = [dump(step) for step in steps]
    sliders = [range(44), range(44, 88), range(88, 132)]
    chance, taken = random.Random(1), set()
    lists = []
    for viewer in range(viewers):
        slider = sliders[viewer % 3]
        at, list_of_moves = chance.choice(slider), []
        for _ in range(moves):
            at = min(max(at + chance.choice((-1, 1)), slider[0]), slider[-1])
            number = at
            if chance.random() < NEW_SHARE:
                number = len(scenarios)
                scenarios.append(dump(new_mix(steps[at], chance, taken)))
            list_of_moves.append(number)
        lists.append(list_of_moves)
    return scenarios, lists


def new_mix(scenario, chance, taken):
    """Return a scenario with weights of roles that no other has."""
    while True:
        tenths = sorted(chance.sample(range(1, 1000), len(scenario.roles) - 1))
        weights = [b - a for a, b in zip([0, *tenths], [*tenths, 1000], strict=True)]
        if tuple(weights) not in taken:
            taken.add(tuple(weights))
            break
    roles = tuple(
        role.model_copy(update={"weight_pct": weight / 10})
        for role, weight in zip(scenario.roles, weights, strict=True)
    )
    return scenario.model_copy(update={"roles": roles})


def wrong_answers(load, answers):
    """Return every answer that is not the model's own for what was asked."""
    good = [each for each in answers if "failure" not in each]
    asked = sorted({(each["lane"], each["scenario"]) for each in good})
    lanes = [lane for lane, _ in asked]
    texts = [load.scenarios[number] for _, number in asked]
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        found = dict(zip(asked, pool.map(expected, lanes, texts, chunksize=8), strict=True))
    print(f"{len(asked):,} different questions checked against the model")
    return [
        each
        for each in good
        if any(
            each[name] != value
            for name, value in found[each["lane"], each["scenario"]].items()
        )
    ]  # fmt: skip


def p95(values):
    """Return the 95th per cent of some values."""
    return sorted(values)[int(len(values) * 0.95)]


def tell(load, answers):
    """Print how many moves were answered, and how soon."""
    made = sum(len(each) for each in load.moves)
    spent_s = max(each["done_s"] for each in answers) - min(each["moved_s"] for each in answers)
    print(
        f"\n{VIEWERS} viewers, a move every {MOVE_EVERY_S * 1000:.0f} ms, "
        f"{made:,} moves; {len(answers):,} answers in {spent_s:.0f} s, "
        f"{len(answers) / spent_s:.1f} a second"
    )
    for lane in ("curve", "day"):
        of_lane = [each for each in answers if each["lane"] == lane and "failure" not in each]
        trip = [(each["done_s"] - each["sent_s"]) * 1e3 for each in of_lane]
        moved = [(each["done_s"] - each["moved_s"]) * 1e3 for each in of_lane]
        known = len(of_lane) - len({each["scenario"] for each in of_lane})
        print(
            f"  {lane}: {len(of_lane):,} moves answered, {made - len(of_lane):,} overtaken by the "
            f"viewer's next one; {known:,} asked for before; question to answer median "
            f"{median(trip):.0f}, p95 {p95(trip):.0f} ms; move to answer median "
            f"{median(moved):.0f}, p95 {p95(moved):.0f} ms"
        )


def test_fifty_viewers_get_right_answers(site, tmp_path):
    """While all drag for a minute there is no error, and every answer is the model's own."""
    load = Load(site, tmp_path, LOAD_S)
    answers = load.answers()
    tell(load, answers)

    assert [each for each in answers if "failure" in each] == [], load.said
    assert wrong_answers(load, answers) == []
    newest = {
        (each["viewer"], each["lane"]): max(
            other["sequence"]
            for other in answers
            if (other["viewer"], other["lane"]) == (each["viewer"], each["lane"])
        )
        for each in answers[-4 * VIEWERS :]
    }
    assert set(newest.values()) == {len(load.moves[0])}  # where each slider came to rest
    assert len(newest) == 2 * VIEWERS


def test_what_fails_midway_makes_no_answer_wrong(site, redis, postgres, tmp_path):
    """A killed process, Redis gone and the database gone: answers go on and are right."""
    saved, tried, shelf_said, stop = [], [], [], threading.Event()

    def keep_saving():
        while not stop.is_set():
            name = f"save {len(tried)}"
            tried.append(name)
            try:
                status, told = site.post("/shelf-data/items", scenario=dump(example(9)), name=name)
            except (OSError, ValueError):
                status, told = 0, {}
            if status == 200 and told.get("item"):
                saved.append(name)
            else:
                shelf_said.append((status, told.get("failure", "")))
            time.sleep(0.2)

    seconds = max(LOAD_S / 2, 24.0)
    load = Load(site, tmp_path, seconds)
    saver = threading.Thread(target=keep_saving)
    saver.start()
    try:
        load.wait_until_it_asks()
        time.sleep(seconds / 6)
        killed_s = time.monotonic()
        killed = site.kill_worker()
        time.sleep(seconds / 6)
        assert len(site.workers()) == PROCESSES
        assert killed not in site.workers()
        redis.pause()
        time.sleep(seconds / 6)
        redis.resume()
        postgres.pause()
        time.sleep(seconds / 6)
    finally:
        if not redis.runs():
            redis.resume()
        postgres.resume()
        stop.set()
        saver.join()
    answers = load.answers()
    tell(load, answers)

    failed = [each for each in answers if "failure" in each]
    late = [each for each in failed if not killed_s <= each["done_s"] <= killed_s + RECOVERY_S]
    print(
        f"  {len(failed)} questions were lost with the process that was killed; "
        f"{len(saved)} of {len(tried)} saves acknowledged; the shelf's other answers by status: "
        f"{dict(Counter(status for status, _ in shelf_said))}"
    )
    assert late == []
    # What the killed process had taken up is lost; whoever asks again is answered by another.
    lost = Counter((each["viewer"], each["lane"]) for each in failed)
    assert max(lost.values(), default=0) <= 2
    assert wrong_answers(load, answers) == []
    refused = {text for status, text in shelf_said if status == 503}
    assert refused
    assert all(text.startswith(SHELF["unreachable"].partition("{number}")[0]) for text in refused)
    until(lambda: site.get("/shelf-data/items")[0] == 200, "the shelf is back")
    names = [item["name"] for item in site.get("/shelf-data/export")[1]["items"]]
    assert set(saved) <= set(names)
    assert len(names) == len(set(names))

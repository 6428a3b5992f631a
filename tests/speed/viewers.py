"""How do many viewers ask while each drags a slider? Run by locust, in a process of its own.

    python -m locust -f tests/speed/viewers.py --headless -u 50 --host URL
        --questions QUESTIONS.json --answers ANSWERS.jsonl

Each viewer moves at a fixed pace and asks as the page does: in each lane one question is under
way, and when it is answered the newest move is asked for, so that moves in between are overtaken.
QUESTIONS.json holds `scenarios` (texts), `moves` (for each viewer, numbers of scenarios) and
`move_every_s`. Each answer is a line of ANSWERS.jsonl: what was asked, when, and what came back.
"""

import hashlib
import itertools
import json
import re
import time
from pathlib import Path

import gevent
from gevent.event import Event
from locust import FastHttpUser, events, task
from locust.exception import StopUser

PATIENCE_S = 20.0  # as assets/crestline.js
DAY_AFTER_S = 0.008  # so that the server takes up the curves first, as on the page
_MODEL_MS = re.compile(r'"model_ms": [0-9.]+, ')


@events.init_command_line_parser.add_listener
def _take_options(parser):
    parser.add_argument("--questions")
    parser.add_argument("--answers")


@events.test_start.add_listener
def _open_files(environment, **_):
    options = environment.parsed_options
    Viewer.asked = json.loads(Path(options.questions).read_text(encoding="utf-8"))
    path = Path(options.answers)
    Viewer.answers = path.open("w", encoding="utf-8")


@events.test_stop.add_listener
def _close_files(**_):
    Viewer.answers.flush()


class Viewer(FastHttpUser):
    """One visitor with the Host page open."""

    connection_timeout = network_timeout = PATIENCE_S
    asked: dict
    answers = None
    numbers = itertools.count()
    done = 0

    def on_start(self):
        """Take the next list of moves."""
        self.number = next(self.numbers)
        self.newest = None
        self.moving = True

    @task
    def drag(self):
        """Move a slider to the end of the list, then wait for the last answers."""
        moved = {"curve": Event(), "day": Event()}
        lanes = [gevent.spawn(self.ask, lane, moved[lane]) for lane in moved]
        every_s = self.asked["move_every_s"]
        gevent.sleep(every_s * self.number / len(self.asked["moves"]))  # not all at once
        begin_s = time.monotonic()
        for sequence, scenario in enumerate(self.asked["moves"][self.number], 1):
            self.newest = (sequence, scenario, time.monotonic())
            for event in moved.values():
                event.set()
            gevent.sleep(max(begin_s + sequence * every_s - time.monotonic(), 0))
        self.moving = False
        for event in moved.values():
            event.set()
        gevent.joinall(lanes)
        Viewer.done += 1
        if Viewer.done == len(self.asked["moves"]):
            self.environment.runner.quit()
        raise StopUser

    def ask(self, lane, moved):
        """Ask for the newest move whenever the question before it is answered."""
        asked_last = 0
        while True:
            moved.wait()
            moved.clear()
            if lane == "day":
                gevent.sleep(DAY_AFTER_S)
            while self.newest is not None and self.newest[0] > asked_last:
                asked_last = self.newest[0]
                self.exchange(lane, *self.newest)
            if not self.moving:
                return

    def exchange(self, lane, sequence, scenario, moved_s):
        """Ask one question and write down what came back."""
        question = {
            "sequence": sequence, "scenario": self.asked["scenarios"][scenario],
            "theme": "light", "pin": None,
        }  # fmt: skip
        sent_s = time.monotonic()
        with self.client.post(f"/answer/{lane}", json=question, catch_response=True) as reply:
            done_s = time.monotonic()
            kept = {
                "viewer": self.number, "lane": lane, "sequence": sequence, "scenario": scenario,
                "moved_s": moved_s, "sent_s": sent_s, "done_s": done_s,
                "status": reply.status_code,
            }  # fmt: skip
            try:
                kept |= told(reply.text, lane, sequence)
            except (KeyError, TypeError, ValueError) as error:
                kept["failure"] = f"{reply.error or repr(error)}: {str(reply.text)[:200]}"
                reply.failure(kept["failure"])
        self.answers.write(json.dumps(kept) + "\n")
        if "failure" in kept:
            gevent.sleep(0.05)  # the page needs a moment, too, to say so


def told(text, lane, sequence):
    """Return the part of an answer that is checked: a digest of all of it, and what it states."""
    envelope = json.loads(text)
    if (envelope["sequence"], envelope["lane"]) != (sequence, lane):
        raise ValueError(f"answers question {envelope['sequence']} of {envelope['lane']}")
    answer = json.loads(envelope["text"])
    found = {"server_ms": envelope["server_ms"], "digest": digest(envelope["text"])}
    if lane == "curve":
        texts = answer["texts"]
        found["sentence"] = texts["answer-sentence"]
        found["headroom"] = [
            texts[f"now-{arm}-headroom_pct"] for arm in ("software", "offloaded")
        ]  # fmt: skip
    return found


def digest(text):
    """Return a digest of an answer's text, without how long the model took."""
    return hashlib.sha256(_MODEL_MS.sub("", text).encode()).hexdigest()

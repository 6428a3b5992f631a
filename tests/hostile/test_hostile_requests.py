"""Does every HTTP address answer strangers with a result or a refusal, never with a failure?

Each address that the application has is asked many times with what its page would send, changed in
one to three places, with bytes, and with other kinds of content. Jobs of the Evidence page are
not started: each would be a process.
"""

import gzip
import logging
import random
from typing import Any
from urllib.parse import quote

import pytest

from app import url_state
from app.server import make_app
from app.settings import Settings
from model import fleet_inputs
from model.scenario import default, dump, from_data, to_data
from tests.hostile.hostile_inputs import (
    HOSTILE_TEXTS,
    as_json,
    damaged,
    hostile_value,
    mutated,
)
from tests.hostile.limits import bounded_memory, each_within_limits

CASES_EACH = 45  # of each address and method
OTHER_KINDS = ("text/plain", "application/octet-stream", "multipart/form-data; boundary=x", "")
NO_PAGES = {"/_dash-component-suites", "/assets", "/static"}


def small_scenario():
    """A scenario that is quickly worked out: two cores, one role, two activities."""
    data = to_data(default()) | {"sessions": 3}
    data["host"] |= {"cores": 2, "memory_gib": 64}
    data["activities"] = data["activities"][:2]
    names = [activity["name"] for activity in data["activities"]]
    data["roles"] = [
        data["roles"][0] | {"weight_pct": 100, "activity_pct": {names[0]: 60, names[1]: 40}}
    ]
    data["day"] |= {"start": "08:00", "end": "09:00", "present_pct": [["08:00", 50], ["09:00", 50]]}
    return from_data(data)


def meant_well() -> dict[str, Any]:
    """One record with what any of the pages would send."""
    text = dump(small_scenario())
    return {
        "sequence": 3, "scenario": text, "theme": "light", "pin": "n=90&v=1", "event": "card_lost",
        "query": "n=90&v=1", "fleet": fleet_inputs.to_data(fleet_inputs.example()),
        "name": "Pier", "tags": ["north"], "note": "a note", "version": 1, "based_on": 1,
        "items": [{"name": "Pier", "scenario": text}], "ids": ["a", "b"], "text": text,
        "log": "a", "logs": ["a"], "mapping": {"time": "t", "encode_cpu": "c", "counts": {}},
        "files": [{"name": "x.csv"}], "start_s": 0, "end_s": 10, "speed": 60, "seed": 1,
        "draws": 10, "answer": "rated_load", "activity": "scrolling", "role": "berth planner",
        "toggles": [{"at_s": 5.0, "on": True}], "confirmed": True, "accepted": ["x"],
        "effect_pct": 10, "noise_pct": 5, "correlation": 0.5, "blocks": 8, "power_pct": 80,
        "outputs": {"id": "failure", "property": "children"}, "output": "failure.children",
        "inputs": [{"id": "controls", "property": "id", "value": "controls"}],
        "changedPropIds": ["controls.id"], "state": [],
    }  # fmt: skip


@pytest.fixture(scope="module")
def application(tmp_path_factory):
    """An application with an empty shelf, whose jobs are never started."""
    patch = pytest.MonkeyPatch()
    patch.setattr("app.evidence_jobs.Jobs.run_job", _not_started)
    folder = tmp_path_factory.mktemp("hostile") / "data"
    yield make_app(Settings(workers=0, data_folder=folder)).server
    patch.undo()


def _not_started(_jobs, _session, task, **_inputs):
    return {"id": "0", "task": task.__name__, "state": "running", "share": 0.0, "words": ""}


def addresses(server) -> list[tuple[str, str]]:
    """Every address and method of the application, files of the page left out."""
    return sorted(
        (rule.rule, method)
        for rule in server.url_map.iter_rules()
        for method in rule.methods & {"GET", "POST"}
        if not any(rule.rule.startswith(each) for each in NO_PAGES)
    )


def path_of(rule: str, rng: random.Random) -> str:
    """An address with hostile texts in place of its variable parts."""
    while "<" in rule:
        before, _, rest = rule.partition("<")
        kind, _, after = rest.partition(">")
        part = str(rng.choice((1, 0, 10**20))) if kind.startswith("int:") else rng.choice(
            ("headroom", "curve", "a", rng.choice(HOSTILE_TEXTS)[:300])
        )  # fmt: skip
        rule = before + quote(part.encode("utf-8", "surrogatepass"), safe="") + after
    return rule


def query_of(rng: random.Random) -> str:
    """Names that pages use in a query, with hostile values."""
    link = url_state.to_address(small_scenario(), "n=9&v=1") or ""
    names = ["name", "log", "theme", "n", "v", "cores", "id", "q", "points", "from", "to"]
    chosen = {name: quoted(hostile_value(rng)) for name in rng.sample(names, 3)}
    told = "&".join(f"{name}={text}" for name, text in chosen.items())
    return told if rng.random() < 0.7 else link


def quoted(value: Any) -> str:
    """A value as a browser or a stranger would write it into a query."""
    return quote(str(value)[:2_000].encode("utf-8", "surrogatepass"), safe="%&=<>\"'")


def test_every_address_answers_or_refuses(application, caplog):
    """No address fails, hangs, tells a stack, or forgets its headers, whatever it is sent."""
    rng = random.Random(77)
    client = application.test_client()
    good, cases, refused = meant_well(), 0, 0
    with bounded_memory():
        for rule, method in addresses(application):
            for case in range(CASES_EACH):
                path = path_of(rule, rng)
                sent: dict[str, Any] = {"query_string": query_of(rng)}
                if method == "POST" and case % 3:
                    record = mutated(good, rng)
                    record["scenario"] = good["scenario"] if case % 2 else record.get("scenario")
                    sent |= {"data": as_json(record), "content_type": "application/json"}
                elif method == "POST" and case % 2:
                    sent |= {"data": as_json(good), "content_type": rng.choice(OTHER_KINDS)}
                elif method == "POST":
                    content = damaged(as_json(good), rng)
                    sent |= {"data": content, "content_type": "application/json"}
                told = f"{method} {path} {sent}"
                with each_within_limits(told):
                    reply = client.open(path, method=method, **sent)
                body = reply.get_data().decode("utf-8", "replace")
                assert reply.status_code < 500, f"{reply.status_code}: {told[:1500]}: {body[:500]}"
                assert "Traceback" not in body, told[:1500]
                assert reply.headers["X-Content-Type-Options"] == "nosniff", told[:300]
                assert "script-src 'self'" in reply.headers["Content-Security-Policy"]
                cases += 1
                refused += reply.status_code >= 400 or '"error"' in body
    assert cases > 2_000
    assert refused > cases / 4
    failures = [r for r in caplog.records if r.levelno >= logging.ERROR]
    assert not failures, failures[0].getMessage()


@pytest.mark.parametrize("depth", [100, 10_000, 300_000])
@pytest.mark.parametrize("path", ["/answer/curve", "/shelf-data/import", "/api/assess"])
def test_deep_json_is_refused(application, path, depth):
    """Lists within lists, however deep, are refused like anything else that is no record."""
    text = b"[" * depth + b"]" * depth
    reply = application.test_client().post(path, data=text, content_type="application/json")

    assert reply.status_code < 500
    assert b"error" in reply.data


def test_uploads_of_anything_are_taken_or_refused(application):
    """Hundreds of files of damaged text, of damaged gzip and of noise: read or refused."""
    rng = random.Random(3)
    log = b"time_s,encode_pct,offload\n" + b"".join(
        b"%d,%.2f,%d\n" % (second, rng.gauss(40, 5), second // 60 % 2) for second in range(300)
    )
    client = application.test_client()
    looked = 0
    with bounded_memory():
        for case in range(300):
            plain = damaged(log, rng) if case % 4 else rng.randbytes(rng.choice((1, 50, 5_000)))
            content = damaged(gzip.compress(plain), rng) if case % 5 == 0 else plain
            name = rng.choice(HOSTILE_TEXTS)[:200]
            with each_within_limits(name):
                taken = client.post(
                    "/evidence-data/upload", query_string=f"name={quoted(name)}", data=content,
                    content_type="application/octet-stream",
                )  # fmt: skip
                assert taken.status_code < 500, taken.get_data(as_text=True)[:500]
                log_id = (taken.get_json() or {}).get("log", {}).get("id")
                if log_id is not None:
                    look = client.post(
                        "/evidence-data/look", json={"log": log_id, "logs": [log_id]}
                    )
                    assert look.status_code < 500, look.get_data(as_text=True)[:500]
                    looked += 1
                    client.post("/evidence-data/remove", json={"log": log_id})
    assert looked > 0

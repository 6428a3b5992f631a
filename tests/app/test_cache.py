"""Is what is remembered right, whoever else writes to the cache and whether or not it answers?"""

import logging
import pickle
import secrets
import socket
import stat
import time

import pytest
from flask import Flask
from redis import Redis as Client

from app.cache import memory, release, shared_key
from app.settings import Settings
from tests.redis import Redis


@pytest.fixture(scope="module")
def redis():
    """A Redis for these tests."""
    server = Redis()
    yield server
    server.stop()


@pytest.fixture
def kept(redis):
    """What lies in Redis, empty at first."""
    client = Client.from_url(redis.url)
    client.flushall()
    yield client
    client.close()


@pytest.fixture
def remember(redis, kept, tmp_path):
    """The memory of a process that uses Redis."""
    return memory(Flask("one"), Settings(redis_url=redis.url, data_folder=tmp_path))


def refuse():
    """Stand for an answer that need not be worked out again."""
    raise AssertionError("it was worked out although it was there")


class Runs:
    """Unpickled, it makes a file."""

    def __init__(self, path):
        """Remember where."""
        self.path = path

    def __reduce__(self):
        """Say what unpickling calls."""
        return open, (str(self.path), "w")


def test_every_process_finds_what_one_has_worked_out(redis, remember, tmp_path):
    """A second process with the same data folder and Redis need not work an answer out again."""
    other = memory(Flask("other"), Settings(redis_url=redis.url, data_folder=tmp_path))

    assert remember("answer", lambda: "206 sessions, \u00fcber 77") == "206 sessions, \u00fcber 77"

    assert other("answer", refuse) == "206 sessions, \u00fcber 77"
    assert other("another", lambda: "77") == "77"


def test_planted_pickle_is_not_run_but_worked_out_anew(remember, kept, tmp_path):
    """Whoever may write to Redis cannot have code run; the entry is replaced by the answer."""
    remember("answer", lambda: "206")
    (name,) = kept.keys()
    bait = tmp_path / "run"
    for planted in (b"!" + pickle.dumps(Runs(bait)), pickle.dumps(Runs(bait)), b"!", b"", b"206"):
        kept.set(name, planted)
        assert remember("answer", lambda: "206") == "206"
        assert remember("answer", refuse) == "206"
    assert not bait.exists()
    pickle.loads(pickle.dumps(Runs(bait))).close()
    assert bait.exists()  # so that the bait was good


def test_damaged_or_foreign_entry_is_worked_out_anew(redis, remember, kept, tmp_path):
    """An entry counts only whole, under its own name, and sealed by a server of this folder."""
    remember("one", lambda: "206")
    (one,) = kept.keys()
    whole = kept.get(one)
    for at in (0, 31, 32, len(whole) - 1):
        damaged = bytearray(whole)
        damaged[at] ^= 1
        kept.set(one, bytes(damaged))
        assert remember("one", lambda: "right") == "right"
    kept.set(one.replace(b":one", b":two"), whole)
    assert remember("two", lambda: "77") == "77"

    stranger = Settings(redis_url=redis.url, data_folder=tmp_path / "other")
    assert memory(Flask("stranger"), stranger)("one", lambda: "own") == "own"
    assert remember("one", lambda: "right") == "right"


def test_another_kind_of_entry_does_no_harm(remember, kept):
    """A name under which somebody keeps a list is an answer worked out anew."""
    remember("answer", lambda: "206")
    (name,) = kept.keys()
    kept.delete(name)
    kept.lpush(name, "a", "b")

    assert remember("answer", lambda: "206") == "206"


def test_entries_belong_to_a_release_and_go_after_an_hour(remember, kept):
    """The name of an entry tells which source made it, and no entry stays for ever."""
    remember("answer", lambda: "206")

    (name,) = kept.keys()
    assert name.decode() == f"crestline:{release()}:answer"
    assert 0 < kept.ttl(name) <= 3600


def test_redis_that_is_not_there_is_told_once_a_minute(caplog, tmp_path):
    """Answers are worked out, and the log says so without the password."""
    password = secrets.token_hex(8)
    with socket.socket() as probe:  # nobody listens there afterwards
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    settings = Settings(redis_url=f"redis://:{password}@127.0.0.1:{port}/0", data_folder=tmp_path)
    remember = memory(Flask("alone"), settings)

    with caplog.at_level(logging.WARNING):
        assert [remember("answer", lambda n=n: str(n)) for n in range(50)] == [
            str(n) for n in range(50)
        ]

    told = [record.getMessage() for record in caplog.records if "cache" in record.getMessage()]
    assert told == [
        "the cache cannot be used (ConnectionError); answers are worked out anew",
    ]
    assert password not in caplog.text + repr(settings)


def test_redis_that_hangs_holds_nobody_up_for_long(tmp_path):
    """Where connections are taken but never answered, only the first question waits, briefly."""
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        remember = memory(Flask("waits"), Settings(redis_url=url, data_folder=tmp_path))
        begin_s = time.monotonic()
        assert [remember(str(n), lambda: "206") for n in range(20)] == ["206"] * 20
        assert time.monotonic() - begin_s < 2.0


def test_redis_that_comes_back_is_used_again(redis, kept, remember, monkeypatch):
    """After an outage answers are kept again."""
    monkeypatch.setattr("app.cache._PAUSE_S", 0.05)
    remember("before", lambda: "1")
    redis.pause()
    assert remember("before", lambda: "2") == "2"
    redis.resume()
    time.sleep(0.1)

    assert remember("after", lambda: "3") == "3"
    assert remember("after", refuse) == "3"


def test_one_process_remembers_by_itself():
    """Without Redis answers lie in memory, as many as the settings say."""
    remember = memory(Flask("alone"), Settings(cache_entries=2))

    assert remember("a", lambda: "1") == "1"
    assert remember("a", refuse) == "1"
    for name in "bcdef":
        remember(name, lambda: "2")
    assert remember("a", lambda: "3") == "3"


def test_key_is_made_once_and_only_its_owner_reads_it(tmp_path):
    """Processes that start together agree on one key; nobody else may read its file."""
    folder = tmp_path / "data"
    keys = {shared_key(folder) for _ in range(3)}

    assert len(keys) == 1
    assert stat.S_IMODE((folder / "cache.key").stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir()] == ["cache.key"]


def test_key_that_cannot_be_kept_is_the_process_own(tmp_path, caplog):
    """Where no file can be made, each process has a key of its own and goes on."""
    (tmp_path / "file").touch()

    with caplog.at_level(logging.WARNING):
        one, other = (shared_key(tmp_path / "file" / "data") for _ in range(2))

    assert one != other
    assert "cannot be kept" in caplog.text

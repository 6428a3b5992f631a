"""Do several processes serve as one, and does what fails behind them make no answer wrong?"""

import http.client
import os
import socket
import subprocess
import sys
import threading
import time

import pytest
from redis import Redis as Client

from app.labels import SHELF
from app.shelf_store import open_shelf
from model.scenario import dump
from tests.browser.site import REPOSITORY, Site
from tests.production.many import ManySite, example, right_sentence, until

COOKIE = "crestline-evidence"
pytestmark = pytest.mark.slow


def save(site, name, sessions=100):
    """Put a scenario on the shelf; return whether the server said that it is there."""
    status, told = site.post("/shelf-data/items", scenario=dump(example(sessions)), name=name)
    return status == 200 and told["item"]["name"] == name


def names_on_shelf(site):
    """The names of all that is on the shelf."""
    status, told = site.get("/shelf-data/export")
    assert status == 200, told
    return {item["name"] for item in told["items"]}


def test_health_says_nothing_about_the_inside(site):
    """A load balancer hears that the server is there, and nobody hears more."""
    assert site.get("/health") == (200, "OK")


def test_longest_link_opens_and_an_endless_line_is_refused(site):
    """A link of 16 kB reaches the model, which refuses its content; a line of 60 kB does not."""
    status, told = site.get(f"/api/assess?name={'x' * 16_200}&v=1")
    assert (status, told["error"]["field"]) == (400, "name")
    assert site.get(f"/api/assess?name={'x' * 60_000}&v=1")[0] in (400, 414)


def test_killed_process_is_replaced_and_nothing_saved_is_lost(site):
    """Whoever saves while a process dies finds all that was acknowledged, and answers are right."""
    acknowledged, stop = [], threading.Event()

    def keep_saving(visitor):
        number = 0
        while not stop.is_set():
            name = f"visitor {visitor}, save {number}"
            number += 1
            try:
                if save(site, name):
                    acknowledged.append(name)
            except (OSError, http.client.HTTPException):
                continue  # the process that died had taken up this one

    savers = [threading.Thread(target=keep_saving, args=(visitor,)) for visitor in range(3)]
    for saver in savers:
        saver.start()
    until(lambda: len(acknowledged) > 5, "some saves before")
    killed = site.kill_worker()
    before = len(acknowledged)
    until(lambda: killed not in site.workers() and len(site.workers()) == 2, "two processes again")
    until(lambda: len(acknowledged) > before + 5, "some saves afterwards")
    stop.set()
    for saver in savers:
        saver.join()

    assert names_on_shelf(site) >= set(acknowledged)
    scenario = example(63)
    assert site.ask(scenario)["texts"]["answer-sentence"] == right_sentence(scenario)


def test_without_redis_answers_are_right_and_with_it_kept_again(site, redis):
    """Redis that is gone, and comes back, shows in no answer."""
    known, new = example(71, 30), example(72, 31)
    known_sentence, new_sentence = right_sentence(known), right_sentence(new)
    assert site.ask(known)["texts"]["answer-sentence"] == known_sentence

    redis.pause()
    try:
        assert site.ask(known)["texts"]["answer-sentence"] == known_sentence
        assert site.ask(new)["texts"]["answer-sentence"] == new_sentence
        assert site.ask(known)["texts"]["answer-sentence"] == known_sentence
    finally:
        redis.resume()

    kept = Client.from_url(redis.url)
    until(lambda: site.ask(new) and kept.dbsize() > 0, "an answer is kept again")
    kept.close()
    assert site.ask(new)["texts"]["answer-sentence"] == new_sentence
    told = [line for line in site.printed().splitlines() if "the cache cannot be used" in line]
    assert 1 <= len(told) <= len(site.workers()) + 1  # once a minute in each process
    assert redis.url.split(":")[2].split("@")[0] not in site.printed()


def test_without_the_database_the_host_page_works_and_the_shelf_says_so(site, postgres):
    """The shelf tells that its database is gone, comes back with it, and has kept everything."""
    assert save(site, "before the outage")

    postgres.pause()
    try:
        for _ in range(3):
            status, told = site.get("/shelf-data/items?page=1")
            assert status == 503
            # Derived: the sentence, up to the number under which the cause is in the log.
            assert told["failure"].startswith(SHELF["unreachable"].partition("{number}")[0])
        scenario = example(74)
        assert site.ask(scenario)["texts"]["answer-sentence"] == right_sentence(scenario)
        assert site.get("/health") == (200, "OK")
    finally:
        postgres.resume()

    until(lambda: site.get("/shelf-data/items?page=1")[0] == 200, "the shelf is back")
    assert "before the outage" in names_on_shelf(site)
    assert save(site, "after the outage")


def test_visitor_with_logs_is_known_to_every_process(site):
    """A job that one process started is under way for the others too, and any of them ends it."""
    connection = http.client.HTTPConnection("127.0.0.1", int(site.url.rpartition(":")[2]))
    connection.request("POST", "/evidence-data/demo", "{}", {"Content-Type": "application/json"})
    reply = connection.getresponse()
    reply.read()
    key = reply.getheader("Set-Cookie").partition(";")[0]
    connection.close()
    assert key.startswith(COOKIE)

    states = []
    for _ in range(12):  # each on a new connection, which any of the processes may take
        states.append(site.get("/evidence/job", {"Cookie": key})[1]["job"]["state"])
    assert set(states) <= {"running", "done"}

    def job():
        return site.get("/evidence/job", {"Cookie": key})[1]["job"]

    until(lambda: job()["state"] == "done", "the demo trial is read")


@pytest.mark.parametrize("server", ["gunicorn", "python -m app"])
def test_body_beyond_the_limits_is_refused_before_it_is_sent(site, server, tmp_path):
    """Who announces more than any page may send is refused at once, and the connection ends."""
    visited = site if server == "gunicorn" else Site(tmp_path, ("--host", "127.0.0.1"))
    try:
        with socket.create_connection(("127.0.0.1", int(visited.url.rpartition(":")[2]))) as line:
            line.settimeout(10)
            line.sendall(
                b"POST /evidence-data/upload?name=a.csv HTTP/1.1\r\nHost: a\r\n"
                b"Content-Type: application/octet-stream\r\nContent-Length: 400000000\r\n\r\n"
            )
            begin_s = time.monotonic()
            reply = http.client.HTTPResponse(line)
            reply.begin()
            said = reply.read().decode("utf-8")
        assert time.monotonic() - begin_s < 5
        assert reply.status == 413 or "at most 256 MB" in said
    finally:
        if visited is not site:
            visited.stop()


def test_application_loaded_before_the_fork_works_too(tmp_path):
    """With --preload, and without our settings of gunicorn, each process builds its own."""
    arguments = ("--preload", "--workers", "2", "--threads", "2", "app.wsgi:server()")
    site = ManySite(tmp_path, arguments=arguments)
    try:
        scenario = example(75)
        for _ in range(3):
            assert site.ask(scenario)["texts"]["answer-sentence"] == right_sentence(scenario)
        assert save(site, "kept in a file by one of two processes")
        assert names_on_shelf(site) == {"kept in a file by one of two processes"}
    finally:
        site.stop()


def test_wrong_setting_is_told_in_a_line_without_its_password(tmp_path):
    """A server that cannot start says which setting is wrong, and keeps the secret."""
    done = subprocess.run(
        [sys.executable, "-m", "gunicorn", "-c", "python:app.gunicorn_settings"],
        cwd=REPOSITORY,
        env=os.environ | {"CRESTLINE_REDIS_URL": "http://:hidden@127.0.0.1/0"},
        stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=30,
    )  # fmt: skip
    assert done.returncode != 0
    assert done.stderr.startswith("CRESTLINE_REDIS_URL is ")
    assert "hidden" not in done.stderr + done.stdout


def test_several_processes_open_a_fresh_file_at_once(tmp_path):
    """Four processes that make the shelf's file together lose no save of each other."""
    url = f"sqlite:///{tmp_path / 'new' / 'shelf.sqlite'}"
    program = (
        "import sys\n"
        "from app.shelf_store import open_shelf\n"
        "from model.scenario import default\n"
        "shelf = open_shelf(sys.argv[1])\n"
        "print('ready', flush=True)\n"
        "sys.stdin.readline()\n"
        "for number in range(5):\n"
        "    shelf.save_new(default(), f'{sys.argv[2]} {number}')\n"
    )
    savers = [
        subprocess.Popen(
            [sys.executable, "-c", program, url, str(at)],
            cwd=REPOSITORY, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )
        for at in range(4)
    ]  # fmt: skip
    assert [saver.stdout.readline() for saver in savers] == ["ready\n"] * 4
    for saver in savers:
        saver.stdin.write("\n")
        saver.stdin.flush()
    said = [saver.communicate(timeout=60)[1] for saver in savers]

    assert said == [""] * 4
    shelf = open_shelf(url)
    assert shelf.items().total == 20
    shelf.close()

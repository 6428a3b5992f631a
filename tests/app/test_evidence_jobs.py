"""Do several processes that share the visitors' folders know of each other's jobs?"""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.evidence_jobs import Jobs
from app.file_locks import is_held, take
from model.errors import InputError
from tests.app.waiting import wait

REPOSITORY = Path(__file__).resolve().parents[2]
PATIENCE_S = 20.0
ELSEWHERE = """
import sys, time
from pathlib import Path
from app.evidence_jobs import Jobs
from app.evidence_records import Limits
from app.evidence_session import Session
from tests.app.waiting import wait
if __name__ == "__main__":
    jobs, made = Jobs(int(sys.argv[2])), []
    for folder in sys.argv[3:]:
        session = Session(Path(folder), Limits())
        made.append(jobs.run_job(session, wait, seconds=float(sys.argv[1]))["id"])
    print(*made, flush=True)
    sys.stdin.readline()
"""


@pytest.fixture
def elsewhere():
    """Start jobs in another process of the server; it goes on until the test ends."""
    started = []

    def start(seconds, *sessions, most_at_once=2):
        folders = [str(each.folder) for each in sessions]
        program = [sys.executable, "-c", ELSEWHERE, str(seconds), str(most_at_once), *folders]
        process = subprocess.Popen(
            program, cwd=REPOSITORY, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        started.append(process)
        made = process.stdout.readline().split()
        assert len(made) == len(sessions)
        return process, made

    yield start
    for process in started:
        process.kill()
        process.communicate()


def until(jobs, session, *states):
    """Wait until the newest job has one of these states, and return it."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        state = jobs.state(session)
        if state["state"] in states:
            return state
        time.sleep(0.02)
    raise AssertionError(f"the job never was {states}: {state}")


def test_other_process_sees_a_job_and_its_result(elsewhere, session):
    """A job under way elsewhere is told as running, then as done with its result."""
    _, (job_id,) = elsewhere(0.5, session)
    jobs = Jobs()

    assert jobs.state(session)["state"] == "running"
    done = until(jobs, session, "done", "failed")

    assert (done["state"], done["id"]) == ("done", job_id)
    assert isinstance(done["result"], int)


def test_visitor_has_one_job_in_all_processes(elsewhere, session):
    """While one process works for a visitor, another refuses a second job and then takes it."""
    elsewhere(1.5, session)
    jobs = Jobs()

    with pytest.raises(InputError, match="work under way to end first"):
        jobs.run_job(session, wait, seconds=0)

    until(jobs, session, "done")
    jobs.run_job(session, wait, seconds=0)  # at once, though the other process just told its end
    assert until(jobs, session, "done")["share"] == 1.0


def test_other_process_ends_a_job(elsewhere, session):
    """Whichever process is asked to cancel, the job ends and leaves nothing half-written."""
    elsewhere(60, session)
    jobs = Jobs()
    until(jobs, session, "running")
    (session.folder / "half.part").touch()

    begin_s = time.monotonic()
    assert jobs.cancel(session)["state"] == "cancelled"

    assert time.monotonic() - begin_s < 5
    assert not list(session.folder.glob("*.part"))
    jobs.run_job(session, wait, seconds=0)  # what was left for the old job does not end a new one
    assert until(jobs, session, "done", "cancelled")["state"] == "done"


def test_job_of_a_killed_process_is_told_as_interrupted(elsewhere, session):
    """When a process is killed its jobs end with it, their visitors hear it and may start anew."""
    process, _ = elsewhere(60, session)
    jobs = Jobs()
    assert jobs.state(session)["state"] == "running"

    process.kill()
    process.wait()

    failed = until(jobs, session, "failed")
    assert "interrupted" in failed["failure"]
    jobs.run_job(session, wait, seconds=0)
    assert until(jobs, session, "done")["state"] == "done"


def test_no_more_jobs_work_at_once_than_may(elsewhere, store):
    """With room for one job in all processes, a second one waits and can be ended meanwhile."""
    (_, one), (_, other) = store.open_session(), store.open_session()
    elsewhere(60, one, most_at_once=1)
    jobs = Jobs(most_at_once=1)
    jobs.run_job(other, wait, seconds=0)

    time.sleep(0.3)
    waiting = jobs.state(other)
    assert (waiting["state"], waiting["words"]) == ("running", "Waiting for its turn.")
    assert jobs.cancel(other)["state"] == "cancelled"

    jobs.run_job(other, wait, seconds=0)
    assert jobs.cancel(one)["state"] == "cancelled"
    assert until(jobs, other, "done")["state"] == "done"


def test_job_ends_with_the_data_of_its_visitor(elsewhere, store):
    """Data that another process removes takes the work on it along."""
    key, session = store.open_session()
    elsewhere(60, session)
    store.on_remove = Jobs().cancel

    assert store.remove(key)

    assert not session.folder.exists()
    free = store.folder / "job-room-0.lock"
    end_s = time.monotonic() + PATIENCE_S
    while is_held(free):
        assert time.monotonic() < end_s
        time.sleep(0.02)


def test_state_of_a_visitor_without_jobs_makes_nothing(session):
    """Asking for a job, or ending one, leaves no file where there was none."""
    jobs = Jobs()

    assert jobs.state(session) is None
    assert jobs.cancel(session) is None
    assert [path.name for path in session.folder.iterdir()] == ["used"]


def test_what_is_kept_of_a_job_is_plain_text(session):
    """A job's state is JSON, its lock empty: nothing of it runs when it is read."""
    jobs = Jobs()
    jobs.run_job(session, wait, seconds=0)
    until(jobs, session, "done")

    assert json.loads((session.folder / "job.json").read_text())["task"] == "wait"
    assert (session.folder / "job.lock").read_bytes() == b""


def test_lock_has_one_holder(tmp_path):
    """Of two that ask one gets a lock, and the other once it is free."""
    path = tmp_path / "lock"
    assert not is_held(path)
    held = take(path)

    assert take(path) is None
    assert is_held(path)
    held.release()
    held.release()
    assert not is_held(path)
    take(path).release()

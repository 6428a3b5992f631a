"""Do processes of their own give the same answers, and is one that dies replaced?"""

import os
import signal
import subprocess
import sys
import time

import pytest

from app.workers import Workers
from model.assess import assess
from model.hosts import ARMS
from model.scenario import default


@pytest.fixture
def workers():
    """One process beside this one."""
    made = Workers(1)
    yield made
    made.stop()


def test_work_is_done_by_another_process_and_by_none(workers):
    """A task runs elsewhere where there are processes, and here where there are none."""
    assert workers.run(os.getpid) != os.getpid()
    assert workers.run_long(os.getpid) != os.getpid()
    assert Workers(0).run(os.getpid) == os.getpid()
    assert Workers(0).run_long(os.getpid) == os.getpid()


def test_two_arms_are_worked_out_side_by_side(workers):
    """The answer does not depend on which process worked an arm out, to the last bit."""
    scenario = default().model_copy(update={"sessions": 83, "name": "never asked before"})
    host = scenario.host.model_copy(update={"cores": 29})
    scenario = scenario.model_copy(update={"host": host})
    shared = assess(scenario, workers.map)
    # Derived: the same function, called in this process.
    alone = assess(scenario.model_copy(update={"name": "the same under another name"}))
    for arm in ARMS:
        assert shared.now[arm] == alone.now[arm]
        assert (shared.curves[arm].wait_busy_pct == alone.curves[arm].wait_busy_pct).all()


def test_a_process_that_dies_is_replaced(workers):
    """After a process was killed the task is done all the same, and later ones elsewhere again."""
    first = workers.run(os.getpid)
    os.kill(first, signal.SIGKILL)
    time.sleep(0.2)
    assert workers.run(abs, -3) == 3
    assert workers.map(abs, [-1, -2]) == [1, 2]
    assert workers.run(os.getpid) not in (first, os.getpid())


def test_an_error_of_the_task_is_told_to_the_caller(workers):
    """What a task raises in its process is raised here."""
    with pytest.raises(ZeroDivisionError):
        workers.run(divmod, 1, 0)


def test_processes_end_with_the_one_that_made_them():
    """A parent that is killed leaves no process behind."""
    program = (
        "import os, sys, time\n"
        "from app.workers import Workers\n"
        "if __name__ == '__main__':\n"
        "    print(Workers(1).run(os.getpid), flush=True)\n"
        "    time.sleep(60)\n"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, text=True, stderr=subprocess.PIPE
    )
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    parent.kill()
    parent.communicate()
    for _ in range(100):
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        with open(f"/proc/{child}/stat") as stat:  # a zombie has ended too
            if stat.read().rsplit(")", 1)[1].split()[0] == "Z":
                return
        time.sleep(0.05)
    pytest.fail(f"process {child} is still there")

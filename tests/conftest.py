"""What every test shares: surroundings that do not depend on who runs it."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests import checked as record

# Chance is drawn the same way in every run, and a slow machine is no failure.
settings.register_profile("crestline", derandomize=True, deadline=None)
settings.load_profile("crestline")


@pytest.fixture(autouse=True, scope="session")
def own_surroundings() -> Iterator[None]:
    """Keep the developer's own Crestline settings and proxy out of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        for name in list(os.environ):
            if name.startswith("CRESTLINE_"):
                patch.delenv(name)
        for name in ("NO_PROXY", "no_proxy"):
            patch.setenv(name, "127.0.0.1,localhost")
        yield


RECORDED = pytest.StashKey[list[record.Row]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option that writes what was compared, for the Method page."""
    parser.addoption("--write-checked", metavar="FILE", help=record.HOW)


@pytest.fixture
def checked(request: pytest.FixtureRequest) -> Iterator[record.Recorder]:
    """Compare with a number that somebody else made, and record it; see tests/checked.py."""
    writes = request.config.getoption("--write-checked")
    name = request.node.nodeid
    recorder = record.Recorder(name, None if writes else record.stored_rows(name))
    yield recorder
    request.config.stash.setdefault(RECORDED, []).extend(recorder.rows)


@pytest.hookimpl(wrapper=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> Iterator[None]:
    """Let a test fail that no longer records what the file says of it."""
    result = yield
    recorder = pyfuncitem.funcargs.get("checked")
    if isinstance(recorder, record.Recorder):
        recorder.finish()
    return result


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Write what was compared, if that was asked for and every test passed."""
    file = session.config.getoption("--write-checked")
    if file and exitstatus == pytest.ExitCode.OK:
        record.write(Path(file), session.config.stash.get(RECORDED, []))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the tests that record; leave out those marked speed unless `-m` asks for them.

    The latter is not `-m "not speed"` in addopts, which any other `-m` would replace.
    """
    for item in items:
        if "checked" in getattr(item, "fixturenames", ()):
            item.add_marker("checked")
    if "speed" in config.option.markexpr:
        return
    speed = [item for item in items if item.get_closest_marker("speed")]
    if speed:
        config.hook.pytest_deselected(items=speed)
        items[:] = [item for item in items if not item.get_closest_marker("speed")]

"""What do tests of the app share: databases for the shelf, and what made-up logs give?

Tests of the shelf run on SQLite and on PostgreSQL, each in turn.
"""

import pytest

from app.evidence_effects import effects_of
from app.evidence_store import EvidenceStore
from app.shelf_store import open_shelf
from tests.app.shelves import Clock, run
from tests.app.trial_logs import host_log, trial
from tests.postgres import Postgres


@pytest.fixture(scope="session")
def postgres():
    """A PostgreSQL for all of these tests."""
    server = Postgres()
    yield server
    server.stop()


@pytest.fixture(params=["SQLite", "PostgreSQL"])
def url(request, tmp_path):
    """Where an empty database is, of either kind."""
    if request.param == "SQLite":
        return f"sqlite:///{tmp_path / 'kept' / 'shelf.sqlite'}"
    server = request.getfixturevalue("postgres")
    run(server.url, "DROP SCHEMA public CASCADE", "CREATE SCHEMA public")
    return server.url


@pytest.fixture
def clock():
    """The time as the shelf sees it."""
    return Clock()


@pytest.fixture
def shelf(url, clock):
    """An empty shelf."""
    opened = open_shelf(url, clock)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def logs():
    """Two desktop logs of an activity each, and a host's."""
    return [trial("a.csv", "typing and reading", 1), trial("b.csv", "full-screen video", 2)]


@pytest.fixture(scope="session")
def effects(logs):
    """Their effects."""
    readings = [log for log, _ in logs] + [host_log()]
    return effects_of(readings, [*(state for _, state in logs), None])


@pytest.fixture
def store(tmp_path):
    """The folders of all visitors, that all processes share."""
    return EvidenceStore(tmp_path / "evidence")


@pytest.fixture
def session(store):
    """One visitor's session."""
    return store.open_session()[1]

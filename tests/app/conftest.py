"""On which databases are the tests of the shelf run? On SQLite and on PostgreSQL, each in turn."""

import pytest

from app.shelf_store import open_shelf
from tests.app.shelves import Clock, run
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

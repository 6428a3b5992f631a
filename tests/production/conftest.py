"""A server of two processes with Redis and PostgreSQL, and what is behind it."""

import pytest

from tests.postgres import Postgres
from tests.production.many import ManySite
from tests.redis import Redis


@pytest.fixture(scope="session")
def redis():
    """A Redis for all of these tests."""
    server = Redis()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def postgres():
    """A PostgreSQL for all of these tests."""
    server = Postgres()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def site(redis, postgres, tmp_path_factory):
    """Two processes that answer, as README.md tells to start them; each test leaves it whole."""
    started = ManySite(
        tmp_path_factory.mktemp("many"),
        {
            "CRESTLINE_DATABASE_URL": postgres.url,
            "CRESTLINE_PROCESSES": "2",
            "CRESTLINE_REDIS_URL": redis.url,
        },
    )
    yield started
    started.stop()
    print(started.printed())

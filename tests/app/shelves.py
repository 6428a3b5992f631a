"""What do the tests of the shelf share: a clock, an example, and a look into the database?"""

import sqlalchemy as sa

from app.shelf_schema import checked_url
from model.scenario import default

NOON_MS = 1_795_608_000_000  # 2026-11-25 12:00 UTC


class Clock:
    """A clock that a test sets; it moves on by a second each time it is read."""

    def __init__(self):
        """Begin at noon."""
        self.now_ms = NOON_MS

    def __call__(self):
        """Return the time."""
        self.now_ms += 1000
        return self.now_ms


def run(url, *statements):
    """Run statements in a database; return the rows of the last one that gives any."""
    engine = sa.create_engine(checked_url(url))
    rows = []
    with engine.begin() as database:
        for statement in statements:
            done = database.execute(sa.text(statement))
            rows = done.all() if done.returns_rows else rows
    engine.dispose()
    return rows


def example(sessions=120, **more):
    """The example with another number of sessions."""
    return default().model_copy(update={"sessions": sessions, **more})

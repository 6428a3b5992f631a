"""Is the shelf's database found, made and brought up to date, and told where it cannot be used?"""

import stat
import threading
from pathlib import Path

import pytest
import sqlalchemy as sa

from app.settings import Settings, from_environment
from app.shelf_schema import MIGRATIONS, ShelfError, checked_url, migrate
from app.shelf_store import open_shelf
from model.errors import InputError
from tests.app.shelves import example, run
from tests.browser.chromium import Machine
from tests.postgres import NoPostgresError, Postgres, find_programs, install_programs


def test_many_who_open_a_new_database_at_once_make_its_tables_once(url):
    """Several servers that start on an empty database all find it in order."""
    gate = threading.Barrier(6)
    failures = []

    def start():
        mine = open_shelf(url)
        gate.wait(20)
        try:
            mine.save_new(example(), "Berth")
        except Exception as error:
            failures.append(error)
        mine.close()

    threads = [threading.Thread(target=start) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert failures == []
    assert run(url, "SELECT count(*) FROM items")[0][0] == 6
    assert run(url, "SELECT version FROM crestline_tables") == [(1,)]


def test_tables_of_an_older_release_are_brought_up_to_date(shelf, url):
    """A further step is applied once to tables that hold items, which stay."""
    shelf.save_new(example(), "from before")
    more = (*MIGRATIONS, ("ALTER TABLE items ADD COLUMN colour TEXT",))
    engine = sa.create_engine(checked_url(url))
    for _ in range(2):
        with engine.begin() as database:
            migrate(database, more)
    with engine.begin() as database:
        row = database.execute(sa.text("SELECT name, colour FROM items")).one()
    engine.dispose()
    assert tuple(row) == ("from before", None)
    assert run(url, "SELECT version FROM crestline_tables ORDER BY version") == [(1,), (2,)]


def test_tables_of_a_newer_release_are_left_alone(url):
    """Tables that a newer release made are not touched, and the error says so."""
    run(url, "SELECT 1") if url.startswith("postgresql") else open_shelf(url).items()
    run(url, "CREATE TABLE IF NOT EXISTS crestline_tables (version INTEGER NOT NULL)",
        "INSERT INTO crestline_tables (version) VALUES (99)")  # fmt: skip
    with pytest.raises(ShelfError, match="newer release"):
        open_shelf(url).items()


def test_failing_step_leaves_the_tables_as_they_were(shelf, url):
    """A step that fails in its second statement undoes its first."""
    shelf.items()
    engine = sa.create_engine(checked_url(url))
    sa.event.listen(engine, "begin", lambda database: _begin(database))
    wrong = (*MIGRATIONS, ("CREATE TABLE extra (x INTEGER)", "NO STATEMENT"))
    with pytest.raises(sa.exc.SQLAlchemyError), engine.begin() as database:
        migrate(database, wrong)
    engine.dispose()
    run(url, "CREATE TABLE extra (x INTEGER)")  # would fail if it were there
    assert run(url, "SELECT max(version) FROM crestline_tables") == [(1,)]
    assert shelf.items().total == 0


def _begin(database):
    if database.dialect.name == "sqlite":
        database.connection.dbapi_connection.isolation_level = None
        database.exec_driver_sql("BEGIN IMMEDIATE")


def test_postgres_that_comes_back_is_used_again(clock):
    """A database that is gone is told as such; once it is there again, so is the shelf."""
    server = Postgres()
    shelf = open_shelf(server.url, clock)
    shelf.save_new(example(), "before")
    server.pause()
    with pytest.raises(ShelfError) as told:
        shelf.items()
    assert "crestline:" not in str(told.value)  # neither user nor password
    server.resume()
    assert [each.name for each in shelf.items().items] == ["before"]
    shelf.close()
    server.stop()


class TestFile:
    """The shelf in a file."""

    def test_file_is_for_its_owner_only(self, tmp_path):
        """Folder, file and journal are made for the owner's eyes only."""
        path = tmp_path / "data" / "shelf.sqlite"
        shelf = open_shelf(f"sqlite:///{path}")
        shelf.save_new(example(), "x")
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
        kept = sorted(each.name for each in path.parent.iterdir())
        assert kept == ["shelf.sqlite", "shelf.sqlite-shm", "shelf.sqlite-wal"]
        for each in path.parent.iterdir():
            assert stat.S_IMODE(each.stat().st_mode) == 0o600
        assert run(f"sqlite:///{path}", "PRAGMA journal_mode") == [("wal",)]
        shelf.close()

    def test_folder_that_cannot_be_made_is_told(self, tmp_path):
        """Where the folder's place is taken by a file, the shelf says that it cannot be used."""
        (tmp_path / "data").touch()
        with pytest.raises(ShelfError, match="cannot be used"):
            open_shelf(f"sqlite:///{tmp_path / 'data' / 'shelf.sqlite'}").items()

    def test_file_that_is_no_database_is_told_and_kept(self, tmp_path):
        """A file of something else is not overwritten."""
        path = tmp_path / "shelf.sqlite"
        path.write_text("a letter, and not a short one " * 50, encoding="ascii")
        with pytest.raises(ShelfError):
            open_shelf(f"sqlite:///{path}").items()
        assert path.read_text(encoding="ascii").startswith("a letter")

    def test_nothing_is_made_before_the_first_use(self, tmp_path):
        """Opening a shelf leaves no file behind."""
        open_shelf(f"sqlite:///{tmp_path / 'data' / 'shelf.sqlite'}").close()
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("given", ["mysql://u:secret@h/x", "nonsense", "secret", "sqlite://"])
def test_address_that_will_not_do_is_refused_without_showing_it(given):
    """A wrong address is refused by its variable's name, and its password is not repeated."""
    with pytest.raises(InputError, match="CRESTLINE_DATABASE_URL") as told:
        from_environment({"CRESTLINE_DATABASE_URL": given})
    assert "u:secret" not in str(told.value)
    with pytest.raises(InputError):
        checked_url(given)


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"CRESTLINE_DATA_DIR": "/srv/kept"}, "sqlite:////srv/kept/shelf.sqlite"),
        ({"XDG_DATA_HOME": "/x", "CRESTLINE_DATA_DIR": ""}, "sqlite:////x/crestline/shelf.sqlite"),
        ({"CRESTLINE_DATABASE_URL": "postgresql://u:p@h/n"}, "postgresql://u:p@h/n"),
    ],
)
def test_place_of_the_shelf_follows_the_environment(environment, expected, monkeypatch):
    """The database that is named comes first, then the folder, then the system's own place."""
    monkeypatch.setattr("sys.platform", "linux")
    assert from_environment(environment).shelf_url == expected


@pytest.mark.parametrize(
    ("platform", "ending"),
    [
        ("linux", (".local", "share", "crestline")),
        ("darwin", ("Library", "Application Support", "crestline")),
        ("win32", ("AppData", "Local", "crestline")),
    ],
)
def test_each_system_has_its_place(platform, ending, monkeypatch):
    """Without settings the file lies where the system keeps a program's data."""
    monkeypatch.setattr("sys.platform", platform)
    found = from_environment({"XDG_DATA_HOME": "relative/paths/do/not/count"}).data_folder
    assert found.parts[-len(ending) :] == ending
    assert found == Settings().data_folder
    assert found.is_relative_to(Path.home())


class NothingThere(Machine):
    """A computer without PostgreSQL on which nothing can be installed."""

    def which(self, name):
        """Find no program."""
        return None

    def is_root(self):
        """Allow no packages."""
        return False

    def run(self, command, limit_s):
        """Run nothing."""
        raise AssertionError(command)


def test_missing_postgres_is_told_with_the_way_to_get_it(tmp_path):
    """Without PostgreSQL the tests fail and say how to install it; they do not skip."""
    assert find_programs(NothingThere(), str(tmp_path)) is None
    with pytest.raises(NoPostgresError, match="apt-get install postgresql"):
        install_programs(NothingThere(), str(tmp_path))

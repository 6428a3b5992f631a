"""Is what was saved on the shelf kept, found, and never lost to somebody faster?

Every test of the store runs on SQLite and on PostgreSQL.
"""

import json
import stat
import threading
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from app import shelf_store
from app.settings import Settings, from_environment
from app.shelf_store import ChangedError, NotOnShelfError, ShelfError, open_shelf
from model.errors import InputError
from model.scenario import canonical, default, to_data
from tests.browser.chromium import Machine
from tests.postgres import NoPostgresError, Postgres, find_programs, install_programs

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


@pytest.fixture(scope="module")
def postgres():
    """A PostgreSQL for the tests of this file."""
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


def run(url, *statements):
    """Run statements in a database; return the rows of the last one that gives any."""
    engine = sa.create_engine(shelf_store.checked_url(url))
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


def test_saved_scenario_comes_back_to_the_last_digit(shelf):
    """What is saved is read back as it was, with name, note and tags."""
    item = shelf.save_new(example(90), "Harbour, berth 4", "Ask again in May.", ["berth", "pilot"])
    assert shelf.revision(item.id).scenario == canonical(example(90))
    assert (item.name, item.note, item.tags) == (
        "Harbour, berth 4", "Ask again in May.", ("berth", "pilot"),
    )  # fmt: skip
    assert (item.version, item.revisions) == (1, 1)
    assert shelf.item(item.id) == item
    assert shelf.items().items == (item,)


def test_every_save_is_a_revision_that_stays(shelf):
    """Saving again adds a revision; the one before can still be read, and both say what changed."""
    item = shelf.save_new(example(90), "Berth 4", words="First talk.")
    item = shelf.save_revision(item.id, item.version, example(100))
    item = shelf.save_revision(item.id, item.version, example(100), words="Agreed.")
    newest, middle, first = shelf.revisions(item.id)
    assert [newest.number, middle.number, first.number] == [3, 2, 1]
    assert first.scenario == canonical(example(90))
    assert middle.scenario == newest.scenario == canonical(example(100))
    assert first.words == "First talk."
    assert "90" in middle.words
    assert "100" in middle.words
    assert newest.words == "Agreed."
    assert shelf.revision(item.id, 1) == first
    assert first.saved_ms < middle.saved_ms < newest.saved_ms
    for number in (0, 4, -1, 10**12):
        with pytest.raises(NotOnShelfError, match="no revision"):
            shelf.revision(item.id, number)


def test_second_of_two_who_save_is_told_and_loses_nothing(url, clock, shelf):
    """Who saves on top of a version that is gone is told since when; nothing is written."""
    other = open_shelf(url, clock)
    item = shelf.save_new(example(90), "Berth 4")
    seen = other.item(item.id)
    changed = shelf.save_revision(item.id, item.version, example(100))
    with pytest.raises(ChangedError) as told:
        other.save_revision(seen.id, seen.version, example(110))
    assert told.value.at_ms == changed.changed_ms
    assert told.value.version == changed.version
    assert not told.value.deleted
    assert "12:00 UTC" in str(told.value)
    assert shelf.item(item.id) == changed
    assert [each.number for each in shelf.revisions(item.id)] == [2, 1]

    # Both are kept: as a copy, and on top of the newer one.
    copy = other.save_new(example(110), shelf_store.copy_name(seen.name))
    other.save_revision(seen.id, told.value.version, example(110))
    assert other.revision(copy.id).scenario == other.revision(seen.id, 3).scenario
    other.close()


def test_other_changes_are_checked_too(shelf):
    """A name is not changed, and nothing is deleted, on top of what was not seen."""
    item = shelf.save_new(example(), "Berth 4")
    shelf.relabel(item.id, item.version, "Berth 5", "", [])
    with pytest.raises(ChangedError):
        shelf.relabel(item.id, item.version, "Berth 6", "", [])
    with pytest.raises(ChangedError):
        shelf.delete(item.id, item.version)
    assert [each.name for each in shelf.items().items] == ["Berth 5"]


def test_many_who_save_at_once_get_a_revision_each_or_are_told(url, shelf):
    """Of eight who save at once on the same version one is taken and seven are told."""
    item = shelf.save_new(example(1), "Berth 4")
    gate = threading.Barrier(8)
    outcomes = []

    def save(sessions):
        mine = open_shelf(url)
        mine.item(item.id)
        gate.wait(20)
        try:
            mine.save_revision(item.id, item.version, example(sessions))
            outcomes.append(sessions)
        except ChangedError:
            outcomes.append(None)
        mine.close()

    threads = [threading.Thread(target=save, args=(n,)) for n in range(2, 10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    (taken,) = [each for each in outcomes if each is not None]
    assert len(outcomes) == 8
    assert shelf.revision(item.id).scenario == canonical(example(taken))
    assert shelf.item(item.id).revisions == 2


def test_many_who_copy_at_once_all_get_their_copy(url, shelf):
    """A change that reads before it writes is not refused because others write meanwhile."""
    item = shelf.save_new(example(), "Berth 4")
    gate = threading.Barrier(8)
    failures = []

    def copy():
        mine = open_shelf(url)
        mine.item(item.id)
        gate.wait(20)
        try:
            for _ in range(5):
                mine.duplicate(item.id)
        except ShelfError as error:
            failures.append(error)
        mine.close()

    threads = [threading.Thread(target=copy) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert failures == []
    assert shelf.items().total == 41


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


def test_rename_note_and_tags(shelf):
    """Name, note and tags can be changed; the revisions stay, and the item moves to the front."""
    first = shelf.save_new(example(), "First", tags=["old"])
    shelf.save_new(example(), "Second")
    changed = shelf.relabel(first.id, first.version, " Third ", "line 1\r\nline 2", ["b", "A", "B"])
    assert (changed.name, changed.note, changed.tags) == ("Third", "line 1\nline 2", ("A", "b"))
    assert [each.name for each in shelf.items().items] == ["Third", "Second"]
    assert shelf.tags() == [("A", 1), ("b", 1)]
    assert changed.revisions == 1


def test_duplicate_is_an_item_of_its_own(shelf):
    """A duplicate holds the newest scenario; changing it leaves the original alone."""
    item = shelf.save_new(example(90), "N" * 120, "Note", ["berth"])
    item = shelf.save_revision(item.id, 1, example(100))
    copy = shelf.duplicate(item.id)
    assert copy.id != item.id
    assert (copy.note, copy.tags, copy.revisions) == ("Note", ("berth",), 1)
    assert copy.name.endswith("N (copy)")
    assert len(copy.name) == 120
    assert shelf.revision(copy.id).scenario == canonical(example(100))
    shelf.save_revision(copy.id, 1, example(110))
    assert shelf.item(item.id) == item


def test_deleted_item_comes_back(shelf):
    """A deleted item is out of every list, and restoring it brings back all of it."""
    item = shelf.save_new(example(90), "Berth 4", tags=["berth"])
    shelf.delete(item.id, item.version)
    assert shelf.items().total == 0
    assert shelf.tags() == []
    assert shelf.export()["items"] == []
    for use in (shelf.item, shelf.revisions, shelf.revision, shelf.duplicate):
        with pytest.raises(NotOnShelfError):
            use(item.id)
    with pytest.raises(ChangedError) as told:
        shelf.save_revision(item.id, item.version, example(100))
    assert told.value.deleted
    back = shelf.restore(item.id)
    assert (back.name, back.tags, back.revisions) == (item.name, item.tags, 1)
    assert back.version > item.version
    assert shelf.restore(item.id) == back
    assert shelf.items().total == 1


def test_deleted_item_is_gone_after_thirty_days(url, clock, shelf):
    """What was deleted more than 30 days before a start is gone for good, with its revisions."""
    kept, gone = (shelf.save_new(example(), name, tags=["x"]) for name in ("kept", "gone"))
    shelf.delete(gone.id, 1)
    clock.now_ms += 2 * shelf_store.DAY_MS
    shelf.delete(kept.id, 1)
    clock.now_ms += 28 * shelf_store.DAY_MS + 60_000
    later = open_shelf(url, clock)
    with pytest.raises(NotOnShelfError):
        later.restore(gone.id)
    assert later.restore(kept.id).name == "kept"
    assert run(url, "SELECT count(*) FROM revisions")[0][0] == 1
    assert run(url, "SELECT count(*) FROM tags")[0][0] == 1
    later.close()


SEARCHES = [
    # words, tag, names found
    ("", "", ["C 100% x_y", "Ärger am Kai", "Berth 4"]),
    ("berth", "", ["Berth 4"]),
    ("4 BERTH", "", ["Berth 4"]),
    ("äRGER", "", ["Ärger am Kai"]),
    ("crane", "", ["Ärger am Kai"]),
    ("night", "", ["Berth 4"]),
    ("100%", "", ["C 100% x_y"]),
    ("x_y", "", ["C 100% x_y"]),
    ("x.y", "", []),
    ("%", "", ["C 100% x_y"]),
    ("'; DROP TABLE items; --", "", []),
    ("zz", "", []),
    ("", "Night", ["Berth 4"]),
    ("", "nigh", []),
    ("kai", "Night", []),
    ("\x00", "", ["C 100% x_y", "Ärger am Kai", "Berth 4"]),
]


def test_search_finds_words_in_name_note_and_tags(shelf):
    """A search takes every word literally, in any case; the newest comes first."""
    shelf.save_new(example(), "Berth 4", tags=["Night"])
    shelf.save_new(example(), "Ärger am Kai", note="The crane's shift")
    shelf.save_new(example(), "C 100% x_y")
    for search, tag, found in SEARCHES:
        assert [each.name for each in shelf.items(search, tag).items] == found, search


def test_a_thousand_items_are_listed_page_by_page_at_once(shelf):
    """A page of 50 out of 1,000 comes quickly, also of a search; none is left out."""
    scenario = to_data(example())
    items = [
        {"name": f"Item {n:04d}", "tags": [f"t{n % 7}"], "revisions": [{"scenario": scenario}] * 2}
        for n in range(1000)
    ]
    shelf.import_data({"crestline_shelf": 1, "items": items})
    start = time.perf_counter()
    first = shelf.items()
    found = shelf.items(search="item 09", tag="t3")
    took_s = time.perf_counter() - start
    assert took_s < 2.0
    assert (first.total, first.pages, len(first.items)) == (1000, 20, 50)
    # Derived: the numbers that read 09 somewhere and leave 3 when divided by 7.
    assert found.total == sum("09" in f"{n:04d}" and n % 7 == 3 for n in range(1000)) == 16
    names = [each.name for page in range(1, 21) for each in shelf.items(page=page).items]
    assert names == [f"Item {n:04d}" for n in range(1000)]
    assert shelf.items(page=99).page == 20
    assert shelf.items(page=-5).page == 1


def test_export_and_import_keep_everything(shelf, url, tmp_path):
    """What is exported and read by another shelf has the same names, notes, tags and revisions."""
    item = shelf.save_new(example(90), "Berth <4>", "a\nb", ["x", "y"])
    shelf.save_revision(item.id, 1, example(100), "second")
    shelf.save_new(example(80), "Other")
    data = json.loads(json.dumps(shelf.export()))
    assert "planning estimate" in data["caution"]
    other = open_shelf(f"sqlite:///{tmp_path / 'other.sqlite'}")
    done = other.import_data(data)
    assert done.names == ("Other", "Berth <4>")
    assert done.refused == ()

    def kept(exported):
        return [
            {name: each[name] for name in ("name", "note", "tags", "revisions")}
            for each in exported["items"]
        ]

    assert kept(other.export()) == kept(data)
    one = shelf.export([item.id])
    assert [each["name"] for each in one["items"]] == ["Berth <4>"]
    other.close()


def test_plain_scenario_is_imported_as_one_item(shelf):
    """A scenario's own file becomes an item under the scenario's name."""
    done = shelf.import_data(to_data(example(77)))
    assert done.names == (default().name,)
    (item,) = shelf.items().items
    assert shelf.revision(item.id).scenario == canonical(example(77))


def test_one_wrong_item_refuses_the_file_unless_the_rest_is_wanted(shelf):
    """Nothing is imported while an item is wrong; asked to, the shelf takes the others whole."""
    good = to_data(example())
    items = [
        {"name": "good", "revisions": [{"scenario": good}]},
        {"name": "second revision wrong", "revisions": [{"scenario": good},
                                                        {"scenario": good | {"sessions": 0}}]},
        {"name": "", "revisions": [{"scenario": good}]},
        {"name": "no revisions", "revisions": []},
        {"name": "two\x00halves", "revisions": [{"scenario": good}]},
        {"name": "\ud800", "revisions": [{"scenario": good}]},
        {"name": "when", "revisions": [{"scenario": good, "saved": "yesterday"}]},
        {"name": "tags", "tags": "night", "revisions": [{"scenario": good}]},
        "no record",
    ]  # fmt: skip
    data = {"crestline_shelf": 1, "items": items}
    refused = shelf.import_data(data)
    assert refused.names == ()
    assert len(refused.refused) == 8
    reasons = dict(refused.refused)
    assert "revisions[1].scenario.sessions is 0" in reasons["second revision wrong"]
    assert "items[2]" in reasons
    assert shelf.items().total == 0
    taken = shelf.import_data(data, partly=True)
    assert taken.names == ("good",)
    assert taken.refused == refused.refused
    assert [each.name for each in shelf.items().items] == ["good"]


def test_what_is_no_shelf_is_refused_by_name(shelf):
    """A file that is something else is refused with the field that tells."""
    wrong = [
        ([], "file"), ({"name": "x"}, "file"), ({"crestline_shelf": 2, "items": []},
        "crestline_shelf"), ({"crestline_shelf": 1}, "items"),
        ({"crestline_shelf": 1, "items": []}, "items"), ({"activities": []}, "name"),
    ]  # fmt: skip
    for data, named in wrong:
        with pytest.raises(InputError) as told:
            shelf.import_data(data)
        assert told.value.field == named


def test_failure_halfway_leaves_nothing_behind(shelf, monkeypatch):
    """An import that breaks off after some items leaves the shelf as it was."""
    shelf.save_new(example(), "before")
    calls = []
    add = shelf_store._add_revision

    def breaks_off(*given):
        calls.append(given)
        if len(calls) == 3:
            raise OSError("the disk is full")
        add(*given)

    monkeypatch.setattr(shelf_store, "_add_revision", breaks_off)
    item = {"name": "new", "revisions": [{"scenario": to_data(example())}]}
    with pytest.raises(ShelfError, match="cannot be used"):
        shelf.import_data({"crestline_shelf": 1, "items": [item] * 5})
    assert [each.name for each in shelf.items().items] == ["before"]


def test_wrong_label_is_refused_by_name(shelf):
    """A name, note or tag that will not do is named, and nothing is saved."""
    wrong = [
        ({"name": ""}, "name"), ({"name": "  "}, "name"), ({"name": "x" * 121}, "name"),
        ({"name": None}, "name"), ({"name": "a\nb"}, "name"), ({"note": "x" * 5001}, "note"),
        ({"note": "a\x07b"}, "note"), ({"tags": ["x" * 41]}, "tags[0]"), ({"tags": "x"}, "tags"),
        ({"tags": [str(n) for n in range(13)]}, "tags"), ({"words": "x" * 501}, "words"),
    ]  # fmt: skip
    for fields, named in wrong:
        with pytest.raises(InputError) as told:
            shelf.save_new(example(), **({"name": "x"} | fields))
        assert told.value.field == named
    assert shelf.items().total == 0


def test_tables_of_an_older_release_are_brought_up_to_date(shelf, url):
    """A further step is applied once to tables that hold items, which stay."""
    shelf.save_new(example(), "from before")
    more = (*shelf_store.MIGRATIONS, ("ALTER TABLE items ADD COLUMN colour TEXT",))
    engine = sa.create_engine(shelf_store.checked_url(url))
    for _ in range(2):
        with engine.begin() as database:
            shelf_store.migrate(database, more)
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
    engine = sa.create_engine(shelf_store.checked_url(url))
    sa.event.listen(engine, "begin", lambda database: _begin(database))
    wrong = (*shelf_store.MIGRATIONS, ("CREATE TABLE extra (x INTEGER)", "NO STATEMENT"))
    with pytest.raises(sa.exc.SQLAlchemyError), engine.begin() as database:
        shelf_store.migrate(database, wrong)
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
        shelf_store.checked_url(given)


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

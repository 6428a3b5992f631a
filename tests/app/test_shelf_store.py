"""Is what was saved on the shelf kept, found, and never lost to somebody faster?"""

import threading
import time

import pytest

from app.shelf_exchange import export_items, import_items
from app.shelf_records import ChangedError, NotOnShelfError, copy_name
from app.shelf_schema import DAY_MS, ShelfError
from app.shelf_store import open_shelf
from model.errors import InputError
from model.scenario import canonical, to_data
from tests.app.shelves import example, run


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
    copy = other.save_new(example(110), copy_name(seen.name))
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
    assert export_items(shelf)["items"] == []
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
    clock.now_ms += 2 * DAY_MS
    shelf.delete(kept.id, 1)
    clock.now_ms += 28 * DAY_MS + 60_000
    later = open_shelf(url, clock)
    with pytest.raises(NotOnShelfError):
        later.restore(gone.id)
    assert later.restore(kept.id).name == "kept"
    assert run(url, "SELECT count(*) FROM revisions")[0][0] == 1
    assert run(url, "SELECT count(*) FROM tags")[0][0] == 1
    later.close()


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
    import_items(shelf, {"crestline_shelf": 1, "items": items})
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

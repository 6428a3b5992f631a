"""Do items come back from a file as they left, and is a wrong file refused whole?"""

import json

import pytest

from app import shelf_exchange
from app.shelf_exchange import export_items, import_items
from app.shelf_schema import ShelfError
from app.shelf_store import open_shelf
from model.errors import InputError
from model.scenario import canonical, default, to_data
from tests.app.shelves import example


def test_export_and_import_keep_everything(shelf, url, tmp_path):
    """What is exported and read by another shelf has the same names, notes, tags and revisions."""
    item = shelf.save_new(example(90), "Berth <4>", "a\nb", ["x", "y"])
    shelf.save_revision(item.id, 1, example(100), "second")
    shelf.save_new(example(80), "Other")
    data = json.loads(json.dumps(export_items(shelf)))
    assert "planning estimate" in data["caution"]
    other = open_shelf(f"sqlite:///{tmp_path / 'other.sqlite'}")
    done = import_items(other, data)
    assert done.names == ("Other", "Berth <4>")
    assert done.refused == ()

    def kept(exported):
        return [
            {name: each[name] for name in ("name", "note", "tags", "revisions")}
            for each in exported["items"]
        ]

    assert kept(export_items(other)) == kept(data)
    one = export_items(shelf, [item.id])
    assert [each["name"] for each in one["items"]] == ["Berth <4>"]
    other.close()


def test_plain_scenario_is_imported_as_one_item(shelf):
    """A scenario's own file becomes an item under the scenario's name."""
    done = import_items(shelf, to_data(example(77)))
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
    refused = import_items(shelf, data)
    assert refused.names == ()
    assert len(refused.refused) == 8
    reasons = dict(refused.refused)
    assert "Revision 2, sessions is 0" in reasons["second revision wrong"]
    assert "Scenario 3" in reasons
    assert shelf.items().total == 0
    taken = import_items(shelf, data, partly=True)
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
            import_items(shelf, data)
        assert told.value.field == named


def test_failure_halfway_leaves_nothing_behind(shelf, monkeypatch):
    """An import that breaks off after some items leaves the shelf as it was."""
    shelf.save_new(example(), "before")
    calls = []
    add = shelf_exchange.add_revision

    def breaks_off(*given):
        calls.append(given)
        if len(calls) == 3:
            raise OSError("the disk is full")
        add(*given)

    monkeypatch.setattr(shelf_exchange, "add_revision", breaks_off)
    item = {"name": "new", "revisions": [{"scenario": to_data(example())}]}
    with pytest.raises(ShelfError, match="cannot be used"):
        import_items(shelf, {"crestline_shelf": 1, "items": [item] * 5})
    assert [each.name for each in shelf.items().items] == ["before"]

"""How do items of the shelf leave it as a file, and come back from one?

export_items(shelf)            everything, with all revisions, as plain JSON data
import_items(shelf, data)      the items of such a file, or of a scenario's, as new items
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from app.refusals import refusal
from app.shelf_records import (
    LONGEST_NAME,
    LONGEST_WORDS,
    Item,
    Label,
    Revision,
    checked_label,
    checked_text,
)
from app.shelf_rows import add_revision, insert_item, item_of, items_of, revisions_of
from app.shelf_schema import ITEMS
from app.shelf_store import Shelf
from app.words import CAUTION
from model.errors import InputError
from model.scenario import canonical, from_data

MOST_IMPORTED = 5_000  # items in one file
MOST_REVISIONS = 1_000  # of one item in a file
FILE_VERSION = 1


@dataclass(frozen=True)
class Imported:
    """What became of a file.

    Parameters
    ----------
    names : tuple of str
        Names of the items put on the shelf.
    refused : tuple of tuple
        Name (or place in the file) and reason of each item that will not do.
    able : int
        Items of the file that will do, taken or not. [items]
    """

    names: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    able: int


def export_items(shelf: Shelf, item_ids: Sequence[str] | None = None) -> dict[str, Any]:
    """Return items with all their revisions as plain JSON data.

    Parameters
    ----------
    shelf : Shelf
        The shelf.
    item_ids : sequence of str or None
        Which ones; None for all, newest first.
    """
    with shelf.database.reading() as database:
        if item_ids is None:
            chosen = items_of(database, [ITEMS.c.deleted_ms.is_(None)])
        else:
            chosen = tuple(item_of(database, item_id) for item_id in item_ids)
        return {
            "crestline_shelf": FILE_VERSION,
            "caution": CAUTION,
            "items": [_exported(item, revisions_of(database, item.id)) for item in chosen],
        }


def import_items(shelf: Shelf, data: object, partly: bool = False) -> Imported:
    """Put what a file holds on the shelf as new items.

    Parameters
    ----------
    shelf : Shelf
        The shelf.
    data : object
        What `export_items` gives, or one scenario, as `json.loads` reads them.
    partly : bool
        Whether to take the items that will do where others are refused. An item is taken
        with all its revisions or refused; without this, one refused item refuses the file.

    Raises
    ------
    InputError
        Where the data are neither a shelf nor a scenario.
    """
    good, refused = _checked(data, shelf.database.now_ms())
    if refused and not (partly and good):
        return Imported((), tuple(refused), len(good))
    with shelf.database.writing() as database:
        now = shelf.database.now_ms()
        for place, (label, revisions) in enumerate(good):
            item_id = insert_item(database, label, now - place)  # the file's order stays
            for number, each in enumerate(revisions, 1):
                add_revision(database, item_id, number, each.scenario, each.saved_ms, each.words)
    return Imported(tuple(label.name for label, _ in good), tuple(refused), len(good))


def _exported(item: Item, revisions: list[Revision]) -> dict[str, Any]:
    return {
        "name": item.name,
        "note": item.note,
        "tags": list(item.tags),
        "created": _written_time(item.created_ms),
        "changed": _written_time(item.changed_ms),
        "revisions": [
            {
                "saved": _written_time(each.saved_ms),
                "words": each.words,
                "scenario": json.loads(each.scenario),
            }
            for each in reversed(revisions)
        ],
    }


def _written_time(time_ms: int) -> str:
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds")


_Good = tuple[Label, list[Revision]]


def _checked(data: object, now_ms: int) -> tuple[list[_Good], list[tuple[str, str]]]:
    """The items of a file that will do, and name and reason of those that will not."""
    if isinstance(data, dict) and "crestline_shelf" not in data and "activities" in data:
        scenario = from_data(data)
        label = checked_label(scenario.name, "", ())
        return [(label, [Revision(1, canonical(scenario), now_ms, "From a file.")])], []
    if not isinstance(data, dict) or "crestline_shelf" not in data:
        expected = "a file that the shelf has exported, or one scenario"
        raise InputError("file", "something else", expected)
    if data["crestline_shelf"] != FILE_VERSION:
        expected = f"{FILE_VERSION}, the version of files that this release reads"
        raise InputError("crestline_shelf", data["crestline_shelf"], expected)
    items = data.get("items")
    if not isinstance(items, list) or not items or len(items) > MOST_IMPORTED:
        told = f"{len(items)} entries" if isinstance(items, list) else items
        raise InputError("items", told, f"a list of 1 to {MOST_IMPORTED} items")
    good: list[_Good] = []
    refused: list[tuple[str, str]] = []
    for index, each in enumerate(items):
        try:
            good.append(_checked_item(each, now_ms))
        except InputError as error:
            name = each.get("name") if isinstance(each, dict) else None
            shown = name[:LONGEST_NAME] if isinstance(name, str) else ""
            refused.append((shown or f"Scenario {index + 1}", refusal(error)))
    return good, refused


def _checked_item(data: object, now_ms: int) -> _Good:
    if not isinstance(data, dict):
        raise InputError("item", data, "a record with name and revisions")
    label = checked_label(data.get("name"), data.get("note", ""), data.get("tags", []))
    given = data.get("revisions")
    if not isinstance(given, list) or not 1 <= len(given) <= MOST_REVISIONS:
        told = f"{len(given)} entries" if isinstance(given, list) else given
        raise InputError("revisions", told, f"a list of 1 to {MOST_REVISIONS} revisions")
    revisions = []
    for index, each in enumerate(given):
        where = f"revisions[{index}]"
        if not isinstance(each, dict):
            raise InputError(where, each, "a record with a scenario")
        try:
            text = canonical(from_data(each.get("scenario")))
        except InputError as error:
            inner = f"{where}.scenario.{error.field}".removesuffix(".scenario")
            raise InputError(inner, error.value, error.expected) from None
        words = checked_text(f"{where}.words", each.get("words", ""), LONGEST_WORDS)
        saved_ms = min(_read_time(f"{where}.saved", each.get("saved"), now_ms), now_ms)
        revisions.append(Revision(index + 1, text, saved_ms, words))
    return label, revisions


def _read_time(field: str, value: object, now_ms: int) -> int:
    if value is None:
        return now_ms
    try:
        read = datetime.fromisoformat(str(value))
        return round(read.replace(tzinfo=read.tzinfo or UTC).timestamp() * 1000)
    except (ValueError, OverflowError):
        raise InputError(field, value, 'a time as "2026-11-25T14:32:00+00:00"') from None

"""How is one item read from the shelf's tables, and how is one written?

Each function works within a transaction that the caller has begun, see `app.shelf_schema`.
"""

import uuid
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from app.shelf_records import ChangedError, Item, Label, NotOnShelfError, Revision, plain
from app.shelf_schema import ITEMS, REVISIONS, TAGS

_COUNTED = (
    sa.select(sa.func.max(REVISIONS.c.number))
    .where(REVISIONS.c.item == ITEMS.c.id)
    .scalar_subquery()
    .label("revisions")
)
_GONE = "This scenario is not on the shelf any more."


def item_of(database: Connection, item_id: str) -> Item:
    """Return one item.

    Parameters
    ----------
    database : Connection
        In a transaction.
    item_id : str
        Its id.

    Raises
    ------
    NotOnShelfError
        Where there is none, or it was deleted.
    """
    found = items_of(database, [ITEMS.c.id == plain(item_id), ITEMS.c.deleted_ms.is_(None)])
    if not found:
        raise NotOnShelfError(_GONE)
    return found[0]


def items_of(
    database: Connection,
    wanted: Sequence[sa.ColumnElement[bool]],
    most: int | None = None,
    skipped: int = 0,
) -> tuple[Item, ...]:
    """Return items with their tags, newest first.

    Parameters
    ----------
    database : Connection
        In a transaction.
    wanted : sequence of conditions
        What holds for each of them.
    most : int or None
        How many at most; None for all. [items]
    skipped : int
        How many of the newest are left out. [items]
    """
    asked = sa.select(ITEMS, _COUNTED).where(*wanted)
    asked = asked.order_by(ITEMS.c.changed_ms.desc(), ITEMS.c.id)
    if most is not None:
        asked = asked.limit(most).offset(skipped)
    return _with_tags(database, database.execute(asked).all())


def _with_tags(database: Connection, rows: Sequence[Row[Any]]) -> tuple[Item, ...]:
    borne: dict[str, list[str]] = {row.id: [] for row in rows}
    keys = list(borne)
    for start in range(0, len(keys), 500):  # a statement holds so many values everywhere
        some = sa.select(TAGS).where(TAGS.c.item.in_(keys[start : start + 500]))
        for item_id, tag in database.execute(some):
            borne[item_id].append(tag)
    return tuple(
        Item(
            row.id, row.name, row.note,
            tuple(sorted(borne[row.id], key=lambda tag: (tag.casefold(), tag))),
            int(row.created_ms), int(row.changed_ms), int(row.version), int(row.revisions or 0),
        )
        for row in rows
    )  # fmt: skip


def revisions_of(database: Connection, item_id: str) -> list[Revision]:
    """Return all revisions of an item, newest first.

    Parameters
    ----------
    database : Connection
        In a transaction.
    item_id : str
        Its id.
    """
    asked = sa.select(REVISIONS).where(REVISIONS.c.item == item_id)
    rows = database.execute(asked.order_by(REVISIONS.c.number.desc()))
    return [Revision(row.number, row.scenario, int(row.saved_ms), row.words) for row in rows]


def revision_of(database: Connection, item: Item, number: int) -> Revision:
    """Return one revision of an item.

    Parameters
    ----------
    database : Connection
        In a transaction.
    item : Item
        The item.
    number : int
        Which one. [-]

    Raises
    ------
    NotOnShelfError
        Where it has no revision of that number.
    """
    asked = sa.select(REVISIONS).where(REVISIONS.c.item == item.id, REVISIONS.c.number == number)
    row = database.execute(asked).first() if 1 <= number <= item.revisions else None
    if row is None:
        raise NotOnShelfError(f"{item.name} has no revision {number}.")
    return Revision(row.number, row.scenario, int(row.saved_ms), row.words)


def insert_item(database: Connection, label: Label, now_ms: int) -> str:
    """Write a new item without revisions, and return its id.

    Parameters
    ----------
    database : Connection
        In a transaction that may write.
    label : Label
        Its name, note and tags.
    now_ms : int
        When it was put there. [ms since 1970]
    """
    item_id = uuid.uuid4().hex
    database.execute(
        ITEMS.insert().values(
            id=item_id, name=label.name, note=label.note, sought=label.sought,
            created_ms=now_ms, changed_ms=now_ms, deleted_ms=None, version=1,
        )
    )  # fmt: skip
    add_tags(database, item_id, label.tags)
    return item_id


def add_tags(database: Connection, item_id: str, tags: Sequence[str]) -> None:
    """Write tags of an item that bears none of them yet.

    Parameters
    ----------
    database : Connection
        In a transaction that may write.
    item_id : str
        The item's id.
    tags : sequence of str
        The tags.
    """
    if tags:
        database.execute(TAGS.insert(), [{"item": item_id, "tag": tag} for tag in tags])


def add_revision(
    database: Connection, item_id: str, number: int, scenario: str, saved_ms: int, words: str
) -> None:
    """Write a further revision of an item.

    Parameters
    ----------
    database : Connection
        In a transaction that may write.
    item_id : str
        The item's id.
    number : int
        The revision's number, one more than there are. [-]
    scenario : str
        The scenario as canonical JSON text.
    saved_ms : int
        When it was saved. [ms since 1970]
    words : str
        What was changed.
    """
    database.execute(
        REVISIONS.insert().values(
            item=item_id, number=number, scenario=scenario, saved_ms=saved_ms, words=words
        )
    )


def raise_version(database: Connection, item_id: str, version: int, now_ms: int) -> None:
    """Raise an item's version by one where it is still the one that was seen.

    Parameters
    ----------
    database : Connection
        In a transaction that may write.
    item_id : str
        The item's id.
    version : int
        The version that was seen. [-]
    now_ms : int
        The present time. [ms since 1970]

    Raises
    ------
    ChangedError
        Where the item has another version by now, or was deleted.
    NotOnShelfError
        Where there is no such item.
    """
    done = database.execute(
        ITEMS.update()
        .where(ITEMS.c.id == item_id, ITEMS.c.version == version, ITEMS.c.deleted_ms.is_(None))
        .values(version=ITEMS.c.version + 1, changed_ms=now_ms)
    )
    if done.rowcount == 1:
        return
    row = database.execute(sa.select(ITEMS).where(ITEMS.c.id == item_id)).first()
    if row is None:
        raise NotOnShelfError(_GONE)
    at = row.changed_ms if row.deleted_ms is None else row.deleted_ms
    raise ChangedError(row.name, int(at), int(row.version), row.deleted_ms is not None)

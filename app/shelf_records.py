"""What is kept on the shelf, and which names, notes and tags will do?

An item has a name, a note, tags and revisions; every save adds a revision and none is ever
changed. Times are whole milliseconds since 1970, UTC.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from model.errors import CrestlineError, InputError

LONGEST_NAME = 120
LONGEST_NOTE = 5_000
LONGEST_WORDS = 500
LONGEST_TAG = 40
MOST_TAGS = 12


@dataclass(frozen=True)
class Item:
    """One thing on the shelf, without its scenarios.

    Parameters
    ----------
    id : str
        Its name for programs; it never changes.
    name, note : str
        What people call it, and what they wrote down about it.
    tags : tuple of str
        In the order of the alphabet.
    created_ms, changed_ms : int
        When it was put there and last changed. [ms since 1970]
    version : int
        Rises by one with every change of any kind. [-]
    revisions : int
        How many there are; the newest has this number. [revisions]
    """

    id: str
    name: str
    note: str
    tags: tuple[str, ...]
    created_ms: int
    changed_ms: int
    version: int
    revisions: int


@dataclass(frozen=True)
class Revision:
    """One save of an item.

    Parameters
    ----------
    number : int
        1 for the first. [-]
    scenario : str
        The scenario as canonical JSON text.
    saved_ms : int
        When. [ms since 1970]
    words : str
        What was changed, as whoever saved it put it; else what differs from the one before.
    """

    number: int
    scenario: str
    saved_ms: int
    words: str


@dataclass(frozen=True)
class Page:
    """Some of the items that were asked for, newest first.

    Parameters
    ----------
    items : tuple of Item
        At most `PAGE_ITEMS`.
    total : int
        Items on all pages. [items]
    page, pages : int
        This page, counted from 1, and how many there are. [pages]
    """

    items: tuple[Item, ...]
    total: int
    page: int
    pages: int


class NotOnShelfError(CrestlineError):
    """An item or a revision that is not on the shelf, or not any more."""


class ChangedError(CrestlineError):
    """Somebody changed an item since the caller saw it; nothing was written.

    Parameters
    ----------
    name : str
        The item's present name.
    at_ms : int
        When it was changed. [ms since 1970]
    version : int
        Its present version. [-]
    deleted : bool
        Whether it was deleted.
    """

    def __init__(self, name: str, at_ms: int, version: int, deleted: bool) -> None:
        super().__init__(name, at_ms, version, deleted)
        self.name = name
        self.at_ms = at_ms
        self.version = version
        self.deleted = deleted

    def __str__(self) -> str:
        """Return the message, the time in UTC."""
        clock = datetime.fromtimestamp(self.at_ms / 1000, UTC).strftime("%H:%M UTC")
        return f"{self.name} was {'deleted' if self.deleted else 'changed'} at {clock}."


@dataclass(frozen=True)
class Label:
    """How an item is called and found.

    Parameters
    ----------
    name, note : str
        Name and note as they are kept.
    tags : tuple of str
        Each once, whatever its case.
    sought : str
        Name, note and tags without case: what a search looks in.
    """

    name: str
    note: str
    tags: tuple[str, ...]
    sought: str


def checked_label(name: object, note: object, tags: object) -> Label:
    """Return name, note and tags as the shelf keeps them.

    Parameters
    ----------
    name, note, tags : object
        What somebody gave.

    Raises
    ------
    InputError
        For the first that will not do.
    """
    named = checked_text("name", name, LONGEST_NAME)
    if not named:
        raise InputError("name", named, f"1 to {LONGEST_NAME} characters")
    noted = checked_text("note", note, LONGEST_NOTE, lines=True)
    if not isinstance(tags, Sequence) or isinstance(tags, str):
        raise InputError("tags", tags, "a list of tags")
    kept: dict[str, str] = {}
    for index, tag in enumerate(tags):
        text = checked_text(f"tags[{index}]", tag, LONGEST_TAG)
        if text:
            kept.setdefault(text.casefold(), text)
    if len(kept) > MOST_TAGS:
        raise InputError("tags", f"{len(kept)} tags", f"at most {MOST_TAGS}")
    chosen = tuple(kept.values())
    return Label(named, noted, chosen, "\n".join([named, noted, *chosen]).casefold())


def checked_text(field: str, value: object, longest: int, lines: bool = False) -> str:
    """Return a text that every database keeps as it is: no control characters, no half pairs.

    Parameters
    ----------
    field : str
        What to call it where it will not do.
    value : object
        What somebody gave.
    longest : int
        How long it may be. [characters]
    lines : bool
        Whether it may have several lines.

    Raises
    ------
    InputError
        Where it will not do.
    """
    if not isinstance(value, str):
        raise InputError(field, value, "text")
    text = value.strip()
    allowed = "\n\t" if lines else ""
    text = text.replace("\r\n", "\n") if lines else text
    if any(unicodedata.category(c) in ("Cc", "Cs") and c not in allowed for c in text):
        raise InputError(field, value, "text without control characters")
    if len(text) > longest:
        raise InputError(field, f"{len(text)} characters", f"at most {longest}")
    return text


def plain(text: str) -> str:
    """Return what is looked for, less what no text on the shelf can hold.

    Parameters
    ----------
    text : str
        Words, or an id.
    """
    return "".join(c for c in text if unicodedata.category(c) not in ("Cc", "Cs") or c.isspace())


def copy_name(name: str) -> str:
    """Return what a copy is called, within the longest name.

    Parameters
    ----------
    name : str
        What is copied.
    """
    return f"{name[: LONGEST_NAME - len(' (copy)')]} (copy)"

"""How is markup put together so that text can never become a tag?

`tag("p", "a < b", cls="note")` escapes what is text and keeps what is `Markup` already. Used where
a part of a page is sent as HTML; what people wrote does not go in.
"""

import re
from collections.abc import Sequence
from html import escape
from typing import TypeAlias

_DOI = re.compile(r"doi:(10\.\d+/[^\s,;]*[^\s,;:.)])")


class Markup(str):
    """Text that is markup and is put in as it stands."""

    __slots__ = ()


Part: TypeAlias = "str | Sequence[Part]"


def tag(name: str, *children: Part, **attributes: str | bool) -> Markup:
    """Return an element.

    Parameters
    ----------
    name : str
        Its name.
    *children : str, Markup, or lists of them
        What is in it; plain text is escaped.
    **attributes : str or bool
        `cls` is its class, an underscore stands for a hyphen, True is a bare attribute.
    """
    written = ""
    for key, value in attributes.items():
        plain = "class" if key == "cls" else key.rstrip("_").replace("_", "-")
        if value is True:
            written += f" {plain}"
        elif value is not False:
            written += f' {plain}="{escape(value)}"'
    return Markup(f"<{name}{written}>{join(*children)}</{name}>")


def join(*parts: Part) -> Markup:
    """Return parts one after the other.

    Parameters
    ----------
    *parts : str, Markup, or lists of them
        The parts; plain text is escaped.
    """
    found = []
    for part in parts:
        if not isinstance(part, str):
            found.append(join(*part))
        else:
            found.append(part if isinstance(part, Markup) else Markup(escape(part)))
    return Markup("".join(found))


def cited(source: str) -> Markup:
    """Return a source with its DOIs as links, for whoever wants to read it there.

    Parameters
    ----------
    source : str
        The citation, each DOI written as "doi:10.1145/321879.321887".
    """
    pieces: list[Part] = []
    at = 0
    for found in _DOI.finditer(source):
        link = tag("a", found[0], href=f"https://doi.org/{found[1]}", rel="noreferrer")
        pieces += [source[at : found.start()], link]
        at = found.end()
    return join(*pieces, source[at:])

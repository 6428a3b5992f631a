"""Of what is a part of the proposal made? Sentences, charts, tables and lists, as plain data.

A section is what assets/proposal.js sets on the sheet:

    key, title      which part, and its heading
    lead            the sentence that stands for it at the head of the sheet; "" for none
    sentences       the answer in words, the most important first
    figures         charts, each with title, takeaway, key, its own link and all that a picture
                    of it holds besides (`sheet`, see `app.pictures`)
    tables          title, groups (headings over several columns), head, rows, worded (columns
                    of words); a row of one cell is a heading between rows, a list has lines
    groups, lists   headed lists of label and value, or of sentences
    link            what opens the part's scenario; None where it is too long for a link
    caution         the caution in short
"""

from collections.abc import Sequence
from typing import Any

from app import words
from app import words_proposal as told
from app.pictures import EXAMPLE

Told = dict[str, Any]
HALF_PX = [770, 460]  # of a chart that takes half the width of the paper
WHOLE_PX = [1400, 620]  # of one that takes all of it


def section(
    key: str,
    *,
    lead: str = "",
    sentences: Sequence[str] = (),
    figures: Sequence[Told] = (),
    tables: Sequence[Told] = (),
    groups: Sequence[Told] = (),
    lists: Sequence[Told] = (),
    link: str | None,
) -> Told:
    """Return a section as plain data; what is empty is left out of it.

    Parameters
    ----------
    key : str
        Key of `app.words_proposal.PARTS`.
    lead : str
        What stands for it at the head of the sheet; "" for the first sentence.
    sentences : sequence of str
        The answer in words, the most important first.
    figures, tables, groups, lists : sequence of dict
        As told above.
    link : str or None
        The address, without the server's name, that opens the scenario.
    """
    said = [sentence for sentence in sentences if sentence]
    return {
        "key": key, "title": told.PARTS[key][0],
        "lead": lead or (said[0] if said else ""), "sentences": said, "figures": list(figures),
        "tables": [each for each in tables if each["rows"]], "groups": list(groups),
        "lists": [each for each in lists if each["items"]], "link": link,
        "caution": words.CAUTION_IN_SHORT,
    }  # fmt: skip


def table(
    title: str,
    head: Sequence[str | list[str]],
    rows: Sequence[Sequence[Any]],
    groups: Sequence[list[Any]] = (),
    worded: Sequence[int] = (),
) -> Told:
    """Return a table as plain data.

    Parameters
    ----------
    title : str
        Its heading; "" for none.
    head : sequence of str or list
        What is above each column.
    rows : sequence
        Cells of text, or lists of lines; a row of one cell is a heading between rows.
    groups : sequence of [str, int]
        Headings above those of the columns, each with the number of columns it is over.
    worded : sequence of int
        Which columns hold words instead of numbers, 0 for the first. [-]
    """
    return {
        "title": title, "groups": list(groups), "head": list(head), "rows": list(rows),
        "worded": list(worded),
    }  # fmt: skip


def figure_on(sheet: Told, chart: Told, size_px: list[int] | None = None) -> Told:
    """Return a chart with its own link and all that a picture of it holds.

    Parameters
    ----------
    sheet : dict
        What stands on the picture besides the chart, as `app.pictures.sheets` writes it.
    chart : dict
        name, title, takeaway, key and figure.
    size_px : list of int or None
        Width and height at which it is drawn before it is scaled to the paper; None for a chart of
        half the paper's width. [px]
    """
    about = {name: value for name, value in sheet.items() if name != "charts"}
    query, path = sheet["query"], sheet.get("path", "/")
    return chart | {
        "sheet": about, "link": None if query is None else f"{path}?{query}",
        "size_px": size_px or HALF_PX, "whole": size_px is not None,
        "opens": told.TEXTS["link"],
    }  # fmt: skip


def address(query: str | None) -> str | None:
    """Return the address that opens a scenario; None where it is too long for a link.

    Parameters
    ----------
    query : str or None
        The query of the link, as `app.url_state` writes it.
    """
    return None if query is None else f"/?{query or EXAMPLE}"


def opened_by(query: str | None, reopen: str) -> Told:
    """Return the link of a picture that is set like a measured one, and what stands above it.

    Parameters
    ----------
    query : str or None
        The query of the link; None where it is too long for one.
    reopen : str
        What stands above the link.
    """
    if query is None:
        return {"query": None, "reopen": {"none": words.NO_LINK_IN_PICTURE}}
    return {"query": query or EXAMPLE, "reopen": dict.fromkeys(words.REOPEN, reopen)}

"""Where do the numbers come from, how far do they hold, and how are they validated?

The page is one long text. It is put together here from records (equations, defaults, limits,
checks, glossary), sent as HTML at an address of its own, and put on the page by
assets/method.js when it is first opened, so that the Host page is none the heavier for it.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from dash import html
from flask import Flask, Response, request

from app.markup import Markup, Part, cited, join, tag
from app.mathml import mathml, mathml_inline
from app.method_checked import Check, checks, shown
from app.method_defaults import Listing, default_rows, example_listings
from app.words import CAUTION, METHOD
from app.words_glossary import GLOSSARY
from app.words_limits import KNOWN_LIMITS, LIMITS_OF_VALIDITY, PAGES_TOLD, VALIDATION
from app.words_method import CHAPTERS, Equation

ADDRESS = "/method-text"
_KINDS = (
    "Published: printed in a book or paper. Second-hand: read in a quotation of it; from memory: "
    "known to be printed there, and worked out anew by another road. Independent: another program "
    "or method. Derived: by hand, or from an identity that is not the code's own formula."
)


def page_layout() -> list[Any]:
    """Return the empty page; assets/method.js fills it."""
    return [html.Div(html.P("The page is being fetched ...", role="status"), id="method-text")]


def register(server: Flask, report_failure: Callable[[Exception], str]) -> None:
    """Bind the address at which the text stands.

    Parameters
    ----------
    server : Flask
        The server.
    report_failure : callable
        Logs an unforeseen failure and returns what to tell the visitor.
    """

    def reply() -> Response:
        try:
            answer = Response(method_text(), mimetype="text/html")
        except Exception as error:
            return Response(tag("p", report_failure(error), role="alert"), 500)
        answer.cache_control.no_cache = True
        answer.add_etag()
        answer.make_conditional(request)
        return answer

    server.add_url_rule(ADDRESS, "method-text", reply, methods=["GET"])


@lru_cache(maxsize=1)
def method_text() -> Markup:
    """Return the whole text of the page as HTML."""
    sections: dict[str, tuple[str, Part]] = {
        "in-short": ("In short", _in_short()),
        "pages": ("What each page is for", _definitions(list(PAGES_TOLD.values()))),
        "equations": ("The equations", _equations()),
        "limits": ("Limits of validity", _limits()),
        "validate": ("How to validate on your own hosts", _validation()),
        "defaults": ("Every default, and where it comes from", _defaults()),
        "checked": ("Checked against", _checked()),
        "glossary": ("Glossary", _definitions(list(GLOSSARY.items()))),
    }
    body = [
        tag("section", tag("h2", title, id=key, tabindex="-1"), inside, aria_labelledby=key)
        for key, (title, inside) in sections.items()
    ]
    return join(_contents(sections), tag("article", body))


def _contents(sections: dict[str, tuple[str, Part]]) -> Markup:
    entries: list[Part] = []
    for key, (title, _) in sections.items():
        inner: Part = ""
        if key == "equations":
            inner = tag("ol", [tag("li", _link(each.key, each.title)) for each in CHAPTERS])
        entries.append(tag("li", _link(key, title), inner))
    return tag("nav", tag("h2", "Contents"), tag("ol", entries), aria_label="Contents")


def _link(key: str, title: str) -> Markup:
    return tag("a", title, href=f"#{key}")


def _in_short() -> Markup:
    return join(
        tag("p", METHOD),
        tag("p", tag("strong", "Caution. "), CAUTION, cls="caution"),
    )


def _definitions(pairs: list[tuple[str, str]]) -> Markup:
    return tag("dl", [tag("div", tag("dt", word), tag("dd", told)) for word, told in pairs])


def _equations() -> Markup:
    return join(
        [
            tag(
                "section",
                tag("h3", chapter.title, id=chapter.key, tabindex="-1"),
                tag("p", chapter.opening),
                [_equation(each) for each in chapter.equations],
                aria_labelledby=chapter.key,
            )
            for chapter in CHAPTERS
        ]
    )


def _equation(each: Equation) -> Markup:
    lines = [tag("div", Markup(mathml(formula)), cls="formula") for formula in each.formulas]
    symbols: Part = ""
    if each.symbols:
        symbols = tag("ul", [_symbol(letter, told) for letter, told in each.symbols], cls="symbols")
    source = tag("p", tag("span", "Source: ", cls="lead"), cited(each.source), cls="source")
    return tag("div", tag("h4", each.title), lines, tag("p", each.words), symbols, source,
               cls="equation")  # fmt: skip


def _symbol(letter: str, told: str) -> Markup:
    return tag("li", Markup(mathml_inline(letter)), f": {told}")


def _limits() -> Markup:
    rows: list[list[Part]] = [
        [tag("strong", each.what), each.why, tag("span", each.errs, cls="errs"), each.tells]
        for each in LIMITS_OF_VALIDITY
    ]
    head = ("Left out", "What a real host does", "The answer carries", "Who can tell")
    return join(
        tag("p", "What the model leaves out, and which way the answer errs for it: 'too many' "
            "means that a real host carries fewer sessions than shown, 'too few' that it carries "
            "more."),
        _table("What the model leaves out", head, [("", rows)]),
        tag("h3", "Known limits of the arithmetic"),
        tag("ul", [tag("li", each) for each in KNOWN_LIMITS]),
    )  # fmt: skip


def _validation() -> Markup:
    steps = [tag("li", tag("strong", f"{title}. "), told) for title, told in VALIDATION]
    return join(tag("ol", steps, cls="steps"), tag("p", CAUTION, cls="caution"))


def _defaults() -> Markup:
    groups: dict[str, list[list[Part]]] = {}
    for row in default_rows():
        what = tag("strong", row.label) if row.label else ""
        told = tag("span", row.meaning, cls="meaning" if row.label else "")
        groups.setdefault(row.group, []).append(
            [join(what, told), row.value, row.reach, row.provenance]
        )
    head = ("What", "Default", "Range", "Where from")
    return join(
        tag("p", "All costs of work are core-milliseconds of the reference core. Replace what is "
            "invented by your own numbers first, and costs by measured ones."),
        _filter("defaults-tables", "Find a default"),
        tag("div", _table("Defaults", head, list(groups.items())), id="defaults-tables"),
        [_listing(each) for each in example_listings()],
    )  # fmt: skip


def _listing(listing: Listing) -> Markup:
    rows: list[list[Part]] = [[tag("strong", row[0]), *row[1:]] for row in listing.rows]
    return join(
        tag("h3", listing.title),
        _table(listing.title, listing.head, [("", rows)], cls="figures"),
    )


def _checked() -> Markup:
    found = checks()
    packages = ", ".join(f"{name} {release}" for name, release in found.packages.items())
    numbers = sum(row.numbers for row in found.rows)
    head = ("What", "Source", "Expected", "Ours", "Difference", "Allowed")
    parts = [
        tag(
            "details",
            tag("summary", f"{part}: {len(rows)} comparisons"),
            _table(f"{part}, checked against", head, [("", [_check(row) for row in rows])]),
        )
        for part, rows in found.by_part.items()
    ]
    return join(
        tag("p", f"{len(found.rows)} comparisons of {numbers:,} numbers, written by the tests "
            f"themselves on {found.made}, with Python {found.python}, {packages}. Where several "
            "numbers were compared, the pair that differs most is shown. Every other run of the "
            "tests fails where they no longer find these numbers."),
        tag("p", _KINDS),
        tag("p", "Besides, every result is held against laws that a right one obeys: flows "
            "balance, work done is work asked for, curves keep their order. What breaks one is "
            "told as a failure and never shown. Some seconds after a slider rests, the Host page "
            "also takes the scenario on screen through the exact station, class by class, and "
            "warns where the fast answer lies apart."),
        _filter("checked-tables", "Find a check"),
        tag("div", parts, id="checked-tables"),
    )  # fmt: skip


def _check(row: Check) -> list[Part]:
    several = f" ({row.numbers} numbers)" if row.numbers > 1 else ""
    source = join(tag("em", f"{row.kind}: "), cited(row.source))
    return [
        row.what + several, source, shown(row.expected), shown(row.ours), row.difference,
        row.allowed,
    ]  # fmt: skip


def _filter(tables: str, label: str) -> Markup:
    box = f"{tables}-box"
    return tag(
        "div",
        tag("label", label, for_=box),
        Markup(f'<input type="search" id="{box}" data-filter="{tables}" autocomplete="off"/>'),
        tag("span", "", id=f"{tables}-found", role="status"),
        cls="filter",
    )


def _table(
    caption: str,
    head: tuple[str, ...],
    groups: list[tuple[str, list[list[Part]]]],
    cls: str = "",
) -> Markup:
    bodies = []
    for title, rows in groups:
        above: Part = ""
        if title:
            cell = tag("th", title, colspan=str(len(head)), scope="rowgroup")
            above = tag("tr", cell, cls="group-head")
        lines = [
            tag("tr", tag("th", row[0], scope="row"), [tag("td", cell) for cell in row[1:]])
            for row in rows
        ]
        bodies.append(tag("tbody", above, lines))
    table = tag(
        "table",
        tag("caption", caption, cls="hidden-label"),
        tag("thead", tag("tr", [tag("th", each, scope="col") for each in head])),
        bodies,
        cls=cls,
    )
    return tag("div", table, cls="scroll", role="region", tabindex="0", aria_label=caption)

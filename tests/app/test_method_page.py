"""Does the Method page show every equation, default, limit, check and word, with its source?"""

import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from flask import Flask

from app.markup import Markup, cited, join, tag
from app.method_checked import Check, checks, shown
from app.method_defaults import default_rows, example_listings, label_of
from app.pages import method
from app.pages.method import method_text
from app.words import CAUTION
from app.words_limits import LIMITS_OF_VALIDITY, VALIDATION
from app.words_method import CHAPTERS
from model.defaults import ACTIVITY_PROVENANCE, FIELDS, harbour
from model.draws import GROUPS
from model.failures import CIRCUMSTANCES
from model.fleet_inputs import FLEET_FIELDS
from model.hosts import BUSY_GROUP, GROUP_EDGES

REPOSITORY = Path(__file__).resolve().parents[2]
DOI = re.compile(r"10\.\d{4,9}/[^\s,;:<\"]*[^\s,;:.)<\"]")
EQUATIONS = [equation for chapter in CHAPTERS for equation in chapter.equations]


def told():
    """Return the page's text without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", method_text())))


def docstrings(module):
    """Return the source of a module of the model."""
    return (REPOSITORY / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8")


def dois(text):
    """Return the DOIs that a text cites; in the code one may be broken over two lines."""
    return set(DOI.findall(text))


def test_anchors_are_there_once_and_every_link_finds_one():
    """Each entry of the contents leads to a heading, and no name is used twice."""
    names = re.findall(r'\bid="([^"]+)"', method_text())

    assert len(names) == len(set(names))
    assert set(re.findall(r'href="#([^"]+)"', method_text())) <= set(names)


def test_every_tag_is_closed():
    """The text is whole: what is opened is closed, in order."""
    open_tags = []
    for closing, name, alone in re.findall(r"<(/?)([a-z0-9]+)[^>]*?(/?)>", method_text()):
        if alone:
            continue
        if closing:
            assert open_tags.pop() == name
        else:
            open_tags.append(name)
    assert open_tags == []


@pytest.mark.parametrize("equation", EQUATIONS, ids=lambda each: each.title)
def test_every_equation_has_words_and_the_source_that_the_code_names(equation):
    """An equation is told in plain words, and its DOIs stand in the docstring of its module."""
    assert equation.words.endswith((".", "?"))
    assert equation.source
    assert equation.title in told()
    package = docstrings(equation.module)
    steps = ("student", "on_off", "least_squares", "demand_intervals", "comparison_chance")
    near = package + "".join(docstrings(f"model.evidence.{each}") for each in steps)
    assert dois(equation.source) <= dois(near)


def test_every_doi_of_the_model_is_on_the_page():
    """No source that the code cites is kept from the reader."""
    files = [*(REPOSITORY / "model").rglob("*.py")]
    cited_in_code = set().union(*(dois(path.read_text(encoding="utf-8")) for path in files))

    assert cited_in_code
    assert cited_in_code <= dois(unescape(method_text()))


def test_letters_that_are_explained_stand_in_the_formula():
    """No symbol is explained that the reader does not see."""
    for equation in EQUATIONS:
        letters = re.findall(r"\\?[A-Za-z]+", " ".join(equation.formulas))
        for symbol, _ in equation.symbols:
            for letter in re.findall(r"\\?[A-Za-z]+", symbol):
                assert letter in letters, (equation.title, symbol)


def test_busy_moments_are_those_of_the_words():
    """The page says 93rd to 97th per cent of demand, as the hosts are grouped."""
    assert GROUP_EDGES[BUSY_GROUP : BUSY_GROUP + 2] == pytest.approx([0.93, 0.97])
    assert "from the 93rd to the 97th per cent" in told()


def test_every_default_is_shown_with_value_range_and_origin():
    """Each record of the model is a row, and its sentence stands on the page."""
    rows = default_rows()
    meanings = [(row.meaning, row.provenance) for row in rows]
    records = [*FIELDS.values(), *FLEET_FIELDS.values(), *CIRCUMSTANCES.values()]
    records += [group.spread for group in GROUPS.values()]

    for record in records:
        row = rows[meanings.index((record.meaning, record.provenance))]
        assert f"{record.high:,.10g}" in row.reach
        if record.value is None:
            assert row.value == "must be given"
        else:
            assert row.value.startswith(f"{record.value:.10g}")
        assert record.meaning in told()
    assert all(row.provenance and row.value and row.reach for row in rows)


def test_every_number_of_a_scenario_has_its_label_of_the_screen():
    """What a number is called on the Host page is what it is called here."""
    assert [path for path in FIELDS if not label_of(path)] == []


def test_example_is_shown_whole():
    """Activities, roles, habits and presence of the example are listed with their origin."""
    activities, roles, habits, presence = example_listings()
    data = harbour()

    assert [row[0] for row in activities.rows] == [each["name"] for each in data["activities"]]
    assert [row[-1] for row in activities.rows] == list(ACTIVITY_PROVENANCE.values())
    assert [row[0] for row in roles.rows] == [each["name"] for each in data["roles"]]
    for index, role in enumerate(data["roles"], 1):
        assert sum(float(row[index]) for row in habits.rows) == 100
        assert role["name"].capitalize() == habits.head[index]
    assert len(presence.rows) == len(data["day"]["present_pct"])
    for listing in (activities, roles, habits, presence):
        assert {len(row) for row in listing.rows} == {len(listing.head)}


def test_every_limit_says_which_way_it_errs_and_who_can_tell():
    """A limit of validity is complete, and those that the brief caution names are among them."""
    assert all(each.why and each.tells for each in LIMITS_OF_VALIDITY)
    assert {each.errs for each in LIMITS_OF_VALIDITY} == {"too many", "too few", "either way"}
    text = " ".join(each.what for each in LIMITS_OF_VALIDITY)
    for word in ("NUMA", "Storage", "Memory bandwidth", "client's side", "protocol that adapts"):
        assert word in text


def test_validation_is_told_in_steps_with_the_caution():
    """The steps stand on the page, and so does the caution, word for word."""
    assert all(title in told() and words in told() for title, words in VALIDATION)
    assert told().count(CAUTION) >= 2


def test_checks_are_shown_part_by_part():
    """All recorded comparisons are on the page, with date and releases."""
    found = checks()
    assert sum(len(rows) for rows in found.by_part.values()) == len(found.rows) >= 30
    assert method_text().count("<details>") == len(found.by_part)
    assert found.made in told()
    assert all(f"{name} {release}" in told() for name, release in found.packages.items())
    gaps = [abs(row.ours - row.expected) for row in found.rows]
    assert np.isfinite(gaps).all()


@pytest.mark.parametrize(
    ("expected", "ours", "allowed", "difference"),
    [(2, 2.1, "10 %", "+5 %"), (2, 2, "none", "none"), (0, 0.25, "10 %", "+0.25"),
     (-4, -5, "30 %", "-25 %"), (-4, -5, "2", "-1"), (1, 1 + 1e-12, "1e-09 %", "below 1e-7 %")],
)  # fmt: skip
def test_difference_is_told_as_what_is_allowed(expected, ours, allowed, difference):
    """A difference is in per cent, but a number where what is allowed, or expected, asks for it."""
    check = Check("Day", "", "derived", "", expected, ours, 1, allowed)

    assert check.difference == difference


@pytest.mark.parametrize(
    ("number", "text"),
    [(0.0, "0"), (1.5, "1.5"), (123456.7, "123457"), (1e-7, "1.00000e-07"), (2e9, "2.00000e+09")],
)
def test_numbers_are_shown_with_six_digits(number, text):
    """Small and large numbers are written with a power of ten."""
    assert shown(number) == text


def test_text_never_becomes_a_tag():
    """Plain text is escaped wherever it stands; markup is kept."""
    assert tag("p", "a < b", title='"x"') == '<p title="&quot;x&quot;">a &lt; b</p>'
    assert join(["<b>", Markup("<i>")], ("&",)) == "&lt;b&gt;<i>&amp;"
    assert tag("input", cls="a", for_="b", aria_label="c", hidden=True, open=False) == (
        '<input class="a" for="b" aria-label="c" hidden></input>'
    )


def test_source_has_its_doi_as_a_link():
    """A DOI leads to its page; the stop or colon after it does not belong to it."""
    link = '<a href="https://doi.org/10.1/a(8)b-6" rel="noreferrer">doi:10.1/a(8)b-6</a>'

    assert cited("A < B, doi:10.1/a(8)b-6: one.") == f"A &lt; B, {link}: one."
    assert cited("Our own.") == "Our own."


def test_text_is_served_once_and_then_known():
    """The address gives the text, and nothing again to a browser that has it."""
    server = Flask("method")
    method.register(server, str)
    client = server.test_client()

    first = client.get(method.ADDRESS)
    again = client.get(method.ADDRESS, headers={"If-None-Match": first.headers["ETag"]})
    assert (first.status_code, again.status_code) == (200, 304)
    assert first.text == method_text()


def test_failure_is_told_by_its_number(monkeypatch):
    """What goes wrong is logged, and the visitor is told no more than its number."""
    server = Flask("method")
    method.register(server, lambda error: "Something went wrong (number 1).")
    monkeypatch.setattr(method, "method_text", lambda: 1 / 0)

    answer = server.test_client().get(method.ADDRESS)
    assert answer.status_code == 500
    assert answer.text == '<p role="alert">Something went wrong (number 1).</p>'

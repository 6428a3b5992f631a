"""Are pages, targets, defaults and words named where people read about them?"""

import re
from html import unescape
from pathlib import Path

from app.labels import LABELS
from app.pages.method import method_text
from app.server import PAGES
from app.words_glossary import GLOSSARY
from app.words_limits import PAGES_TOLD
from model.defaults import FIELDS
from model.scenario import Targets
from model.targets import LIMITS

REPOSITORY = Path(__file__).resolve().parents[1]


def told():
    """Return the Method page's text without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", method_text())))


def test_every_page_of_the_menu_is_told():
    """The Method page says what each page is for, under its name in the menu."""
    for name, (_, title) in PAGES.items():
        assert PAGES_TOLD[name][0] == title
        assert PAGES_TOLD[name][1] in told()


def test_every_target_and_resource_is_named():
    """Targets stand on the Method page by their labels, resources in the words of the answer."""
    for name in Targets.model_fields:
        assert LABELS[f"targets.{name}"] in told()
    for words in LIMITS.values():
        assert words.removesuffix(" rate").lower() in told().lower()


def test_every_default_is_named():
    """No number of a scenario is left out of the Method page."""
    assert [path for path, quantity in FIELDS.items() if quantity.meaning not in told()] == []


def test_glossary_is_that_of_the_developers():
    """Page and DEVELOPERS.md explain the same words in the same words (app/words_glossary.py)."""
    page = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = page.partition("## Glossary")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (.+?) \| (.+) \|$", table, flags=re.MULTILINE)[1:]

    assert dict(rows) == GLOSSARY
    assert list(GLOSSARY) == [word for word, _ in rows]
    assert all(word in told() for word in GLOSSARY)

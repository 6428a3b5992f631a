"""Does the log tell where something failed, and nothing of what people typed?"""

import logging

import pytest

from app.failure_log import log_failure
from app.server import make_app
from app.settings import Settings
from model.scenario import default, dump


def fails(secret: str) -> None:
    """Fail twice, both messages quoting a text."""
    try:
        int(secret)
    except ValueError as error:
        raise RuntimeError(f"no number: {secret}") from error


def test_log_names_kinds_and_places_but_no_values(caplog):
    """Both errors and their lines are there, the text that they quote is not."""
    try:
        fails("Pier 7, Quay Road")
    except RuntimeError as error:
        log_failure("failure 1234", error)

    assert "failure 1234" in caplog.text
    assert caplog.text.index("ValueError") < caplog.text.index("RuntimeError")
    assert "test_failure_log.py" in caplog.text
    assert "Quay Road" not in caplog.text


@pytest.mark.parametrize("where", ["shelf", "answer"])
def test_failure_of_a_page_leaves_no_names_in_the_log(tmp_path, monkeypatch, caplog, where):
    """A failure while something with a name is asked for or saved is logged without the name."""

    def broken(*_args, **_more):
        raise RuntimeError("Harbour of Nowhere")

    caplog.set_level(logging.INFO)
    monkeypatch.setattr("app.shelf_store.insert_item", broken)
    monkeypatch.setattr("app.pages.host.load", broken)
    client = make_app(Settings(workers=0, data_folder=tmp_path)).server.test_client()
    body = {"scenario": "{}", "name": "Harbour of Nowhere", "sequence": 1}
    if where == "shelf":
        reply = client.post("/shelf-data/items", json=body | {"scenario": dump(default())})
    else:
        reply = client.post("/answer/curve", json=body)

    assert reply.status_code >= 500
    assert "failure" in caplog.text
    assert "Nowhere" not in caplog.text

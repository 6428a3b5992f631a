"""Does the export command find a Chromium, say what is wrong, and take only its own pictures?"""

import struct

import pytest
from flask import Flask

from app import ids
from app.__main__ import main
from app.chromium import NAMES, VARIABLE, NoChromiumError, find_chromium
from app.export_command import ExportError, Job, make_pictures, read, serve_job
from model.errors import InputError
from model.scenario import default, dump


def png(width: int = 3200, height: int = 1800) -> bytes:
    """The first bytes of a PNG of a certain size."""
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sII", 13, b"IHDR", width, height)


def no_program(name: str) -> None:
    """Find no program, whatever its name."""


def test_chromium_of_the_environment_comes_first():
    """The variable's program is taken before those on the search path."""
    found = find_chromium({VARIABLE: "mine"}, {"mine": "/opt/mine", "chromium": "/c"}.get)
    assert found == "/opt/mine"


@pytest.mark.parametrize("name", NAMES)
def test_chromium_on_the_search_path_is_found(name):
    """Without the variable, each of the usual names will do."""
    assert find_chromium({}, {name: f"/usr/bin/{name}"}.get) == f"/usr/bin/{name}"


def test_chromium_that_playwright_keeps_is_found_last(tmp_path):
    """Where nothing is on the search path, the one in Playwright's folder is taken."""
    kept = tmp_path / "chromium-1234" / "chrome-linux" / "chrome"
    kept.parent.mkdir(parents=True)
    surroundings = {"PLAYWRIGHT_BROWSERS_PATH": str(tmp_path), "HOME": str(tmp_path)}
    with pytest.raises(NoChromiumError, match=f"Install one .* or set {VARIABLE}"):
        find_chromium(surroundings, no_program)
    kept.touch(mode=0o755)
    assert find_chromium(surroundings, no_program) == str(kept)


def test_wrong_chromium_of_the_environment_is_named():
    """A variable that names no program is an error, even where another Chromium is there."""
    with pytest.raises(InputError, match=f"{VARIABLE} is '/nope'"):
        find_chromium({VARIABLE: "/nope"}, {"chromium": "/usr/bin/chromium"}.get)


@pytest.mark.parametrize(
    ("given", "sessions"),
    [("n=140&v=1", 140), ("?n=140&v=1", 140), ("http://localhost:8050/?n=140&v=1#day", 140),
     ("http://localhost:8050/", 110)],
)  # fmt: skip
def test_link_in_any_form_is_read(given, sessions):
    """A whole link, its query with and without question mark, and a bare address are read."""
    assert read(given).scenario == default().model_copy(update={"sessions": sessions})


def test_pin_of_a_link_and_a_scenario_file_are_read(tmp_path):
    """What is pinned in a link is drawn too; a file holds a scenario alone."""
    assert read("?pin=n%3D60%26v%3D1&n=90&v=1").pin == "n=60&v=1"
    path = tmp_path / "a=b.json"
    path.write_text(dump(default()), encoding="utf-8")
    assert read(str(path)) == read("v=1")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [(["?n=0&v=1"], "sessions is 0"), (["no such.json"], "scenario is 'no such.json'"),
     (["?n=5"], "v is "), (["?n=5&v=1", "--out", __file__], "--out is")],
)  # fmt: skip
def test_wrong_input_ends_with_status_2_and_one_line(arguments, told, capsys, monkeypatch):
    """A bad link, file or folder ends the command with status 2 and a line that names it."""
    monkeypatch.setattr("app.export_command.find_chromium", lambda: "/usr/bin/true")
    assert main(["export", *arguments]) == 2
    printed = capsys.readouterr()
    assert told in printed.err
    assert printed.err.count("\n") == 1
    assert printed.out == ""


def test_command_without_a_chromium_says_what_to_install(capsys, monkeypatch, tmp_path):
    """Where there is no Chromium, the command ends with status 2 and leaves no folder behind."""
    for name, value in (("PATH", str(tmp_path)), ("PLAYWRIGHT_BROWSERS_PATH", str(tmp_path))):
        monkeypatch.setenv(name, value)
    assert main(["export", "v=1", "--out", str(tmp_path / "out")]) == 2
    assert "Install one" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_job_takes_pictures_of_its_own_under_its_own_name_only():
    """Another token, another name, another size and what is no PNG are refused."""
    job = Job("{}")
    server = Flask("made up")
    path = serve_job(server, job)
    client = server.test_client()

    assert client.get(path).mimetype == "text/html"
    assert client.get(f"{path}data").get_json() == {}
    for wrong in ("/exported/zork/", "/exported/zork/data", f"{path}headroom"):
        assert client.get(wrong).status_code == 404
    assert client.post("/exported/zork/headroom", data=png()).status_code == 404
    assert client.post(f"{path}zork", data=png()).status_code == 400
    assert client.post(f"{path}headroom", data=png(width=100)).status_code == 400
    assert client.post(f"{path}headroom", data=b"GIF89a").status_code == 400
    assert job.pictures == {}
    for name in ids.CHARTS:
        assert not job.ended.is_set()
        assert client.post(f"{path}{name}", data=png()).status_code == 200
    assert job.ended.is_set()
    assert len({Job("").token for _ in range(50)}) == 50


@pytest.mark.parametrize(
    ("script", "told"),
    [("echo no display >&2; exit 7", "status 7: no display"), ("sleep 60", "no pictures in 2 s")],
)
def test_chromium_that_fails_or_hangs_is_told(script, told, tmp_path):
    """A Chromium that ends early is told with what it said; one that hangs is ended in time."""
    program = tmp_path / "chromium"
    program.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    program.chmod(0o755)
    with pytest.raises(ExportError, match=told):
        make_pictures("{}", str(program), limit_s=2)

"""Do the addresses of the Shelf page answer right, and refuse what they cannot use?"""

import csv
import io
import json

import pytest

from app import words
from app.components.comparison import comparison, comparison_csv, differing_inputs, shown
from app.figures.compared import Compared, compared_figure
from app.server import make_app
from app.settings import Settings
from app.theme import DARK, LIGHT
from model.assess import assess
from model.day import simulate_day_both
from model.errors import InputError
from model.hosts import ARMS
from model.scenario import default, dump, from_data, to_data

JSON = "application/json"


@pytest.fixture
def client(tmp_path):
    """A client of a fresh application with an empty shelf."""
    settings = Settings(workers=0, data_folder=tmp_path / "data")
    return make_app(settings).server.test_client()


def example(**changes):
    """The example with other fields at the top."""
    return from_data(to_data(default()) | changes)


def save(client, name="Berth", scenario=None, **more):
    """Save an item as the page does, and return it."""
    body = {"scenario": dump(scenario or default()), "name": name, **more}
    return client.post("/shelf-data/items", json=body).get_json()["item"]


def compared(*scenarios):
    """Scenarios with their answers, the day drawn once."""
    return [
        Compared(f"Name {at}", assess(each), simulate_day_both(each, 1, 1))
        for at, each in enumerate(scenarios)
    ]


def test_item_goes_round(client):
    """What is saved is listed, opened by its link, renamed, copied, deleted and brought back."""
    item = save(client, "Berth", example(sessions=90), tags=["a"], note="n")
    page = client.get("/shelf-data/items?search=ber&tag=a&page=1").get_json()
    assert [each["name"] for each in page["items"]] == ["Berth"]
    assert page["tags"] == [{"tag": "a", "items": 1}]
    at = f"/shelf-data/items/{item['id']}"
    assert client.get(f"{at}/revisions/0").get_json()["query"] == "n=90&v=1"
    body = {"version": 1, "scenario": dump(example(sessions=91)), "words": "w"}
    assert client.post(f"{at}/revisions", json=body).get_json()["item"]["revisions"] == 2
    revisions = client.get(f"{at}/revisions").get_json()["revisions"]
    assert [(each["number"], each["words"]) for each in revisions] == [(2, "w"), (1, "")]
    assert client.get(f"{at}/revisions/1").get_json()["query"] == "n=90&v=1"
    label = {"version": 2, "name": "Quay", "note": "", "tags": []}
    assert client.post(f"{at}/relabel", json=label).get_json()["item"]["name"] == "Quay"
    assert client.post(f"{at}/duplicate", json={}).get_json()["item"]["name"] == "Quay (copy)"
    assert "deleted" in client.post(f"{at}/delete", json={"version": 3}).get_json()
    assert client.get("/shelf-data/items").get_json()["total"] == 1
    assert client.post(f"{at}/restore", json={}).get_json()["item"]["name"] == "Quay"


def test_somebody_faster_is_told_with_the_time(client):
    """A save on an old version answers with when it was changed, and leaves the time to fill in."""
    item = save(client)
    at = f"/shelf-data/items/{item['id']}"
    body = {"version": 1, "scenario": dump(default())}
    newer = client.post(f"{at}/revisions", json=body).get_json()["item"]
    told = client.post(f"{at}/revisions", json=body)
    assert told.status_code == 200
    changed = told.get_json()["changed"]
    assert changed["at_ms"] == newer["changed_ms"]
    assert changed["version"] == 2
    assert "{time}" in changed["message"]
    client.post(f"{at}/delete", json={"version": 2})
    told = client.post(f"{at}/revisions", json=body).get_json()["changed"]
    assert told["deleted"]
    assert "deleted" in told["message"]
    assert "gone" in client.get(f"{at}/revisions").get_json()
    assert "gone" in client.post("/shelf-data/items/none/revisions", json=body).get_json()


def test_what_cannot_be_used_is_refused_by_name(client):
    """A wrong request is told by the field that is wrong; no file is read for it."""
    wrong = [
        ("items", {}, "scenario"), ("items", {"scenario": "pyproject.toml"}, "scenario"),
        ("items", {"scenario": "{"}, "scenario"), ("items", {"scenario": {}}, "scenario"),
        ("items", [1], "request"), ("items/x/delete", {}, "version"),
        ("items/x/delete", {"version": True}, "version"),
        ("items/x/delete", {"version": 2**40}, "version"),
        ("items/x/relabel", {"version": 1, "name": 5}, "name"),
        ("import", [1], "file"), ("compare", {}, "ids"), ("compare", {"ids": []}, "ids"),
        ("compare", {"ids": ["a"] * 5}, "ids"), ("compare", {"ids": [["a"]]}, "ids"),
    ]  # fmt: skip
    for path, body, named in wrong:
        reply = client.post(f"/shelf-data/{path}", json=body)
        assert reply.status_code == 200
        assert reply.get_json()["error"]["field"] == named, (path, body)


def test_only_the_pages_own_scripts_can_post(client):
    """A form of another site, which cannot send JSON, changes nothing."""
    body = json.dumps({"scenario": dump(default()), "name": "x"})
    for kind in ("text/plain", "application/x-www-form-urlencoded"):
        assert client.post("/shelf-data/items", data=body, content_type=kind).status_code == 415
    assert client.get("/shelf-data/items").get_json()["total"] == 0
    assert client.get("/shelf-data/items?page=zork&search=%00").get_json()["page"] == 1
    assert client.post("/shelf-data/items", data=b"\xff{", content_type=JSON).status_code == 200


def test_large_file_is_imported_and_a_larger_one_refused(client, monkeypatch):
    """A file may be larger than any other request, up to its own limit; after that it is told."""
    items = [{"name": f"n{n}", "revisions": [{"scenario": to_data(default())}]} for n in range(400)]
    data = json.dumps({"crestline_shelf": 1, "items": items})
    assert len(data) > 1_000_000
    done = client.post("/shelf-data/import", data=data, content_type=JSON).get_json()
    assert len(done["names"]) == 400
    monkeypatch.setattr("app.pages.shelf.MOST_IMPORT_BYTES", 1000)
    told = client.post("/shelf-data/import", data=data, content_type=JSON).get_json()
    assert told["error"]["field"] == "file"
    for wrong in (b"{", b"[" * 900, b"\xff"):
        told = client.post("/shelf-data/import", data=wrong, content_type=JSON).get_json()
        assert told["error"]["field"] == "file"


def test_export_is_a_file_that_carries_the_caution(client):
    """One item is saved under its name, all under the shelf's, both with the caution."""
    item = save(client, "../Ärger & <b>Kai</b>")
    one = client.get(f"/shelf-data/export?id={item['id']}")
    assert (
        one.headers["Content-Disposition"] == 'attachment; filename="crestline-rger-b-kai-b.json"'
    )
    both = client.get("/shelf-data/export")
    assert 'filename="crestline-shelf.json"' in both.headers["Content-Disposition"]
    for reply in (one, both):
        data = json.loads(reply.get_data(as_text=True))
        assert data["caution"] == words.CAUTION
        assert [each["name"] for each in data["items"]] == ["../Ärger & <b>Kai</b>"]
    assert "gone" in client.get("/shelf-data/export?id=none").get_json()


def test_scenario_too_long_for_a_link_is_kept_and_told(client):
    """A scenario that no link holds can be saved and exported; opening it is refused in words."""
    data = to_data(default())
    data["day"]["present_pct"] = [
        [f"{at // 60:02}:{at % 60:02}", 33.333333333333336] for at in range(420, 620)
    ]
    for at, activity in enumerate(data["activities"]):
        old, activity["name"] = activity["name"], "\U0001f6a2" * 76 + f"{at:04d}"
        for role in data["roles"]:
            role["activity_pct"] = {
                activity["name"] if name == old else name: share
                for name, share in role["activity_pct"].items()
            }
    for at, role in enumerate(data["roles"]):
        role["name"] = "\U0001f6a2" * 76 + f"{at:04d}"
    long = from_data(data)
    item = save(client, "Long", long)
    told = client.get(f"/shelf-data/items/{item['id']}/revisions/0").get_json()
    assert "too long" in told["error"]["message"]
    exported = client.get("/shelf-data/export").get_json()["items"][0]
    assert from_data(exported["revisions"][0]["scenario"]) == long


def test_shelf_that_is_gone_is_told_by_a_number(tmp_path, caplog):
    """Without a database every address answers in a sentence with a number; the page is served."""
    (tmp_path / "file").touch()
    settings = Settings(workers=0, data_folder=tmp_path / "file")
    client = make_app(settings).server.test_client()
    reply = client.get("/shelf-data/items")
    assert reply.status_code == 503
    told = reply.get_json()["failure"]
    assert "cannot be reached" in told
    number = told.partition("number ")[2][:8]
    assert number in caplog.text
    assert "file" not in told
    assert client.get("/shelf").status_code == 200


def test_unforeseen_failure_is_told_by_a_number_too(client, monkeypatch, caplog):
    """A fault in the code is told without its stack, which stays in the log."""
    monkeypatch.setattr("app.pages.shelf._listed", lambda shelf: 1 / 0)
    reply = client.get("/shelf-data/items")
    assert reply.status_code == 500
    assert "Something went wrong on the shelf" in reply.get_json()["failure"]
    assert "ZeroDivisionError" in caplog.text


def test_comparison_states_what_the_model_finds(client):
    """Loads, limits, headroom, crest and hosts side by side are the model's own numbers."""
    scenarios = [example(sessions=90), example(sessions=150, accelerator={"cards": 0})]
    chosen = [save(client, f"S{at}", each)["id"] for at, each in enumerate(scenarios)]
    told = client.post("/shelf-data/compare", json={"ids": chosen}).get_json()
    assert told["needed"] == 150
    assert told["names"] == ["A S0", "B S1"]
    rows = {row["label"]: row["cells"] for row in told["rows"]}
    found = [assess(each) for each in scenarios]
    for arm, label in (("offloaded", "with card"), ("software", "without card")):
        has = [True, arm == "software"]
        rated = [each.rated[arm].rated_load for each in found]
        both = list(zip(rated, has, strict=True))
        loads = [str(load) if there else "no card" for load, there in both]
        assert rows[f"Rated load, {label}"] == loads
        hosts = [str(-(-150 // load)) if there else "no card" for load, there in both]
        assert rows[f"Hosts needed, no spare, {label}"] == hosts
    left = found[0].now["software"]["headroom_pct"]
    assert rows["Headroom, without card"][0] == f"{left:.0f}"
    # Derived: the Host page draws the same days for its full answer.
    days = simulate_day_both(scenarios[0], 1, 20)
    assert rows["Crest of the day, with card"][0] == f"{days['offloaded'].crest_pct:.0f}"
    for each in told["arms"]:
        json.dumps(each["figure"], allow_nan=False)
    for needed in (0, -1, 1.5, "many", True, 10**9):
        body = {"ids": chosen, "needed": needed}
        assert (
            client.post("/shelf-data/compare", json=body).get_json()["error"]["field"] == "needed"
        )


def test_only_inputs_that_differ_are_listed():
    """An input in which all agree has no row; one that a scenario lacks reads none."""
    other = to_data(default()) | {"name": "another name"}
    other["activities"][0]["name"] = "resting"
    for role in other["roles"]:
        habit = role["activity_pct"]
        role["activity_pct"] = {
            "resting" if name == default().activities[0].name else name: share
            for name, share in habit.items()
        }
    rows = dict(differing_inputs(compared(default(), example(sessions=90), from_data(other))))
    assert [cell.split()[0] for cell in rows["Sessions"]] == [
        str(default().sessions), "90", str(default().sessions),
    ]  # fmt: skip
    dwell = [cells for label, cells in rows.items() if label == "resting: Lasts"]
    assert dwell[0][:2] == ("none", "none")
    assert dwell[0][2] != "none"
    assert "Name" not in rows
    assert not any("CPU cores" in label for label in rows)
    assert comparison(compared(default(), default()), 100)[0].label == "None"


def test_hosts_needed_are_rounded_up_and_none_where_none_is_carried():
    """At a multiple of the rated load no further host is needed; one session more takes one."""
    weak = to_data(default())
    weak["host"] |= {"cores": 1, "memory_gib": 1}
    both = compared(default(), from_data(weak))
    rated = both[0].found.rated["software"].rated_load
    assert both[1].found.rated["software"].rated_load == 0

    def hosts(needed):
        return [row.cells for row in comparison(both, needed)][-1]

    assert hosts(3 * rated) == (3, "carries none")
    assert hosts(3 * rated + 1)[0] == 4
    assert hosts(1)[0] == 1


def test_csv_reads_back_and_runs_nothing():
    """The table as CSV holds the names as they are, harmless, and the numbers as numbers."""
    found = compared(default(), example(sessions=90))
    named = [
        Compared('=cmd|"x"', found[0].found, found[0].day),
        Compared("a,b\n@c", found[1].found, found[1].day),
    ]
    rows = list(csv.reader(io.StringIO(comparison_csv(named, comparison(named, 100)), newline="")))
    assert rows[0][3:] == ['A =cmd|"x"', "B a,b\n'@c"]
    assert all(len(row) == 5 for row in rows)
    loads = next(row for row in rows if row[1] == "Rated load, with card")
    assert int(loads[3]) == found[0].found.rated["offloaded"].rated_load
    assert rows[-1][1] == words.CAUTION


def test_chart_tells_lines_apart_without_colour():
    """Every line has a dash, a letter on it and a name of its own; markup in names is text."""
    four = compared(*[example(sessions=n) for n in (60, 90, 120, 150)])
    named = [Compared(f"<b>{'n' * 90}</b>", each.found, each.day) for each in four]
    for arm in ARMS:
        for theme in (LIGHT, DARK):
            figure = compared_figure(named, arm, theme)
            lines = [trace for trace in figure["data"] if trace["mode"] == "lines"]
            assert len({trace["line"]["dash"] for trace in lines}) == 4
            assert len({trace["line"]["color"] for trace in lines}) == 4
            assert [trace["name"][0] for trace in lines] == list("ABCD")
            assert all("<" not in trace["name"] for trace in figure["data"])
            letters = figure["layout"]["annotations"][:4]
            # Derived: the four lines are the same here, and yet no two letters meet.
            places = [note["x"] for note in letters]
            assert places == sorted(set(places))
            marks = [trace for trace in figure["data"] if trace["mode"] == "markers"]
            assert [mark["x"] for mark in marks] == [
                [each.found.rated[arm].rated_load] for each in four
            ]


@pytest.mark.parametrize(
    ("cell", "digits", "expected"),
    [("no card", 0, "no card"), (1234, 0, "1,234"), (-0.2, 0, "0"), (2.345, 1, "2.3"),
     (float("inf"), 0, "beyond measure"), (float("-inf"), 0, "none left")],
)  # fmt: skip
def test_values_are_shown_with_sensible_digits(cell, digits, expected):
    """Numbers are grouped and rounded, a zero has no sign, and endless ones are told in words."""
    assert shown(cell, digits) == expected


def test_refusal_names_what_the_dialog_marks(client):
    """A name that is too long is refused as the model refuses: field, value and range."""
    body = {"scenario": dump(default()), "name": "x" * 121}
    told = client.post("/shelf-data/items", json=body).get_json()["error"]
    assert told == {
        "field": "name",
        "message": str(InputError("Name", "121 characters", "at most 120")),
    }

"""Does the Host page say of all draws what the model found, to everyone who asks the same?"""

import csv
import datetime as dt
import io
import json
import os
import time

import pytest

from app import sure_answers, words_sure
from app.answers import curve_answer
from app.evidence_jobs import Jobs
from app.numbers import chart_csv
from app.pictures import sheets
from app.server import make_app
from app.settings import Settings
from app.sure_fleet import prices_of
from app.sure_question import MOST_DRAWS, question_of
from app.sure_result import bands_in, from_text, to_text
from app.sure_store import SureStore
from app.sure_work import is_abandoned, sure_result
from app.theme import LIGHT
from model import fleet_inputs, fleet_url
from model.errors import InputError
from model.fleet import plan_fleet
from model.hosts import ARMS
from model.one_draw import CURVES
from model.scenario import canonical, default, dump, from_data, to_data
from model.sensitivity import ranking
from model.uncertainty import propagate

DRAWS = 30
ASKER = "0f" * 16


def asked(scenario=None, **more):
    """Return a question as the page sends it."""
    return {"scenario": dump(scenario or default()), "draws": DRAWS} | more


def fleet(**changes):
    """Return a fleet of the example's sites, as a link writes it."""
    inputs = fleet_inputs.example().model_copy(update={"growth_pct_per_year": 0.0} | changes)
    return fleet_url.to_text(inputs, default())


@pytest.fixture(scope="module")
def result():
    """The result of a few draws of the example, for a fleet of 890 sessions with prices."""
    question, note = question_of(asked(fleet=fleet(horizon_years=7)))
    assert note == ""
    assert question.total_sessions == 890  # Derived: the sum of the example's sites
    return from_text(to_text(sure_result(question)))


@pytest.fixture(scope="module")
def found():
    """The same draws by the model itself."""
    return propagate(default(), DRAWS, 1, total_sessions=890)


def test_table_holds_the_model_s_values(result, found):
    """P10, P50, P90 and the answer as given are those that the model gives, for both arms."""
    for arm in ARMS:
        for name, quantity in found.answers[arm].items():
            band = result["answers"][arm][name]
            told = [band[end] for end in ("p10", "p50", "p90", "best")]
            own = quantity.band
            # Independent of the page: the model asked directly, with the same seed.
            assert told == [own.p10, own.p50, own.p90, own.best]
    rows = sure_answers.shown(result, LIGHT, None)["table"]["rows"]
    own = found.of("rated_load", "software").band
    without = ["Rated load [sessions]", "without card"]
    assert without + [f"{each:.0f}" for each in (own.p10, own.p50, own.p90, own.best)] in rows


def test_bands_are_those_of_the_draws(result, found):
    """The bands of the charts end at the model's P10 and P90, at every number of sessions."""
    bands = bands_in(result)
    assert list(bands.sessions) == found.sessions.tolist()
    for arm in ARMS:
        for name in CURVES:
            own = found.curves[arm][name]
            assert bands.ends[arm][name] == (tuple(own.p10), tuple(own.p90))


def test_ranking_is_that_of_the_model(result, found):
    """The chart of the inputs, its order and its sentence are the model's, for each answer."""
    for name, arm in (("rated_load", "software"), ("gain_sessions", None)):
        shown = sure_answers.shown(result, LIGHT, f"{name}.{arm or ''}")
        own = ranking(found, name, arm)
        assert shown["measure_next"] == own.sentence
        low, high = shown["ranking"]["data"][:2]
        reached = [base + x for base, x in zip(low["base"], low["x"], strict=True)]
        assert reached == pytest.approx([rank.low for rank in own.ranks], abs=1e-3)
        reached = [base + x for base, x in zip(high["base"], high["x"], strict=True)]
        assert reached == pytest.approx([rank.high for rank in own.ranks], abs=1e-3)
        assert shown["ranking"]["layout"]["yaxis"]["ticktext"][0].lower().replace(
            "<br>", " "
        ) == own.ranks[0].label.lower()  # fmt: skip


def test_what_carries_nobody_is_told_plainly(result, found):
    """Draws in which not even one session meets the targets are told with their share and why."""
    share = found.carries_nobody["software"]
    assert share > 0
    lines = sure_answers.sentences(result, default())
    assert lines[0].startswith("In 8 of 10 draws this host carries ")
    told = f"In {share * 100:.0f} % of the draws not even one session meets the targets without"
    assert lines[1].startswith(told)
    # Derived: one frame of scrolling takes 93 % of a core, the most of all activities.
    assert lines[1].endswith("most of all at scrolling documents.")
    assert not any("nobody" in line for line in lines)


def test_hosts_beyond_all_numbers_are_told_in_words(result):
    """Where P90 has no number of hosts, table and sentence say so and nothing is infinite."""
    shown = sure_answers.shown(result, LIGHT, None)
    hosts = [row for row in shown["table"]["rows"] if row[0].startswith("Hosts for 890")]
    assert hosts[1][4] == "no number is enough"
    line = next(line for line in shown["sentences"] if line.startswith("For 890 sessions"))
    assert line.endswith(" or more without.")
    figure = sure_answers.shown(result, LIGHT, "hosts.software")["ranking"]
    assert "no number is enough" in [each["text"] for each in figure["layout"]["annotations"]]
    assert "inf" not in json.dumps(shown).replace("info", "").lower()


def test_cost_is_that_of_the_fleet_plan():
    """A year of as many hosts as the plan has costs what the plan's purchase and year cost."""
    sites = [{"name": "One", "sessions": {"berth planner": 500}}]
    data = fleet_inputs.to_data(fleet_inputs.example()) | {"sites": sites, "growth_pct_per_year": 0}
    roles = [dict(to_data(default())["roles"][0], weight_pct=100.0)]
    scenario = from_data(to_data(default()) | {"roles": roles})
    inputs = fleet_inputs.from_data(data)
    plan = plan_fleet(inputs, scenario).choices[0].arms["offloaded"].total
    prices = prices_of(fleet_url.to_text(inputs, scenario), scenario)
    spare = plan.spare_hosts + plan.drained_hosts
    # Derived: the plan's first year, its purchase spread evenly over five years.
    expected = float(plan.purchase) / 5 + float(plan.yearly_cost)
    assert prices.of(plan.hosts - spare, "offloaded") == pytest.approx(expected, rel=0.01)


def test_charts_pictures_and_numbers_show_the_bands(result):
    """Both charts over sessions, their pictures and their CSV hold the bands and their name."""
    bands = bands_in(result)
    label = words_sure.band_label(DRAWS)
    assert label == "8 of 10 draws (30 in all)"
    figures = curve_answer(default(), LIGHT, bands=bands)["figures"]
    for chart, count in (("headroom", 2), ("contention", 4)):
        drawn = [each["name"] for each in figures[chart]["data"] if label in each["name"]]
        assert len(drawn) == count
        notes = [each["text"] for each in figures[chart]["layout"]["annotations"]]
        assert f"band: {label}" in notes
    made = sheets(default(), None, dt.date(2026, 1, 1), bands)
    for chart in made["charts"][:2]:
        assert f"band: {label}" in [entry["label"] for entry in chart["key"]]
    rows = list(csv.DictReader(io.StringIO(chart_csv("headroom", default(), None, bands))))
    column = "headroom with card P90 of 30 draws [% of CPU]"
    drawn = {int(row["sessions on the host [sessions]"]): row[column] for row in rows}
    at = bands.sessions[5]
    assert float(drawn[at]) == bands.ends["offloaded"]["headroom_pct"][1][5]


def test_without_a_card_one_arm_is_told():
    """A host without a card has no second arm, no gain and no words about a card."""
    data = to_data(default())
    data["accelerator"]["cards"] = 0
    scenario = from_data(data)
    question, _ = question_of(asked(scenario, draws=10, total_sessions=100))
    shown = sure_answers.shown(sure_result(question), LIGHT, None)
    assert shown["answer"] == "rated_load.software"
    text = " ".join(shown["sentences"] + [label for _, label in shown["choices"]])
    assert "card" not in text.replace("without the card", "")
    assert "hosts" in text


def test_equal_questions_have_equal_keys():
    """A question is known by all it depends on: not by the order of its spreads, but by each."""
    key = question_of(asked())[0].key
    assert question_of(asked(spreads_pct={"clock": 3.0, "software": 20}))[0].key == key
    others = [
        asked(spreads_pct={"clock": 4}), asked(draws=31), asked(total_sessions=5),
        asked(default().model_copy(update={"sessions": 111})), asked(fleet=fleet(horizon_years=4)),
    ]  # fmt: skip
    assert len({key, *[question_of(each)[0].key for each in others]}) == 6


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"draws": 9}, "Draws is 9"),
        ({"draws": MOST_DRAWS + 1}, "Draws is 5001"),
        ({"draws": None}, "Draws is missing"),
        ({"draws": 12.5}, "Draws is 12.5"),
        ({"total_sessions": 0}, "Sessions of the fleet is 0"),
        ({"spreads_pct": {"clock": 301}}, "Spread of the clock is 301"),
        ({"spreads_pct": {"clock": None}}, "Spread of the clock is missing"),
        ({"spreads_pct": {"weather": 3}}, "weather"),
        ({"spreads_pct": [3]}, "spreads"),
    ],
)  # fmt: skip
def test_wrong_boxes_are_named(more, told):
    """A number that will not do is refused by the name that its box has on the page."""
    with pytest.raises(InputError) as caught:
        question_of(asked(**more))
    assert told in words_sure.refused(caught.value)


def test_fleet_that_does_not_fit_is_told():
    """A fleet with another role does not stop the answer; hosts are left out, and it says why."""
    question, note = question_of(asked(fleet="not a fleet"))
    assert question.fleet is None
    assert question.total_sessions is None
    assert note.startswith("Hosts and cost are left out")


# ------------------------------------------------------------------------------------ the store


@pytest.fixture
def store(tmp_path):
    """An empty store with jobs of its own."""
    return SureStore(tmp_path / "sure", Jobs(1))


def wait(store, key, state, limit_s=60):
    """Wait until a question is in a state, and return what is told of it."""
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        told = store.state(key, ASKER)
        if told["state"] == state:
            return told
        time.sleep(0.05)
    raise AssertionError(f"{told} instead of {state}")


def test_work_is_shared_and_cancelled_by_the_last(store):
    """Two pages that ask the same share the work: one's cancel leaves it, the last one's ends it.

    The question asked again afterwards is worked out, and then known to any store of the folder.
    """
    long, _ = question_of(asked(draws=MOST_DRAWS))
    assert store.start(long, ASKER)["state"] == "running"
    assert store.start(long, "ab")["key"] == long.key
    assert store.cancel(long.key, ASKER)["state"] == "running"
    assert store.cancel(long.key, "ab")["state"] == "cancelled"
    short, _ = question_of(asked(draws=10))
    store.start(short, ASKER)
    told = wait(store, short.key, "done")
    assert told["share"] == 1.0
    assert store.result(short.key)["answers"] == sure_result(short)["answers"]
    other = SureStore(store._folder, Jobs(1))
    assert other.start(short, "cd")["state"] == "done"
    assert other.bands(short.key, canonical(default())) is not None
    moved = canonical(default().model_copy(update={"sessions": 99}))
    assert other.bands(short.key, moved) is None
    assert other.bands("../../etc", moved) is None


def test_old_results_go(store, tmp_path):
    """What nobody has used for a day is removed once something new is asked."""
    question, _ = question_of(asked(draws=10))
    folder = tmp_path / "sure" / question.key
    folder.mkdir(parents=True)
    (folder / "result.json").write_text("{}")
    old_s = time.time() - 25 * 3600
    os.utime(folder / "result.json", (old_s, old_s))
    store._sweep()
    assert not folder.exists()


def test_work_that_nobody_waits_for_is_abandoned(tmp_path):
    """Work goes on while a page waits, and ends some minutes after the last one has gone."""
    marks = tmp_path / "askers"
    marks.mkdir()
    (marks / "ab").touch()
    assert not is_abandoned(tmp_path)
    old_s = time.time() - 3600
    os.utime(marks / "ab", (old_s, old_s))
    assert is_abandoned(tmp_path)


def test_addresses_answer_and_refuse(tmp_path):
    """The page's addresses take JSON alone, name what is wrong, and draw bands for their key."""
    client = make_app(Settings(workers=0, data_folder=tmp_path)).server.test_client()
    assert client.post("/sure/start", data="x").status_code == 415
    told = client.post("/sure/start", json=asked(draws=3, asker=ASKER)).get_json()
    assert "Draws" in told["error"]["message"]
    assert client.post("/sure/state", json={"key": "..", "asker": ASKER}).get_json()["error"]
    key = question_of(asked(draws=10))[0].key
    gone = client.post("/sure/result", json={"key": key}).get_json()
    assert gone["error"]["message"] == words_sure.TEXTS["gone"]
    assert client.post("/sure/find", json=asked(draws=10)).get_json()["state"] == "none"
    odd = asked(spreads_pct={"\ud800": 1})
    for question in ([], {}, odd, asked(draws=True), asked(asker=7, fleet=[]), {"key": key * 2}):
        for name in ("start", "find", "state", "cancel", "result", "picture", "numbers"):
            reply = client.post(f"/sure/{name}", json=question)
            assert reply.status_code == 200
            assert "failure" not in reply.get_json()
    folder = tmp_path / "sure" / key
    folder.mkdir(parents=True)
    text = to_text(sure_result(question_of(asked(draws=10))[0]))
    (folder / "result.json").write_text(text, encoding="utf-8")
    assert client.post("/sure/find", json=asked(draws=10)).get_json()["state"] == "done"
    question = {"sequence": 1, "theme": "light", "scenario": dump(default())}
    plain, banded = (
        json.loads(client.post("/answer/curve", json=question | more).get_json()["text"])
        for more in ({}, {"sure": key})
    )
    extra = len(banded["figures"]["headroom"]["data"]) - len(plain["figures"]["headroom"]["data"])
    assert extra == 2
    assert not any("10 draws" in each["name"] for each in plain["figures"]["headroom"]["data"])
    csv_reply = client.get("/numbers/headroom.csv", headers={"Crestline-Sure": key})
    assert "P10 of 10 draws" in csv_reply.text.splitlines()[0]
    made = client.post("/sure/picture", json={"key": key}).get_json()
    assert made["data"]["caution"]
    for answer in ("nothing", ["rated_load.software"], 7):
        refused = client.post("/sure/result", json={"key": key, "answer": answer}).get_json()
        assert refused["error"]["field"] == "answer"
    table = client.post("/sure/numbers", json={"key": key, "what": "ranking"})
    assert table.text.startswith("inputs,spread [%],")

"""Does a scenario accept what it should, and say of anything else which field is wrong and why?"""

import copy
import json
import math
import pickle
from pathlib import Path

import pytest
from hypothesis import given, settings

from model import defaults
from model.__main__ import main
from model.defaults import FIELDS
from model.errors import InputError
from model.scenario import Scenario, default, dump, from_data, load, to_data
from tests.model.drawn import scenarios

SHIPPED = Path(__file__).resolve().parents[2] / "demo_data" / "scenarios" / "harbour.json"
NUMBERS = sorted(FIELDS)
WHOLE = [path for path in NUMBERS if FIELDS[path].whole]


def place(path, value):
    """Return the default's data with one number replaced, and the number's own path in it."""
    data = to_data(default())
    part, _, name = path.partition(".")
    if path == "day.present_pct":
        data["day"]["present_pct"][3][1] = value
        return data, "day.present_pct[3][1]"
    if path == "roles.activity_pct":
        role = data["roles"][1]
        role["activity_pct"] = {"idle": value, "typing and reading": 100 - usable(value)}
        return data, "roles[1].activity_pct.idle"
    if path == "roles.weight_pct":
        for role, weight in zip(data["roles"], [0, value, 100 - usable(value), 0], strict=True):
            role["weight_pct"] = weight
        return data, "roles[1].weight_pct"
    if part in ("activities", "roles"):
        data[part][1][name] = value
        return data, f"{part}[1].{name}"
    (data[part] if name else data)[name or part] = value
    return data, path


def usable(value):
    """Return a share that leaves the other shares in range."""
    number = isinstance(value, (int, float)) and value == value  # NaN differs from itself
    return min(max(value, 0), 100) if number else 0


def refusal(data):
    """Return the error that the data is refused with."""
    with pytest.raises(InputError) as refused:
        from_data(data)
    message = str(refused.value)
    assert message.isprintable()
    assert len(message) < 300
    return refused.value


# -------------------------------------------------------------------------------- the numbers


@pytest.mark.parametrize("path", NUMBERS)
def test_ends_of_each_range_are_accepted(path):
    """The least and the greatest value of each number's stated range are accepted."""
    quantity = FIELDS[path]
    for value in (quantity.low, quantity.high):
        data, _ = place(path, int(value) if quantity.whole else value)
        assert isinstance(from_data(data), Scenario)


@pytest.mark.parametrize("path", NUMBERS)
@pytest.mark.parametrize(
    "value_of",
    [
        pytest.param(lambda quantity: below(quantity), id="just below"),
        pytest.param(lambda quantity: above(quantity), id="just above"),
        pytest.param(lambda quantity: -1e300, id="far below"),
        pytest.param(lambda quantity: 10**400, id="absurdly large"),
        pytest.param(lambda quantity: math.nan, id="NaN"),
        pytest.param(lambda quantity: math.inf, id="infinity"),
        pytest.param(lambda quantity: -math.inf, id="minus infinity"),
        pytest.param(lambda quantity: "7", id="text"),
        pytest.param(lambda quantity: None, id="null"),
        pytest.param(lambda quantity: True, id="true"),
        pytest.param(lambda quantity: [7], id="list"),
        pytest.param(lambda quantity: {"value": 7}, id="record"),
    ],
)
def test_number_out_of_range_names_field_value_and_range(path, value_of, tmp_path, capsys):
    """Each number refuses what is out of range or no number, in one line and with status 2."""
    data, own_path = place(path, value_of(FIELDS[path]))

    error = refusal(data)
    assert error.field == own_path
    assert error.expected == FIELDS[path].expected
    assert str(error).startswith(f"{own_path} is ")

    file = tmp_path / "scenario.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    assert main(["rate", str(file)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert f"{own_path} is " in printed.err
    assert FIELDS[path].expected in printed.err


def below(quantity):
    """Return the nearest number below a range."""
    return int(quantity.low) - 1 if quantity.whole else math.nextafter(quantity.low, -math.inf)


def above(quantity):
    """Return the nearest number above a range."""
    return int(quantity.high) + 1 if quantity.whole else math.nextafter(quantity.high, math.inf)


@pytest.mark.parametrize("path", WHOLE)
def test_whole_numbers_have_no_fraction(path):
    """Half a core, card or session is refused."""
    data, own_path = place(path, FIELDS[path].low + 0.5)

    error = refusal(data)
    assert error.field == own_path
    assert "a whole number" in error.expected


@pytest.mark.parametrize("path", NUMBERS)
def test_each_number_has_a_unit_a_meaning_and_an_origin(path):
    """Each number says its unit, what it means and where its default comes from."""
    quantity = FIELDS[path]

    assert quantity.unit
    assert quantity.meaning.endswith(".")
    assert quantity.provenance
    assert quantity.value is None or quantity.low <= quantity.value <= quantity.high


def test_every_number_of_a_scenario_has_its_range():
    """No number of the default scenario stands without a stated range."""
    data = to_data(default())
    found = {path for part in ("host", "accelerator", "targets") for path in _under(part, data)}
    found |= {"sessions", "reference_clock_ghz", "day.present_pct", "day.logon_core_s"}
    for part in ("activities", "roles"):
        found |= {
            f"{part}.{name}" for name, value in data[part][0].items() if not isinstance(value, str)
        }

    assert found == set(FIELDS)


def _under(part, data):
    return [f"{part}.{name}" for name in data[part]]


# -------------------------------------------------------------------------- everything besides


def edited(path, value):
    """Return the default's data with the value at a path of names and indices replaced."""
    data = to_data(default())
    place_ = data
    for step in path[:-1]:
        place_ = place_[step]
    place_[path[-1]] = value
    return data


WRONG = [
    # path, value, the field named, part of what is expected
    (["sessions"], 100_001, "sessions", "from 1 to 100000 sessions"),
    (["host", "cores"], 4_097, "host.cores", "from 1 to 4096 cores"),
    (["seats"], 5, "seats", "unknown"),
    (["host", "corse"], 32, "host.corse", "unknown"),
    (["activities", 2, "soft"], 1, "activities[2].soft", "unknown"),
    (["roles", 0, "activity_pct", "diving"], 0, "roles[0].activity_pct", "one of the activities"),
    (["version"], 2, "version", "1, the version"),
    (["version"], "1", "version", "1, the version"),
    (["name"], "", "name", "at least 1 character"),
    (["name"], " pier", "name", "without blanks"),
    (["name"], "two\nlines", "name", "printable"),
    (["name"], "x" * 81, "name", "at most 80 characters"),
    (["name"], 7, "name", "text"),
    (["host"], 7, "host", "named fields"),
    (["host"], None, "host", "named fields"),
    (["activities"], [], "activities", "at least 1 in the list"),
    (["activities"], "all", "activities", "a list"),
    (["activities", 1, "name"], "idle", "activities[1].name", "no other one has"),
    (["activities", 1, "spans"], "two", "activities[1].spans", "'one' or 'all'"),
    (["roles"], [], "roles", "at least 1 in the list"),
    (["roles", 1, "name"], "berth planner", "roles[1].name", "no other one has"),
    (["roles", 0, "weight_pct"], 36, "roles.weight_pct", "add up to 100 %"),
    (["roles", 0, "activity_pct", "idle"], 13, "roles[0].activity_pct", "add up to 100 %"),
    (["roles", 0, "activity_pct"], {}, "roles[0].activity_pct", "add up to 100 %"),
    (["roles", 0, "activity_pct"], [1], "roles[0].activity_pct", "from 0 to 100 %"),
    (["roles", 0, "display"], "1920 x 1080", "roles[0].display", '"1920x1080"'),
    (["roles", 0, "display"], "99x1080", "roles[0].display", "from 100 to 9999"),
    (["roles", 0, "display"], "10000x1080", "roles[0].display", "from 100 to 9999"),
    (["day", "start"], "7:00", "day.start", '"07:30"'),
    (["day", "start"], "19:00", "day.end", "after the start"),
    (["day", "end"], "24:01", "day.end", '"07:30"'),
    (["day", "present_pct"], [["07:00", 5]], "day.present_pct", "at least 2 in the list"),
    (["day", "present_pct", 2], ["08:00", 5], "day.present_pct[2]", "after the one before"),
    (["day", "present_pct", 2], ["late", 5], "day.present_pct[2]", '"07:30"'),
]


@pytest.mark.parametrize(
    ("path", "value", "field", "expected"),
    WRONG,
    ids=[f"{field}-{str(value)[:12]}" for _, value, field, _ in WRONG],
)
def test_wrong_part_is_named(path, value, field, expected):
    """What is no number is refused by field too: names, totals, times, lists and records."""
    error = refusal(edited(path, value))

    assert error.field == field
    assert expected in str(error)


@pytest.mark.parametrize("part", ["activities", "roles"])
def test_51_activities_or_roles_are_refused(part):
    """More than 50 activities or roles are refused, 50 are not."""
    data = to_data(default())
    more = [copy.deepcopy(data[part][0]) for _ in range(51 - len(data[part]))]
    for index, each in enumerate(more):
        each["name"] = f"number {index}"
        if part == "roles":
            each["weight_pct"] = 0
    data[part] = data[part] + more

    error = refusal(data)
    assert error.field == part
    assert "at most 50 entries" in str(error)
    data[part].pop()
    assert len(getattr(from_data(data), part)) == 50


def test_absurd_lists_are_refused_without_being_shown():
    """A list of 100,000 activities is refused in one short line."""
    data = to_data(default())
    data["activities"] = data["activities"][:1] * 100_000

    assert "100000 entries" in str(refusal(data))


@pytest.mark.parametrize("total", [99.99, 100.0, 100.01])
def test_totals_may_be_off_by_rounding(total):
    """Shares written with two decimals may miss 100 % by a hundredth."""
    data = edited(["roles", 0, "weight_pct"], 35 + total - 100)

    assert isinstance(from_data(data), Scenario)


@pytest.mark.parametrize("data", [None, 7, "scenario", [], [1]])
def test_what_is_no_record_is_refused(data):
    """A scenario is a record with named fields."""
    assert "named fields" in str(refusal(data))


@pytest.mark.parametrize("part", ["name", "activities", "roles", "day"])
def test_missing_part_is_named(part):
    """What has no default has to be given."""
    data = to_data(default())
    del data[part]

    error = refusal(data)
    assert error.field == part
    assert "missing" in str(error)


def test_left_out_numbers_take_their_stated_default():
    """A host, card and targets left out are those that the stated defaults describe."""
    data = to_data(default())
    for part in ("host", "accelerator", "targets"):
        del data[part]
    scenario = to_data(from_data(data))

    for path, quantity in FIELDS.items():
        part, _, name = path.partition(".")
        if part in ("host", "accelerator", "targets"):
            assert scenario[part][name] == quantity.value


# --------------------------------------------------------------------- reading, writing, keeping


def test_default_is_an_example_of_the_form():
    """The default comes back from its own text, from a file and from the data."""
    assert load(dump(default())) == default()
    assert from_data(to_data(default())) == default()
    assert default() == from_data(defaults.harbour())


def test_scenario_comes_back_from_a_file(tmp_path):
    """A file, one with a byte order mark included, opens as the scenario that was written."""
    file = tmp_path / "scenario.json"
    for encoding in ("utf-8", "utf-8-sig"):
        file.write_text(dump(default()), encoding=encoding)
        assert load(file) == default()
        assert load(str(file)) == default()


@settings(max_examples=50)
@given(scenarios())
def test_any_scenario_comes_back_from_its_text(scenario):
    """Writing and reading changes no digit."""
    assert load(dump(scenario)) == scenario


@pytest.mark.parametrize("text", ["{", '{"version": 1,}', "{" * 100_000, '{"a": ' + "[" * 100_000])
def test_text_that_is_no_json_is_refused(text):
    """Broken or bottomless JSON is refused in one line."""
    with pytest.raises(InputError) as refused:
        load(text)
    assert str(refused.value).isprintable()


def test_file_that_cannot_be_read_is_refused(tmp_path):
    """A missing file, a folder and a file that is no text are refused by name."""
    picture = tmp_path / "picture.json"
    picture.write_bytes(b"\x89PNG\xff")
    for path in (tmp_path / "missing.json", tmp_path, picture):
        with pytest.raises(InputError, match="a JSON file that can be read"):
            load(path)


def test_scenario_cannot_be_changed():
    """A scenario stays what was checked, its roles' habits included."""
    scenario = default()
    with pytest.raises(ValueError, match="frozen"):
        scenario.sessions = 5
    with pytest.raises(TypeError):
        scenario.roles[0].activity_pct["idle"] = 50
    with pytest.raises(TypeError):
        scenario.roles[0].activity_pct |= {"idle": 50}
    assert scenario == default()


def test_scenario_travels_to_another_process():
    """A scenario comes out of a pickle as it went in."""
    assert pickle.loads(pickle.dumps(default())) == default()


def test_day_knows_its_seconds():
    """Times of day are seconds after midnight, the presence curve seconds after the start."""
    day = from_data(edited(["day", "present_pct"], [["07:00", 5], ["07:30", 60]])).day

    # Derived: 7 h after midnight; 12 h from 07:00 to 19:00; half an hour; 60 of 100.
    assert day.start_s == 25_200
    assert day.length_s == 43_200
    assert day.present_points == [(0, 0.05), (1800, 0.6)]


def test_midnight_ends_a_day():
    """A day may last until 24:00."""
    # Derived: 17 h from 07:00 to midnight.
    assert from_data(edited(["day", "end"], "24:00")).day.length_s == 61_200


def test_shipped_file_is_what_the_command_writes(capsys):
    """The example in demo_data holds every number of the scenario that opens by default."""
    assert main(["default"]) == 0

    assert capsys.readouterr().out == SHIPPED.read_text("utf-8")

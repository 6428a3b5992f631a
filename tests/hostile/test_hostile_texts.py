"""Are links, scenario files and pasted tables either read or refused, whatever they hold?

A refusal is an InputError in one printable line that names a field; anything else is a defect.
"""

import json
import random

import pytest

from app import url_state
from app.pages.host import opened_at
from app.refusals import refusal
from model import fleet_inputs, fleet_url, scenario
from model.errors import InputError
from model.evidence.log_text import Upload
from model.fleet_table import read_table
from model.scenario import default, dump, from_data, to_data
from model.scenario_url import to_query
from tests.hostile.hostile_inputs import HOSTILE_TEXTS, damaged, damaged_text, mutated
from tests.hostile.limits import bounded_memory, each_within_limits

LINKS = 3_000
SCENARIOS = 1_500
TABLES = 1_500
FLEETS = 700


def changed_example() -> scenario.Scenario:
    """The example with several inputs changed, so that its link has parts of every kind."""
    data = to_data(default()) | {"name": "Pier 7 & quay, 50 %", "sessions": 140}
    data["host"]["cores"] = 48
    data["activities"][2]["software_ms_per_frame"] = 17.5
    data["roles"][0]["name"] = "planner"
    data["day"]["present_pct"] = [["07:00", 5], ["09:00", 90], ["19:00", 5]]
    return from_data(data)


def tells_in_one_line(error: InputError) -> None:
    """Check that a refusal can be shown to a visitor."""
    told = str(error)
    assert told.isprintable(), told
    assert len(told) < 2_000, len(told)
    assert error.field
    assert refusal(error).strip()


def test_links_are_opened_or_refused():
    """Thousands of damaged links: each opens whole, or is refused with a reason."""
    rng = random.Random(20_261_125)
    fleet = fleet_url.to_text(fleet_inputs.example(), changed_example())
    good = [
        "v=1", to_query(changed_example()),
        str(url_state.to_address(changed_example(), "n=90&v=1", "host_lost~6", fleet)),
    ]  # fmt: skip
    opened = 0
    with bounded_memory():
        for case in range(LINKS):
            link = damaged_text(rng.choice(good), rng) if case % 5 else rng.choice(HOSTILE_TEXTS)
            with each_within_limits(link):
                try:
                    state = url_state.from_address(link)
                except InputError as error:
                    tells_in_one_line(error)
                    assert opened_at(link)[1].startswith("The link could not be opened")
                else:
                    assert dump(from_data(to_data(state.scenario))) == dump(state.scenario)
                    opened += 1
    assert 0 < opened < LINKS / 2  # both happen, or the cases would show nothing


def test_scenario_files_are_read_or_refused():
    """Thousands of damaged scenario files: each is a scenario, or is refused with a reason."""
    rng = random.Random(11)
    data, text = to_data(changed_example()), dump(changed_example())
    read = 0
    with bounded_memory():
        for case in range(SCENARIOS):
            given = damaged_text(text, rng) if case % 3 == 0 else json.dumps(mutated(data, rng))
            with each_within_limits(given):
                try:
                    scenario.load("{" + given if not given.startswith("{") else given)
                    read += 1
                except InputError as error:
                    tells_in_one_line(error)
    assert 0 < read < SCENARIOS / 2


@pytest.mark.parametrize("text", [t for t in HOSTILE_TEXTS if t.strip()])
def test_hostile_names_are_kept_as_text_or_refused(text):
    """A name with markup, marks of direction, null bytes or 10,000 letters is text or refused."""
    data = to_data(default()) | {"name": text}
    before = data["activities"][0]["name"]
    data["activities"][0]["name"] = text
    for role in data["roles"]:
        if before in role["activity_pct"]:
            role["activity_pct"][text] = role["activity_pct"].pop(before)
    try:
        found = from_data(data)
    except InputError as error:
        tells_in_one_line(error)
        return
    assert found.name == text.strip() or found.name == text
    assert len(found.name) <= 200
    assert found.name.isprintable()


def test_pasted_tables_are_read_or_refused():
    """Thousands of damaged tables: each gives sites, or is refused with a reason."""
    rng = random.Random(5)
    roles = [role.name for role in default().roles]
    table = "site\t" + "\t".join(roles) + "\n" + "\n".join(
        f"Quay {i}\t" + "\t".join(str(10 * i + k) for k in range(len(roles))) for i in range(1, 6)
    )  # fmt: skip
    read = 0
    with bounded_memory():
        for case in range(TABLES):
            with each_within_limits(case):
                try:
                    if case % 3:
                        read_table(damaged_text(table, rng), roles)
                    else:
                        read_table(Upload("sites.csv", damaged(table.encode(), rng)), roles)
                    read += 1
                except InputError as error:
                    tells_in_one_line(error)
    assert 0 < read < TABLES


def test_fleets_are_read_or_refused():
    """Hundreds of damaged fleets: each is a fleet, or is refused with a reason."""
    rng = random.Random(8)
    data = fleet_inputs.to_data(fleet_inputs.example())
    read = 0
    for _ in range(FLEETS):
        given = mutated(data, rng)
        with each_within_limits(given):
            try:
                fleet_inputs.from_data(given)
                read += 1
            except InputError as error:
                tells_in_one_line(error)
    assert 0 < read < FLEETS / 2

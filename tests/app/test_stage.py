"""Does the speaker's line under a chart say what the model found, in few words?"""

import pytest

from app import ids
from app.answers import bounds_of, curve_answer, next_answer
from app.stage import spoken_of_curves, spoken_of_day, spoken_of_range
from app.theme import LIGHT_STAGE
from model.assess import assess, one_desktop
from model.day import simulate_day_both
from model.scenario import default, from_data, to_data


def lines(**accelerator):
    """The lines for the example with another accelerator."""
    data = to_data(default())
    data["accelerator"] |= accelerator
    scenario = from_data(data)
    alone = one_desktop(scenario, scenario.roles[0])
    return spoken_of_curves(assess(scenario), alone), assess(scenario), alone


def test_lines_hold_the_values_of_the_model():
    """Headroom, frames and the dearest activity are those of the model."""
    spoken, found, alone = lines()
    now = found.now
    dearest = max(alone, key=lambda row: row.encode_pct["software"])
    assert spoken["headroom"] == (
        f"Headroom at 110 sessions: {now['offloaded']['headroom_pct']:.0f} % with the card, "
        f"{now['software']['headroom_pct']:.0f} % without."
    )
    assert f"{now['software']['frames_busy_pct']:.0f} % without" in spoken["contention"]
    assert spoken["desktop"].startswith(dearest.activity.capitalize())
    assert f"{dearest.encode_pct['software']:.0f} % of the vCPUs" in spoken["desktop"]
    assert all(len(line) < 90 for line in spoken.values())


def test_host_without_a_card_is_not_said_to_have_one():
    """Without a card no line speaks of one."""
    spoken, _, _ = lines(cards=0)
    days = simulate_day_both(default(), 1, 1)
    said = [*spoken.values(), spoken_of_day(days, card=False)]
    assert not any("card" in line for line in said)


def test_line_of_the_day_says_which_way_the_crest_goes():
    """The card cuts the crest of the example; with the arms turned about it raises it."""
    days = simulate_day_both(default(), 1, 1)
    cut = spoken_of_day(days, card=True)
    assert cut.startswith("The card cuts the crest of the day from ")
    assert f"to {days['offloaded'].crest_pct:.0f} % of the CPU." in cut
    turned = {"software": days["offloaded"], "offloaded": days["software"]}
    assert "raises" in spoken_of_day(turned, card=True)
    alike = {"software": days["software"], "offloaded": days["software"]}
    assert spoken_of_day(alike, card=True).endswith("with the card or without.")


@pytest.mark.parametrize("share", [0, 50])
def test_lines_exist_whatever_the_share(share):
    """Each chart has a line of its own at any accelerator share."""
    spoken, _, _ = lines(share_pct=share)
    assert set(spoken) == {*ids.CHARTS} - {"day"}
    assert all(line.endswith(".") for line in spoken.values())


def measured(**accelerator):
    """The example with a cost that was measured, and another accelerator."""
    data = to_data(default())
    data["accelerator"] |= accelerator
    data["measured"] = [
        {
            "path": "activities[full-screen video].software_ms_per_frame", "value": 38.0,
            "low": 30.0, "high": 50.0, "source": "trial.csv",
        }
    ]  # fmt: skip
    return from_data(data)


def test_line_under_measured_headroom_has_its_range():
    """With measured costs the line gives the headroom at both of their ends, in few words."""
    scenario = measured()
    cheap, dear = bounds_of(scenario)
    ends = [each.now["software"]["headroom_pct"] for each in (dear, cheap)]
    assert ends[0] < ends[1]
    line = spoken_of_range(assess(scenario), (cheap, dear))
    # Derived: dearer frames leave less; the cost of frames on the card was not measured, so the
    # range with it is that of the sessions that its slots leave out.
    assert f"{ends[0]:.0f} to {ends[1]:.0f} % without." in line
    assert line.startswith("Headroom at 110 sessions, as measured: ")
    assert len(line) < 90
    bare = measured(cards=0)
    assert "card" not in spoken_of_range(assess(bare), bounds_of(bare))


def test_stage_gets_the_band_in_its_own_type():
    """Once the sessions rest, the stage's headroom has the band and its name in large type."""
    moving, rested = (answer(measured(), LIGHT_STAGE) for answer in (curve_answer, next_answer))
    bands = [
        [each["name"] for each in answer["figures"]["headroom"]["data"] if each.get("fill")]
        for answer in (moving, rested)
    ]
    assert bands[0] == []
    assert bands[1][-1] == "range of the measured costs, without card"
    layout = rested["figures"]["headroom"]["layout"]
    assert layout["font"]["size"] == LIGHT_STAGE.font_px
    assert any("range of the measured costs" in each["text"] for each in layout["annotations"])
    assert "as measured" in rested["spoken"]["headroom"]
    assert "headroom" not in next_answer(default(), LIGHT_STAGE)["spoken"]

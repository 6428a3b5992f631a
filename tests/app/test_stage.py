"""Does the speaker's line under a chart say what the model found, in few words?"""

import pytest

from app.stage import spoken_of_curves, spoken_of_day
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
    assert set(spoken) == {"headroom", "contention", "desktop"}
    assert all(line.endswith(".") for line in spoken.values())

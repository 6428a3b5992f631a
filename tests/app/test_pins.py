"""Is what is pinned told and drawn rightly?"""

import pytest

from app import words
from app.answers import curve_answer, day_answer
from app.theme import LIGHT
from model.assess import assess
from model.scenario import default


def with_cores(cores):
    """The example on a host of so many cores."""
    scenario = default()
    return scenario.model_copy(update={"host": scenario.host.model_copy(update={"cores": cores})})


def test_pin_is_described_by_what_differs():
    """The pin is told by the inputs in which it differs, with both values and their unit."""
    told = words.pin_sentence(default(), with_cores(40))
    assert told == "Pinned: CPU cores 32 (now 40)."
    assert "same as shown" in words.pin_sentence(default(), default())


def test_many_differences_are_counted():
    """More differences than can be read are counted, not listed."""
    changed = default().model_copy(
        update={
            "targets": default().targets.model_copy(
                update={"max_cpu_p95_pct": 70, "max_wait_pct": 3, "min_frames_pct": 95}
            ),
            "host": default().host.model_copy(update={"cores": 40, "clock_ghz": 2.5}),
            "sessions": 90,
        }
    )
    assert len(words.differences(default(), changed)) == 6
    assert words.pin_sentence(default(), changed).endswith("; and 2 more.")


def test_difference_is_that_of_the_rated_loads():
    """The sentence gives both arms' difference in rated load, with its sign."""
    before, now = assess(default()), assess(with_cores(40))
    without = now.rated["software"].rated_load - before.rated["software"].rated_load
    assert without > 0  # common practice, no source: more cores carry more desktops
    sentence = words.change_sentence(before, now)
    assert f"{without:+d} sessions without" in sentence
    assert "with the card" in sentence


def test_difference_to_a_host_that_lost_its_card():
    """Where the card is gone, the sentence compares with the pinned load with the card."""
    bare = default().model_copy(
        update={"accelerator": default().accelerator.model_copy(update={"cards": 0})}
    )
    before, now = assess(default()), assess(bare)
    lost = now.rated["software"].rated_load - before.rated["offloaded"].rated_load
    assert lost < 0
    assert words.change_sentence(before, now).endswith(f"{lost:+d} sessions without any card")


@pytest.mark.parametrize("chart", ["headroom", "contention", "desktop"])
def test_pin_is_a_ghost_on_every_chart(chart):
    """A pinned result adds thin traces named "pinned" to what is drawn without it."""
    bare = curve_answer(default(), LIGHT)["figures"][chart]["data"]
    both = curve_answer(default(), LIGHT, with_cores(48))["figures"][chart]["data"]
    ghosts = [trace for trace in both if trace.get("name", "").startswith("pinned")]
    assert len(ghosts) >= 2
    assert len(both) == len(bare) + len(ghosts)


def test_pin_is_a_ghost_on_the_day():
    """The day shows the pinned p95 of each arm and tells the change of the crest."""
    answer = day_answer(default(), LIGHT, with_cores(48))
    ghosts = [t for t in answer["figures"]["day"]["data"] if t.get("name") == "pinned"]
    assert len(ghosts) == 2
    # Derived: 48 cores against 32 make the same work half as much of the CPU again or more.
    assert "crest +" in answer["texts"]["pin-crest"]


def test_ghost_is_the_pinned_curve():
    """The ghost passes through the pinned result's own values."""
    pinned = with_cores(48)
    drawn = curve_answer(default(), LIGHT, pinned)["figures"]["headroom"]["data"]
    ghost = next(t for t in drawn if t.get("name") == "pinned, without card")
    curve = assess(pinned).curves["software"]
    for sessions, headroom in zip(ghost["x"], ghost["y"], strict=True):
        assert headroom == pytest.approx(curve.at(sessions)["headroom_pct"], abs=0.051)

"""Do sessions ask for what their roles and activities say, and do the defaults fit the trade?"""

import math

import pytest

from model.errors import InputError
from model.hosts import kinds
from model.scenario import default, from_data, to_data
from model.sessions import REFERENCE_PIXELS, Activity, Role, pixels

VIDEO = Activity.model_validate(
    {
        "name": "video",
        "app_burst_ms": 8,
        "app_bursts_per_s": 24,
        "frame_rate_hz": 24,
        "changed_pixels_pct": 50,
        "software_ms_per_frame": 40,
        "offloaded_ms_per_frame": 3,
    }
)
EVERYWHERE = VIDEO.model_copy(update={"spans": "all"})
STILL = VIDEO.model_copy(update={"frame_rate_hz": 0.0})


def role(**changes):
    """Return a role with three displays of the reference size and some values replaced."""
    plain = {"name": "r", "weight_pct": 100, "displays": 3, "activity_pct": {"video": 100}}
    return Role.model_validate(plain | changes)


# ----------------------------------------------------------------------------------- displays


def test_pixels_of_a_display():
    """A display's pixels are its width times its height."""
    # Derived: 1920 * 1080 and 3840 * 2160 by hand.
    assert pixels("1920x1080") == REFERENCE_PIXELS == 2_073_600
    assert pixels("3840x2160") == 8_294_400
    assert pixels("100x9999") == 999_900


@pytest.mark.parametrize(
    "display", ["", "1920", "1920x", "x1080", "1920X1080", "1920x1080x2", "0x1080", "99x100",
                "10000x100", "01920x1080", "1920x1080 ", "-1920x1080", "1920.0x1080", "١٩٢٠x1080"]
)  # fmt: skip
def test_display_that_is_none_is_refused(display):
    """A display is two whole numbers from 100 to 9999 joined by x."""
    with pytest.raises(InputError, match=r"display is .* from 100 to 9999"):
        pixels(display)


# ---------------------------------------------------------------------------- motion and cost


def test_displays_in_motion():
    """An activity moves one display or all of the role's, and none where nothing is encoded."""
    assert role().displays_in_motion(VIDEO) == 1
    assert role().displays_in_motion(EVERYWHERE) == 3
    assert role().displays_in_motion(STILL) == 0


@pytest.mark.parametrize(
    ("activity", "display", "on_card", "core_ms"),
    [
        # Derived: 40 in software and 3 on the card for each display of 1920x1080.
        (VIDEO, "1920x1080", 0, 40),
        (VIDEO, "1920x1080", 1, 3),
        (VIDEO, "1920x1080", 3, 3),  # beyond those in motion nothing is counted
        (EVERYWHERE, "1920x1080", 0, 120),
        (EVERYWHERE, "1920x1080", 1, 83),
        (EVERYWHERE, "1920x1080", 2, 46),
        (EVERYWHERE, "1920x1080", 3, 9),
        (VIDEO, "3840x2160", 0, 160),  # four times the pixels
        (VIDEO, "960x540", 1, 0.75),
        (STILL, "1920x1080", 0, 0),
    ],
)
def test_encode_cost_counts_displays_and_pixels(activity, display, on_card, core_ms):
    """Encoding one frame costs what its displays cost, in proportion to their pixels."""
    cost = role(display=display).encode_ms_per_frame(activity, on_card)

    assert cost == pytest.approx(core_ms, rel=1e-14)


def test_pixel_rate_is_of_one_display():
    """Changed pixels per second are pixels times changed share times frame rate."""
    # Derived: 2.0736 Mpixel * 0.5 * 24 per second; still pictures change nothing.
    assert role().pixel_rate_mpx_s(EVERYWHERE) == pytest.approx(24.8832, rel=1e-14)
    assert role().pixel_rate_mpx_s(STILL) == 0


def test_application_work():
    """Application work is work of a burst times bursts per second."""
    # Derived: 8 ms 24 times a second.
    assert VIDEO.app_cores == pytest.approx(0.192, rel=1e-14)


def one_role(vcpus):
    """Return a scenario of one role that always watches the video, on cores like the reference."""
    data = to_data(default())
    data["activities"] = [VIDEO.model_dump(mode="json")]
    data["roles"] = [role(vcpus=vcpus).model_dump(mode="json")]
    data["host"] |= {"clock_ghz": data["reference_clock_ghz"], "reserve_pct": 0}
    return from_data(data)


def test_one_vcpu_runs_everything_on_one_thread():
    """With one vCPU, application and encoding are one source and share one core at most."""
    both = kinds(one_role(vcpus=2))
    single = kinds(one_role(vcpus=1))

    # Derived: 0.192 cores of application, 24 * 40 ms = 0.96 cores of encoding.
    assert both.demand[0] == pytest.approx(0.192 + 0.96)
    assert both.sources[0].sum() == 2
    assert single.demand[0] == pytest.approx(1)
    assert single.sources[0].sum() == 1
    # On the card 24 * 3 ms are left, and one thread is enough for both.
    assert both.demand[1] == pytest.approx(0.192 + 0.072)
    assert single.demand[1] == pytest.approx(0.192 + 0.072)


# -------------------------------------------------------------- the default and what is known

# Common practice, no source: per cent of a desktop's two vCPUs that encoding one display takes
# on the reference core. Full-screen video and fast scrolling fill about one of the two.
SOFTWARE_PCT_OF_TWO_VCPUS = [
    ("full-screen video", 45, 55),
    ("scrolling documents", 45, 55),
    ("moving windows", 40, 48),
    ("media player", 26, 30),
]


def encoding_pct(name, cost):
    """Return encoding of one 1920x1080 display, in per cent of two reference cores."""
    activity = next(each for each in default().activities if each.name == name)
    return getattr(activity, cost) * activity.frame_rate_hz / 1000 / 2 * 100


@pytest.mark.parametrize(("name", "low", "high"), SOFTWARE_PCT_OF_TWO_VCPUS)
def test_default_costs_fit_what_is_seen_without_a_card(name, low, high):
    """Encoding in software takes the share of two vCPUs that practice knows."""
    assert low <= encoding_pct(name, "software_ms_per_frame") <= high


@pytest.mark.parametrize("name", [name for name, _, _ in SOFTWARE_PCT_OF_TWO_VCPUS])
def test_default_costs_fit_what_is_seen_with_a_card(name):
    """With the card, 2 to 8 % of two vCPUs are left."""
    # Common practice, no source.
    assert 2 <= encoding_pct(name, "offloaded_ms_per_frame") <= 8


def test_default_video_runs_at_24_to_25_frames():
    """Videos of the default want 24 or 25 frames a second."""
    # Common practice, no source.
    for activity in default().activities:
        if activity.name in ("full-screen video", "media player", "video call"):
            assert 24 <= activity.frame_rate_hz <= 25


def test_default_card_takes_100_displays():
    """The default's card has 100 display slots."""
    # Common practice, no source.
    assert default().accelerator.displays_per_card == 100


def test_card_never_makes_a_default_frame_dearer():
    """Every default activity costs less with the card, or nothing both ways."""
    for activity in default().activities:
        software, offloaded = activity.software_ms_per_frame, activity.offloaded_ms_per_frame
        assert offloaded < software or software == offloaded == 0


def test_default_desktop_alone_is_never_late():
    """On an empty reference core, each default activity encodes a frame within its period."""
    for activity in default().activities:
        if activity.frame_rate_hz:
            frame_s = activity.software_ms_per_frame / 1000
            assert frame_s < 1 / activity.frame_rate_hz
        assert math.isfinite(activity.app_cores)
        assert activity.app_cores < 1

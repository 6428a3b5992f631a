"""Are sizes and rates of pictures those of the standards?

The numbers stand in tests/references/video_values.json with their sources; the README beside it
explains the fields.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from model.scenario import default
from model.sessions import Activity, Role, pixels
from tests.checked import Recorder

REFERENCES = Path(__file__).parent.parent / "references"
VALUES: dict[str, Any] = json.loads((REFERENCES / "video_values.json").read_text("utf-8"))
GBIT = 1e9
BITS_PER_PIXEL = 24


def moving(size: str, frame_rate_hz: float, changed_pct: float = 100) -> float:
    """Return Crestline's pixel rate of one display of that size, changing in full. [Mpixel/s]"""
    scenario = default()
    role = Role.model_validate({**scenario.roles[0].model_dump(), "display": size})
    activity = Activity.model_validate(
        {
            **scenario.activities[0].model_dump(),
            "frame_rate_hz": frame_rate_hz,
            "changed_pixels_pct": changed_pct,
        }
    )
    return role.pixel_rate_mpx_s(activity)


@pytest.mark.parametrize(("size", "frames", "expected"), VALUES["pixel_rates"]["rows"])
def test_pixel_rate_is_size_times_frames(size: str, frames: int, expected: float) -> None:
    """A display that changes in full makes width times height times frames pixels a second."""
    # Derived: by hand.
    assert moving(size, frames) == pytest.approx(expected, abs=1e-9)
    assert pixels(size) * frames / 1e6 == pytest.approx(expected, abs=1e-9)
    assert moving(size, frames, changed_pct=25) == pytest.approx(expected / 4, abs=1e-9)


def test_raw_picture_of_full_hd_takes_three_gigabits() -> None:
    """1920x1080 at 60 frames and 24 bits per pixel is 2.985984 Gbit/s."""
    # Derived: by hand.
    raw = moving("1920x1080", 60) * 1e6 * BITS_PER_PIXEL / GBIT
    assert raw == pytest.approx(2.985984, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "clock_khz", "per_line", "lines", "refresh_hz"),
    VALUES["timings"]["rows"],
    ids=[row[0] for row in VALUES["timings"]["rows"]],
)
def test_display_timings_carry_the_picture(
    name: str, clock_khz: int, per_line: int, lines: int, refresh_hz: float, checked: Recorder
) -> None:
    """A cable's pixel clock is the picture's pixel rate and its blanking, at the known refresh."""
    # Published, second-hand: display timings; refresh is clock over all pixels of a frame.
    refresh = clock_khz * 1000 / (per_line * lines)
    assert refresh == pytest.approx(refresh_hz, abs=VALUES["timings"]["tolerance"]["abs"])
    checked(
        "Pictures and pixels", f"pixels per second of {name}, blanking taken off the cable's clock",
        VALUES["timings"]["source"], clock_khz / 1000 * pixels(name.split("@")[0]) / per_line
        / lines, moving(name.split("@")[0], refresh_hz), kind=VALUES["timings"]["kind"], rel=2e-5,
    )  # fmt: skip
    size = name.split("@")[0]
    blanking = 1 - pixels(size) / (per_line * lines)
    assert moving(size, refresh_hz) == pytest.approx(clock_khz / 1000 * (1 - blanking), rel=2e-5)
    assert 0 < blanking < 0.3


@pytest.mark.parametrize(("name", "gigabits"), VALUES["raw_rates"]["rows"])
def test_raw_data_rate_follows_from_the_clock(name: str, gigabits: float) -> None:
    """24 bits per tick of the pixel clock make the printed data rate, more than the picture's."""
    clock_khz = next(row[1] for row in VALUES["timings"]["rows"] if row[0].startswith(name[:12]))
    # Published, second-hand: CTA-861 data rates, printed to two decimals.
    assert clock_khz * 1000 * BITS_PER_PIXEL / GBIT == pytest.approx(gigabits, abs=0.006)
    size, rate = name.split()[0].split("@")
    assert moving(size, float(rate)) * 1e6 * BITS_PER_PIXEL / GBIT < gigabits


def test_every_reference_is_used() -> None:
    """Each row of the file belongs to a table that a test above reads."""
    tables = [table for table in VALUES.values() if isinstance(table, dict)]
    assert sorted({name for table in tables for name in table["ids"]}) == VALUES["all_ids"]
    assert all(table["source"] and table["kind"] for table in tables)

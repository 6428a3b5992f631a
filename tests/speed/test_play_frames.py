"""How many frames a second does the played day draw in a window of 1920 by 1080?

Aimed at: 60 frames a second, at least 30 on two cores without a graphics card. Prints frames a
second and the time between frames; asserts only that the head moved and frames were drawn.
"""

import itertools
import statistics

import pytest

from tests.browser.screens_play import PlayedDay

pytestmark = pytest.mark.speed

PLAYS_S = 5
WATCH = """
(ms) => new Promise((resolve) => {
  const times = [];
  const before = window.crestline.framesPlayed();
  const look = (now) => {
    times.push(now);
    if (now - times[0] < ms) requestAnimationFrame(look);
    else resolve([times, window.crestline.framesPlayed() - before]);
  };
  requestAnimationFrame(look);
})
"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("speed", [60, 600])
def test_frames_a_second_while_the_day_plays(new_context, server, speed, scheme):
    """The day plays for five seconds from the morning's crest; its frames are counted."""
    window = new_context(viewport={"width": 1920, "height": 1080}, color_scheme=scheme,
                         reduced_motion="reduce")  # fmt: skip
    day = PlayedDay(window.new_page(), server.url).open()
    day.choose_speed(speed)
    day.go_to_busiest()
    day.switch_card()
    before = day.second()
    day.press("Space")
    times, drawn = day.page.evaluate(WATCH, PLAYS_S * 1000)
    day.press("Space")
    after = day.second()
    gaps = sorted(b - a for a, b in itertools.pairwise(times))
    spent_s = (times[-1] - times[0]) / 1000
    print(
        f"\n{speed}x, {scheme}: {drawn / spent_s:.1f} frames/s; between frames median "
        f"{statistics.median(gaps):.1f} ms, p95 {gaps[int(0.95 * len(gaps))]:.1f} ms, longest "
        f"{gaps[-1]:.1f} ms (60 aimed at, 30 at least)"
    )
    assert drawn > 0
    assert after > before

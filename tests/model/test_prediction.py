"""Do busy threads and work turn into each other as the host's curve says?"""

import numpy as np
import pytest

from model.errors import InputError
from model.evidence.prediction import predicted_for, work_done
from model.scenario import default, from_data, to_data

SCENARIO = default()  # 32 cores of two threads, yield 0.25, turbo 1.15, reserve 6 %


def with_host(**changes):
    """The example with another host."""
    data = to_data(SCENARIO)
    return from_data(data | {"host": data["host"] | changes})


def test_work_of_busy_threads_is_known_by_hand():
    """First threads work alone and faster when few are busy; second ones add their yield."""
    found = work_done(SCENARIO, [0.0, 1.0, 32.0, 48.0, 64.0, 64.3, np.nan])

    # Derived: by hand. 0.94 is left by the reserve; one core runs at 1.15 of its clock, all 32 at
    # 1; second threads add a quarter each; nothing is added beyond the last thread.
    expected = [0, 0.94 * 1.15, 0.94 * 32, 0.94 * 36, 0.94 * 40, 0.94 * 40, np.nan]
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_counter_of_cores_does_not_show_second_threads():
    """A counter of cores that is full leaves the work open; below it is that of first threads."""
    found = work_done(SCENARIO, [16.0, 31.9, 32.0], "cores")

    assert found[:2] == pytest.approx(work_done(SCENARIO, [16.0, 31.9]))
    assert np.isnan(found[2])
    single = with_host(threads_per_core=1)
    # Derived: without second threads a full counter shows all that there is, 94 % of 32 cores.
    assert work_done(single, [32.0], "cores") == pytest.approx([0.94 * 32])


@pytest.mark.parametrize("sessions", [40, 80])
def test_predicted_threads_do_the_work_that_is_asked_for(sessions):
    """The predicted busy threads, turned back into work, have the mean of what people ask for."""
    law = predicted_for(SCENARIO, np.full(10, sessions))
    work = work_done(SCENARIO, law.values_cores)
    share = np.diff(law.cumulative, prepend=0.0)
    asked = 0.0
    for role in SCENARIO.roles:
        for activity in SCENARIO.activities:
            encode = role.encode_ms_per_frame(activity, 0) * activity.frame_rate_hz / 1000
            part = role.weight_pct * role.activity_pct.get(activity.name, 0) / 10_000
            asked += part * (activity.app_cores + min(encode, 0.94))  # what one core can do

    # Derived: the sum over roles and activities; a full host loses a little at 80 sessions.
    assert work @ share == pytest.approx(sessions * asked, rel=1e-3)


def test_work_refuses_what_cannot_be():
    """Another counter or a number below 0 is refused by name."""
    with pytest.raises(InputError) as raised:
        work_done(SCENARIO, [1.0], "sockets")
    assert raised.value.field == "counted"
    with pytest.raises(InputError):
        work_done(SCENARIO, [-1.0])

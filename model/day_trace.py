"""What happens in each second of one simulated day, so that it can be played?

`day_trace` draws one day, as `simulate_day_both` does, and keeps its seconds: what applications
and frames ask for on each arm, what waits, what is dropped, and who holds a display slot.
"""

from dataclasses import dataclass

import numpy as np

from model.cpu import capacity_curve
from model.day import carried_over, check_whole
from model.hosts import ARMS, Arm, check_arm
from model.people import FloatArray, IntArray, People
from model.scenario import Scenario


@dataclass(frozen=True, eq=False)
class DayTrace:
    """One simulated day, second by second; arrays have one entry for each of its L seconds.

    Parameters
    ----------
    start_s : int
        Start of the day after midnight. [s]
    capacity : float
        Work that the host does in a second. [reference-core s/s]
    slots : int
        Display slots that sessions may use: 0 without a card or with a share of 0. [slots]
    present : array of shape (L,)
        Sessions present. [sessions]
    app : array of shape (L,)
        Application work that begins, the same on both arms. [reference-core s/s]
    encode : dict of str to array of shape (L,)
        Encoding work that is left to the CPU, by arm. [reference-core s/s]
    waiting : array of shape (L,)
        Application work carried over from the second before; applications come before frames,
        so that it is the same on both arms. [reference-core s]
    slots_in_use : array of shape (L,)
        Display slots taken with the card. [slots]
    """

    start_s: int
    capacity: float
    slots: int
    present: IntArray
    app: FloatArray
    encode: dict[Arm, FloatArray]
    waiting: FloatArray
    slots_in_use: IntArray

    def demand_pct(self, arm: str) -> FloatArray:
        """Return what each second is asked for, work carried over included. [% of capacity]"""
        return self._offered(arm) * (100 / self.capacity)

    def dropped(self, arm: str) -> FloatArray:
        """Return the encoding work that finds no room. [reference-core s/s]"""
        encode = self.encode[check_arm(arm)]
        dropped: FloatArray = np.clip(self._offered(arm) - self.capacity, 0, encode)
        return dropped

    def frames_kept_pct(self, arm: str) -> FloatArray:
        """Return the encoding work that finds room. [% of that wanted] 100 where none is."""
        encode = self.encode[check_arm(arm)]
        share = np.divide(self.dropped(arm), encode, out=np.zeros_like(encode), where=encode > 0)
        kept: FloatArray = (1 - share) * 100
        return kept

    def _offered(self, arm: str) -> FloatArray:
        offered: FloatArray = self.app + self.encode[check_arm(arm)] + self.waiting
        return offered


def day_trace(scenario: Scenario, seed: int) -> DayTrace:
    """Return one simulated day of both arms, second by second.

    Parameters
    ----------
    scenario : Scenario
        The scenario; its number of sessions belongs to the host.
    seed : int, 0 or more
        Any number; the same one gives the same day. [-]

    Returns
    -------
    DayTrace
        To the last bit the day that `simulate_day_both` sums up for this seed and one replicate.
        Without a card, or with a share of 0, both arms are equal and no slot is in use.

    Raises
    ------
    InputError
        For a seed that will not do.

    Notes
    -----
    Whoever switches the card on or off during the day changes the encoding work from that
    second on, and nothing that went before: application work that waits does not depend on the
    card, and frames that found no room are gone.

    Source
    ------
    Our own composition, as for `simulate_day_both`.
    """
    check_whole("seed", seed, 0, None)
    people, length = People(scenario), scenario.day.length_s
    drawn = people.draw(np.random.default_rng(int(seed)), 1, True)
    capacity = float(
        capacity_curve(scenario.host, scenario.reference_clock_ghz, scenario.host.threads)
    )
    app = people.app_work(drawn)[:length]
    return DayTrace(
        start_s=scenario.day.start_s,
        capacity=capacity,
        slots=scenario.accelerator.slots if people.use_card else 0,
        present=drawn.present[:length].astype(np.int64),
        app=app,
        encode={arm: people.encoding_work(drawn, arm)[:length] for arm in ARMS},
        waiting=carried_over(app[None], capacity)[0, :length],
        slots_in_use=people.slots_in_use(drawn)[:length],
    )

"""How does the simulated day compare with a plain event simulation of it?

Run with `-m speed -s`: prints tables of ratios from one run, at equal standard errors. Times are
those on the CPU.
"""

import platform
from time import process_time

import numpy as np
import pytest

from model.day import simulate_day_both
from model.hosts import ARMS
from model.scenario import default, from_data, to_data
from tests.speed.plain_day import plain_day

pytestmark = pytest.mark.speed

REPLICATES = 20
SEEDS = 16  # answers of Crestline, for its standard error
PLAIN_DAYS = 20
SESSIONS = (110, 200)  # as shipped; and with a card whose slots run out


def crest_pct(days: np.ndarray) -> float:
    """Return the p99 of all seconds, the value that occurs. [% of capacity]"""
    seconds = days.ravel()
    rank = int(np.ceil(0.99 * seconds.size)) - 1
    return float(np.partition(seconds, rank)[rank])


def left_out_one(days: np.ndarray) -> float:
    """Return the standard error of the crest, by leaving out one day after the other."""
    each = [crest_pct(np.delete(days, day, axis=0)) for day in range(len(days))]
    return float(np.sqrt((len(days) - 1) * np.var(each)))


@pytest.mark.parametrize("sessions", SESSIONS)
def test_day_against_a_plain_simulation(sessions: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Crest and mean agree within their errors; prints the time that the same error takes."""
    scenario = from_data(to_data(default()) | {"sessions": sessions})
    simulate_day_both(scenario, 0, REPLICATES)
    times, answers = [], []
    for seed in range(1, SEEDS + 1):
        begun = process_time()
        answers.append(simulate_day_both(scenario, seed, REPLICATES))
        times.append(process_time() - begun)
    own_s = float(np.median(times))
    begun = process_time()
    runs = [plain_day(scenario, seed) for seed in range(PLAIN_DAYS)]
    plain_s = process_time() - begun
    days = np.array([demand for demand, _ in runs])
    events = sum(count for _, count in runs)

    lines = []
    for row, arm in enumerate(ARMS):
        mine = [answer[arm] for answer in answers]
        for name, own, plain, error in (
            ("crest", [day.crest_pct for day in mine], crest_pct(days[:, row]),
             left_out_one(days[:, row])),
            ("mean", [day.mean_pct for day in mine], float(days[:, row].mean()),
             float(days[:, row].mean(axis=1).std(ddof=1) / PLAIN_DAYS**0.5)),
        ):  # fmt: skip
            own_error = float(np.std(own, ddof=1))
            allowed = 4 * (own_error**2 / SEEDS + error**2) ** 0.5
            # Independent: tests/speed/plain_day.py.
            assert np.mean(own) == pytest.approx(plain, abs=allowed)
            equal_s = plain_s * (error / own_error) ** 2
            lines.append(
                f"| {arm} {name} | {np.mean(own):.2f} | {own_error:.3f} | {plain:.2f} | "
                f"{error:.3f} | {equal_s:.1f} | {equal_s / own_s:.0f} |"
            )
    with capsys.disabled():
        print(
            f"\n\nPython {platform.python_version()}, numpy {np.__version__}; {sessions} sessions"
        )
        print(f"Crestline: both arms, {REPLICATES} days in {own_s * 1e3:.0f} ms; plain simulation: "
              f"{PLAIN_DAYS} days in {plain_s:.1f} s, {events / plain_s / 1e3:.0f} thousand "
              f"events/s; as many days take {plain_s / PLAIN_DAYS * REPLICATES / own_s:.0f} times "
              "as long")  # fmt: skip
        print("| % of capacity | Crestline | its error | plain | its error "
              "| plain s to Crestline's error | over Crestline |")  # fmt: skip
        print("|" + "---|" * 7)
        print("\n".join(lines))

"""How were the invented measurements in this folder made?

`python -m demo_data.make_measurements` writes them again, from the shipped scenario and one seed:
a trial of one desktop with blocks of 60 s with and without the card, and a working day of a host
without one. The host's day is drawn here session by session and shares no code with the model's
own simulated day, so that holding one against the other tells something.
"""

import datetime as dt
import gzip
import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt

from model.cpu import capacity_curve
from model.scenario import Scenario, default
from model.sessions import Activity

SEED = 20_261_005
FOLDER = Path(__file__).resolve().parent / "measurements"

BLOCK_S = 60
ORDER = "0110100110010110"  # 1 is with the card; drifts fall out of the differences of neighbours
SETTLING_S = 2.5  # the reading needs so long to follow a switch
SCATTER = 0.08  # of the encoder's CPU, relative
LAG_1 = 0.6  # correlation of neighbouring seconds
DESKTOP_VCPUS = 2
APP_SCATTER = 0.25
TRIAL_START = dt.datetime(2026, 10, 5, 9, 0, tzinfo=dt.UTC)
UNMARKED_START = dt.datetime(2026, 10, 6, 9, 0, tzinfo=dt.UTC)
UNMARKED = "panning charts"
GAP_IN, GAP_AT_S, GAP_S = "video call", 500, 4
EMPTY_AT_S = (130, 131, 707)  # cells of the same log without a number

HOST_DATE = dt.datetime(2026, 10, 7, tzinfo=dt.UTC)
HOST_SESSIONS = 80  # fewer than the scenario's, since this host has no card
SESSION_SCATTER = 0.5  # of one session's CPU in one second, relative

FloatArray = npt.NDArray[np.float64]


def file_name(activity: str) -> str:
    """Return the name of an activity's log."""
    return activity.replace(" ", "_").replace("-", "_") + ".csv"


def encoding_activities(scenario: Scenario) -> list[Activity]:
    """Return the activities that have a display in motion."""
    return [activity for activity in scenario.activities if activity.frame_rate_hz > 0]


def planned_blocks() -> FloatArray:
    """Return for each second of the trial whether the card is on. [0 or 1]"""
    return np.repeat([float(state) for state in ORDER], BLOCK_S)


def uneven_blocks(rng: np.random.Generator) -> FloatArray:
    """Return the same for a log that was switched by hand, whenever somebody thought of it."""
    lengths = rng.integers(40, 90, 16)
    return np.repeat(np.arange(16) % 2, lengths).astype(float)


def desktop_log(
    activity: Activity, on: FloatArray, start: dt.datetime, rng: np.random.Generator, marked: bool
) -> str:
    """Return the log of one desktop with one display of 1920x1080 that does one thing.

    The mean cost of a frame is the scenario's; around it there is scatter that lasts for some
    seconds, the reading follows a switch with a delay, and an encoder near the end of its core
    drops frames.
    """
    seconds = len(on)
    settled = _follow(on)
    ms = activity.offloaded_ms_per_frame * settled + activity.software_ms_per_frame * (1 - settled)
    busy = ms * activity.frame_rate_hz / 1000
    delivered = 1 - 0.3 * np.clip(busy - 0.8, 0, None)
    frames = np.round(activity.frame_rate_hz * delivered * (1 + rng.normal(0, 0.01, seconds)), 1)
    encoder = np.clip(busy * delivered * (1 + SCATTER * _correlated(rng, seconds)), 0, 1)
    app = activity.app_cores * np.clip(1 + APP_SCATTER * _correlated(rng, seconds), 0.1, None)
    desktop = (encoder + app) / DESKTOP_VCPUS
    header = ["timestamp", "offload", "activity", "encoder_cpu_pct_of_one_core"]
    header += [f"desktop_cpu_pct_of_{DESKTOP_VCPUS}_vcpu", "frames_per_s"]
    lines = []
    for second in range(seconds):
        if activity.name == GAP_IN and GAP_AT_S <= second < GAP_AT_S + GAP_S:
            continue
        cells = [
            (start + dt.timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ"),
            f"{on[second]:.0f}",
            activity.name,
            f"{100 * encoder[second]:.2f}",
            f"{100 * desktop[second]:.2f}",
            f"{frames[second]:.1f}",
        ]
        if activity.name == GAP_IN and second in EMPTY_AT_S:
            cells[3] = ""
        lines.append(cells)
    rows = [header, *lines]
    if not marked:
        rows = [row[:1] + row[2:] for row in rows]
    return "".join(",".join(row) + "\n" for row in rows)


def host_day(scenario: Scenario, rng: np.random.Generator) -> str:
    """Return the log of one host without a card over its working day, second by second.

    Sessions are present while the presence curve lies above their rank; each logs on, and then
    changes from activity to activity as its role's habit says. What they ask for is work; a
    host's counter shows hardware threads that are busy, however much work each of them does. The
    first threads of all cores take the work before second ones do, and threads busy within one
    second are taken to be as many throughout it.
    """
    day, host = scenario.day, scenario.host
    clock = np.arange(day.length_s)
    points = np.array(day.present_points)
    curve = np.interp(clock, points[:, 0], points[:, 1])
    number = {activity.name: index for index, activity in enumerate(scenario.activities)}
    doing = np.zeros((len(number), day.length_s), dtype=np.int16)
    work, spread = np.zeros(day.length_s), np.zeros(day.length_s)
    weights = np.array([role.weight_pct for role in scenario.roles])
    upto = np.round(np.cumsum(weights) / weights.sum() * HOST_SESSIONS).astype(int)
    ranks = (rng.permutation(HOST_SESSIONS) + 0.5) / HOST_SESSIONS
    for role, first, last in zip(scenario.roles, [0, *upto[:-1]], upto, strict=True):
        habit = [
            activity for activity in scenario.activities if role.activity_pct.get(activity.name)
        ]
        share = np.array([role.activity_pct[activity.name] for activity in habit])
        dwell_s = np.array([activity.dwell_s for activity in habit])
        chance = share / dwell_s / (share / dwell_s).sum()
        cores = np.array(
            [
                min(activity.app_cores, 1)
                + min(role.encode_ms_per_frame(activity, 0) * activity.frame_rate_hz / 1000, 1)
                for activity in habit
            ]
        )
        index = np.array([number[activity.name] for activity in habit])
        for rank in ranks[first:last]:
            present = curve > rank
            # As many stays as a day could need, cut where the day ends.
            drawn = rng.choice(len(habit), p=chance, size=day.length_s // 8)
            ends = np.cumsum(rng.exponential(dwell_s[drawn]))
            now = drawn[np.minimum(np.searchsorted(ends, clock, side="right"), len(drawn) - 1)]
            doing[index[now[present]], clock[present]] += 1
            asked = np.where(present, cores[now], 0)
            work += asked
            spread += (SESSION_SCATTER * asked) ** 2
            for begin in clock[1:][present[1:] & ~present[:-1]]:
                work[begin : begin + round(day.logon_core_s)] += 1
    threads = np.arange(host.threads + 1)
    capacity = capacity_curve(host, scenario.reference_clock_ghz, threads)
    work = work + np.sqrt(spread) * rng.normal(size=day.length_s)
    busy = np.interp(work, capacity, threads)  # at most all of them; what is left over is lost
    columns = [f"host_cpu_pct_of_{host.threads}_threads", "sessions_present"]
    header = ["timestamp", *columns, *(f"sessions in {name}" for name in number)]
    start = HOST_DATE + dt.timedelta(seconds=day.start_s)
    lines = [",".join(header)]
    for second in range(day.length_s):
        when = (start + dt.timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")
        counts = doing[:, second].tolist()
        cpu = f"{100 * busy[second] / host.threads:.2f}"
        lines.append(",".join([when, cpu, str(sum(counts)), *map(str, counts)]))
    return "\n".join(lines) + "\n"


def _follow(on: FloatArray) -> FloatArray:
    """The state as the reading shows it, some seconds late."""
    shown, state = np.empty(len(on)), on[0]
    for second, target in enumerate(on):
        state += (target - state) * (1 - np.exp(-2 / SETTLING_S))
        shown[second] = state
    return shown


def _correlated(rng: np.random.Generator, seconds: int) -> FloatArray:
    """Noise of mean 0 and standard deviation 1 that each second inherits from the one before."""
    fresh = rng.normal(size=seconds) * np.sqrt(1 - LAG_1**2)
    noise, value = np.empty(seconds), float(rng.normal())
    for second in range(seconds):
        value = LAG_1 * value + float(fresh[second])
        noise[second] = value
    return noise


def write_all(folder: Path) -> None:
    """Write every file into a folder."""
    scenario = default()
    folder.mkdir(parents=True, exist_ok=True)
    streams = iter(np.random.default_rng(SEED).spawn(len(scenario.activities) + 2))
    start = TRIAL_START
    for activity in encoding_activities(scenario):
        text = desktop_log(activity, planned_blocks(), start, next(streams), marked=True)
        (folder / file_name(activity.name)).write_text(text, encoding="utf-8")
        start += dt.timedelta(minutes=20)
    rng = next(streams)
    charts = next(each for each in scenario.activities if each.name == UNMARKED)
    text = desktop_log(charts, uneven_blocks(rng), UNMARKED_START, rng, marked=False)
    (folder / "switched_by_hand.csv").write_text(text, encoding="utf-8")
    packed = gzip.compress(host_day(scenario, next(streams)).encode(), mtime=0)
    (folder / "host_day.csv.gz").write_bytes(packed)


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)

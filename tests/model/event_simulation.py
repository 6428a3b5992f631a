"""What do paced bursts meet on a shared CPU, burst by burst and frame by frame?

Two event simulations that share no code with the model: `simulate_station` follows single bursts
on one CPU, `simulate_host` draws moments of a scenario, hands out display slots and follows the
bursts of every session. They are slow and inexact, but they assume nothing about the law of the
number runnable.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush, heapreplace
from itertools import chain
from math import inf
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

JITTER_SHARE = 0.1  # of a period, to either side: without it sources could stay in step
BATCHES = 10  # equal parts of the time, for standard errors
_CHUNK = 20_000  # random numbers drawn at once


@dataclass(frozen=True, eq=False)
class StationRun:
    """What one simulated CPU did.

    Parameters
    ----------
    response_s : array of shape (classes,)
        Mean time from the start of a burst to its end. [s] NaN where no burst ended.
    response_error_s : array of shape (classes,)
        Standard error of it, from batches. [s]
    rate_hz : array of shape (classes,)
        Bursts ended per second and source. [1/s]
    rate_error_hz : array of shape (classes,)
        Standard error of it, from batches. [1/s]
    time_share : array of shape (all sources + 1,)
        Share of time with 0, 1, 2, ... runnable sources. [-]
    events : int
        Starts and ends of bursts followed, warm-up included. [events]
    """

    response_s: FloatArray
    response_error_s: FloatArray
    rate_hz: FloatArray
    rate_error_hz: FloatArray
    time_share: FloatArray
    events: int


def simulate_station(
    sources: Sequence[int],
    service_s: Sequence[float],
    period_s: Sequence[float],
    capacity: Sequence[float],
    seed: int,
    seconds: float,
    warm_up_s: float,
    phases: int,
) -> StationRun:
    """Follow paced bursts on one CPU under processor sharing.

    Parameters
    ----------
    sources : sequence of length classes, whole numbers
        Sources of each class. [sources]
    service_s : sequence of length classes, above 0
        Mean work of one burst. [core·s at reference speed]
    period_s : sequence of length classes, above 0
        Time from start to start if nothing is late, jittered by a tenth. [s]
    capacity : sequence of length 2 or more, entry 0 is 0
        Work per second with 0, 1, 2, ... runnable; constant after the end. [reference-core s/s]
    seed : int
        Seed of all chance. [-]
    seconds : float
        Time observed after the warm-up. [s]
    warm_up_s : float
        Time before it. [s]
    phases : int
        The work of a burst is Erlang with so many phases. [phases]

    Notes
    -----
    A virtual clock advances by what each runnable burst receives, so a burst ends at a fixed
    reading of it, whoever else comes and goes.
    """
    rng = np.random.default_rng(seed)
    works = _numbers(lambda: rng.gamma(phases, 1 / phases, _CHUNK))
    jitters = _numbers(lambda: rng.uniform(1 - JITTER_SHARE, 1 + JITTER_SHARE, _CHUNK))
    classes = [k for k, number in enumerate(sources) for _ in range(int(number))]
    service = [float(service_s[k]) for k in classes]
    period = [float(period_s[k]) for k in classes]
    number = len(classes)
    pace = [0.0] + [float(capacity[min(n, len(capacity) - 1)]) / n for n in range(1, number + 1)]

    starts = sorted((float(at) * period[i], i) for i, at in enumerate(rng.random(number)))
    running: list[tuple[float, int]] = []
    started = [0.0] * number
    response = [0.0] * number
    bursts = [0] * number
    time_at = [0.0] * (number + 1)
    now = clock = 0.0
    events = 0
    sums, counts = [], []
    for end in [warm_up_s + seconds * batch / BATCHES for batch in range(BATCHES + 1)]:
        while True:
            runnable = len(running)
            done_at = now + (running[0][0] - clock) / pace[runnable] if runnable else inf
            start_at = starts[0][0] if starts else inf
            if start_at <= done_at:
                if start_at >= end:
                    break
                time_at[runnable] += start_at - now
                clock += (start_at - now) * pace[runnable]
                now = start_at
                i = heappop(starts)[1]
                started[i] = now
                heappush(running, (clock + service[i] * next(works), i))
                events += 1
            else:
                if done_at >= end:
                    break
                time_at[runnable] += done_at - now
                now = done_at
                clock, i = running[0]
                begun = started[i]
                response[i] += now - begun
                bursts[i] += 1
                due = begun + period[i] * next(jitters)
                events += 2 if due <= now else 1
                if due <= now:
                    started[i] = now
                    heapreplace(running, (clock + service[i] * next(works), i))
                else:
                    heappop(running)
                    heappush(starts, (due, i))
        time_at[len(running)] += end - now
        clock += (end - now) * pace[len(running)]
        now = end
        if end == warm_up_s:
            time_at = [0.0] * (number + 1)
        else:
            sums.append(np.bincount(classes, response, len(sources)))
            counts.append(np.bincount(classes, bursts, len(sources)))
        response = [0.0] * number
        bursts = [0] * number

    total, ended = np.array(sums), np.array(counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total.sum(axis=0) / ended.sum(axis=0)
        strays = (total - mean * ended) / ended.mean(axis=0)
        rates = ended / (np.array(sources) * seconds / BATCHES)
    return StationRun(
        response_s=mean,
        response_error_s=strays.std(axis=0, ddof=1) / BATCHES**0.5,
        rate_hz=rates.mean(axis=0),
        rate_error_hz=rates.std(axis=0, ddof=1) / BATCHES**0.5,
        time_share=np.array(time_at) / seconds,
        events=events,
    )


def _numbers(draw: Any) -> Iterator[float]:
    return chain.from_iterable(draw().tolist() for _ in iter(int, 1))


@dataclass(frozen=True, eq=False)
class HostRun:
    """What the hosts of a scenario did at independent moments.

    Parameters
    ----------
    demand_mean_pct, demand_error_pct : float
        Mean CPU demand offered, and its standard error. [% of capacity]
    frames_pct, frames_error_pct : float
        Frames delivered of those wanted, and its standard error. [%]
    wait_pct, wait_error_pct : float
        Runnable bursts beyond the hardware threads, and its standard error. [% of vCPU time]
    slots_mean : float
        Displays on the card. [displays]
    limit_share : float
        Share of the moments at which an entitled display in motion found no room. [-]
    """

    demand_mean_pct: float
    demand_error_pct: float
    frames_pct: float
    frames_error_pct: float
    wait_pct: float
    wait_error_pct: float
    slots_mean: float
    limit_share: float


@dataclass(frozen=True, eq=False)
class _Moment:
    """Sources of one host at one moment: work and period of a burst, whether it is a frame."""

    sources: list[tuple[float, float, bool]]
    demand: float
    vcpus: int
    on_card: int
    refused: bool


def simulate_host(
    scenario_data: dict[str, Any],
    arm: str,
    sessions: int,
    hosts: int,
    seed: int,
    seconds: float,
    phases: int,
    moments: int = 10_000,
) -> HostRun:
    """Draw moments of hosts with so many sessions and follow every burst on some of them.

    Parameters
    ----------
    scenario_data : dict
        A scenario as plain JSON data, every field given.
    arm : str
        "software" or "offloaded".
    sessions : int
        Sessions on each host. [sessions]
    hosts : int
        Moments of which every burst is followed. [hosts]
    seed : int
        Seed of all chance. [-]
    seconds : float
        Time observed on each; a third of it goes before, as warm-up. [s]
    phases : int
        Evenness of the work, see `simulate_station`. [phases]
    moments : int
        Moments drawn. [moments]

    Notes
    -----
    The demand is the mean over all moments drawn. The hosts followed are every so-manyth of them
    in the order of demand, so their own demand hardly strays from it; the standard errors of
    frames and wait come from differences of neighbours in that order.
    """
    rng = np.random.default_rng(seed)
    capacity = _host_capacity(scenario_data)
    threads = len(capacity) - 1
    one_core = _one_core(scenario_data)
    drawn = _draw_moments(scenario_data, arm, sessions, moments, rng, one_core)
    drawn.sort(key=lambda moment: moment.demand)
    chosen = [drawn[int((host + 0.5) * moments / hosts)] for host in range(hosts)]
    delivered, wanted, waits = np.zeros(hosts), np.zeros(hosts), np.zeros(hosts)
    for host, moment in enumerate(chosen):
        busy = [source for source in moment.sources if source[0] > 0]
        idle_frames = sum(1 / period for work, period, is_frame in moment.sources
                          if is_frame and work == 0)  # fmt: skip
        wanted[host] = sum(1 / period for _, period, is_frame in moment.sources if is_frame)
        delivered[host] = idle_frames
        if not busy:
            continue
        work, period, frame = zip(*busy, strict=True)
        run = simulate_station(
            [1] * len(busy), work, period, capacity, seed + 1 + host, seconds, seconds / 3, phases
        )
        delivered[host] += float(run.rate_hz @ np.array(frame))
        beyond = np.maximum(np.arange(len(run.time_share)) - threads, 0)
        waits[host] = float(run.time_share @ beyond) / moment.vcpus * 100
    demand = np.array([moment.demand for moment in drawn]) / capacity[-1] * 100
    share = delivered.sum() / max(wanted.sum(), 1e-300) if wanted.any() else 1.0
    strays = (delivered - share * wanted) / max(wanted.mean(), 1e-300)
    return HostRun(
        demand_mean_pct=float(demand.mean()),
        demand_error_pct=float(demand.std(ddof=1) / moments**0.5),
        frames_pct=float(share * 100),
        frames_error_pct=_error_of_neighbours(strays * 100),
        wait_pct=float(waits.mean()),
        wait_error_pct=_error_of_neighbours(waits),
        slots_mean=float(np.mean([moment.on_card for moment in drawn])),
        limit_share=float(np.mean([moment.refused for moment in drawn])),
    )


def _error_of_neighbours(values: FloatArray) -> float:
    """Standard error of the mean of values that stand in an order that explains much of them."""
    return float(np.sqrt((np.diff(values) ** 2).mean() / 2 / len(values)))


def _one_core(scenario_data: dict[str, Any]) -> float:
    host = scenario_data["host"]
    speed = host["clock_ghz"] / scenario_data["reference_clock_ghz"] * host["relative_ipc"]
    return float(speed * (1 - host["reserve_pct"] / 100))


def _host_capacity(scenario_data: dict[str, Any]) -> list[float]:
    """Work per second with 0, 1, 2, ... runnable, up to all hardware threads."""
    host = scenario_data["host"]
    cores, threads = host["cores"], host["cores"] * host["threads_per_core"]
    rates = [0.0]
    for runnable in range(1, threads + 1):
        busy = min(runnable, cores)
        clock = 1.0
        if cores > 1:  # from turbo at one busy core to the base clock at all, along a line
            clock = 1 + (host["turbo_ratio"] - 1) * (cores - busy) / (cores - 1)
        worth = busy + host["smt_yield"] * (runnable - busy)
        rates.append(_one_core(scenario_data) * clock * worth)
    return rates


def _draw_moments(
    scenario_data: dict[str, Any],
    arm: str,
    sessions: int,
    moments: int,
    rng: np.random.Generator,
    one_core: float,
) -> list[_Moment]:
    card = scenario_data["accelerator"]
    cards = card["cards"] if arm == "offloaded" else 0
    slots, pixels_per_s = (
        cards * card["displays_per_card"],
        cards * card["megapixels_per_s_per_card"],
    )
    activities = {activity["name"]: activity for activity in scenario_data["activities"]}
    doing = []
    chances = []
    for role in scenario_data["roles"]:
        for name, pct in role["activity_pct"].items():
            doing.append((role, activities[name]))
            chances.append(role["weight_pct"] * pct / sum(role["activity_pct"].values()))
    picks = rng.choice(len(doing), (moments, sessions), p=np.array(chances) / sum(chances))
    entitled = rng.random((moments, sessions)) < card["share_pct"] / 100
    about = [_one_session(role, activity) for role, activity in doing]
    result = []
    for pick, may in zip(picks.tolist(), entitled.tolist(), strict=True):
        queue = sorted(
            (
                (-about[state]["rate"], session)
                for session, state in enumerate(pick)
                if may[session]
                for _ in range(about[state]["moving"])
            ),
        )
        slots_left, pixels_left = slots, pixels_per_s * (1 + 1e-9)
        on_card = [0] * sessions
        for minus_rate, session in queue:
            if slots_left >= 1 and pixels_left + minus_rate >= 0:
                on_card[session] += 1
                slots_left -= 1
                pixels_left += minus_rate
        sources = []
        vcpus = 0
        for session, state in enumerate(pick):
            sources += about[state]["sources"][on_card[session]]
            vcpus += about[state]["vcpus"]
        served = sum(on_card)
        demand = sum(min(work / period, one_core) for work, period, _ in sources)
        result.append(_Moment(sources, demand, vcpus, served, cards > 0 and served < len(queue)))
    return result


def _one_session(role: dict[str, Any], activity: dict[str, Any]) -> dict[str, Any]:
    """What a session of the role does in the activity, for each number of displays on a card."""
    width, height = (int(side) for side in role["display"].split("x"))
    hz = activity["frame_rate_hz"]
    moving = 0 if hz == 0 else role["displays"] if activity["spans"] == "all" else 1
    app = (activity["app_burst_ms"] / 1000, activity["app_bursts_per_s"])
    by_card = []
    for on_card in range(moving + 1):
        encode_ms = on_card * activity["offloaded_ms_per_frame"]
        encode_ms += (moving - on_card) * activity["software_ms_per_frame"]
        frame_s = encode_ms / 1000 * width * height / (1920 * 1080)
        sources = []
        if role["vcpus"] == 1 and moving:
            sources.append((frame_s + app[0] * app[1] / hz, 1 / hz, True))
        else:
            if app[0] * app[1] > 0:
                sources.append((app[0], 1 / app[1], False))
            if moving:
                sources.append((frame_s, 1 / hz, True))
        by_card.append(sources)
    return {
        "moving": moving,
        "rate": width * height * activity["changed_pixels_pct"] / 100 * hz / 1e6,
        "sources": by_card,
        "vcpus": role["vcpus"],
    }

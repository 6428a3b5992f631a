"""How do headroom, scheduler wait and delivered frames change as sessions are added to one host?

`saturation_curve` answers for one arm and any numbers of sessions. Demand is exact where the
card's limits do not bind and sampled where they do; wait and frames come from the shared CPU
(`model.paced`) at quantiles of the demand.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from model.cpu import capacity_curve
from model.defaults import MOST_SESSIONS
from model.demand import DemandLaw, demand_law, in_one_lattice
from model.errors import InputError
from model.hosts import BUSY_GROUP, Arm, Kinds, SampledHosts, check_arm, kinds, sampled_hosts
from model.laws import check_curve
from model.paced import delivered_share, pooled_stations
from model.scenario import Scenario

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class SaturationCurve:
    """What one arm does at each number of sessions; all arrays have the shape of `sessions`.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".
    sessions : array
        Numbers of sessions. [sessions]
    cpu_mean_pct, cpu_p50_pct, cpu_p95_pct, cpu_p99_pct : array
        CPU demand over moments of the working time. [% of capacity]
    headroom_pct : array
        100 less the p95. [% of capacity] Negative in overload.
    overload_probability : array
        Chance that demand exceeds capacity. [-]
    wait_mean_pct, wait_busy_pct : array
        Scheduler wait, mean and at busy moments (p95 of demand). [% of vCPU time]
    frames_mean_pct, frames_busy_pct : array
        Frames delivered of those wanted, mean and at busy moments. [%]
    stretch_mean : array
        Mean response of a piece of work over that on an empty host. [-]
    slots_mean : array
        Display slots in use. [displays]
    pixel_rate_mpx_s : array
        Changed pixels per second encoded on the card. [Mpixel/s]
    network_busy_pct : array
        Network rate at busy moments (p95). [% of the host's rate]
    memory_pct, gpu_memory_pct : array
        Memory used. [% of the host's] GPU memory is 0 where no role asks for any, and
        infinite where roles do and the host has none.
    """

    arm: Arm
    sessions: IntArray
    cpu_mean_pct: FloatArray
    cpu_p50_pct: FloatArray
    cpu_p95_pct: FloatArray
    cpu_p99_pct: FloatArray
    headroom_pct: FloatArray
    overload_probability: FloatArray
    wait_mean_pct: FloatArray
    wait_busy_pct: FloatArray
    frames_mean_pct: FloatArray
    frames_busy_pct: FloatArray
    stretch_mean: FloatArray
    slots_mean: FloatArray
    pixel_rate_mpx_s: FloatArray
    network_busy_pct: FloatArray
    memory_pct: FloatArray
    gpu_memory_pct: FloatArray

    def at(self, sessions: int) -> dict[str, float]:
        """Return all values at one of the numbers of sessions, by name."""
        index = int(np.flatnonzero(self.sessions == sessions)[0])
        return {
            field.name: getattr(self, field.name)[index].item()
            for field in fields(self)
            if field.name != "arm"
        }


def saturation_curve(scenario: Scenario, arm: str, sessions: npt.ArrayLike) -> SaturationCurve:
    """Return what one arm does at each of the numbers of sessions.

    Parameters
    ----------
    scenario : Scenario
        The scenario; its own number of sessions is not used.
    arm : str
        "software" or "offloaded".
    sessions : array of whole numbers from 1 to 100,000
        Numbers of sessions. [sessions]

    Returns
    -------
    SaturationCurve
        With no entitled session or no card, the offloaded arm equals the software arm to the
        last bit.

    Raises
    ------
    InputError
        For an unknown arm or a number out of range.

    Notes
    -----
    Demand that a card's limits leave to the CPU lies between the demand without limits and the
    demand without a card, both exact; a sampled value is held between them. More sessions
    never lower the demand or the wait, nor raise the frames delivered: where rounding in the
    sample says otherwise, the larger demand stands. More cores never raise the demand in per
    cent, and neither do more slots or a larger share as long as what a display saves on the
    CPU grows with its pixel rate and the pixel rate of the card does not bind; otherwise a
    display that saves little may take the slot of one that saves more. Between the steps of
    `model.hosts.steps_to` values are joined by straight lines, quantiles of demand by lines that
    bend as the mean and so many standard deviations of independent sessions do.

    Source
    ------
    Our own composition; see `model.paced` and `model.demand`.
    """
    checked = check_arm(arm)
    numbers = _checked_sessions(sessions)
    of = kinds(scenario)
    hosts = sampled_hosts(scenario, of, checked, int(numbers.max()))
    at_steps = _demand(scenario, of, hosts, checked)
    at_steps |= _contention(scenario, of, hosts)
    at_steps |= {
        "slots_mean": hosts.slots_used,
        "pixel_rate_mpx_s": hosts.pixels_used_mpx_s,
        "network_busy_pct": np.maximum.accumulate(hosts.network_p95_mbps)
        / (scenario.host.network_gbps * 1000)
        * 100,
    }
    rows = {
        name: np.interp(_bent(of, name, numbers), _bent(of, name, hosts.sessions), values)
        for name, values in at_steps.items()
    }
    weights = np.array([role.weight_pct for role in scenario.roles])
    weights = weights / weights.sum()
    rising = np.argsort(numbers, kind="stable")
    check_curve(
        {name: values[rising] for name, values in rows.items()},
        _mean_pct(scenario, of, checked, numbers[rising], bool(hosts.limit_binds.any())),
    )
    memory = numbers * float(weights @ [role.memory_gib for role in scenario.roles])
    gpu_memory = numbers * float(weights @ [role.gpu_memory_gib for role in scenario.roles])
    with np.errstate(divide="ignore", invalid="ignore"):
        gpu_pct = np.where(gpu_memory > 0, gpu_memory / scenario.host.gpu_memory_gib * 100, 0.0)
    return SaturationCurve(
        arm=checked,
        sessions=numbers,
        headroom_pct=100 - rows["cpu_p95_pct"],
        memory_pct=np.asarray(memory / scenario.host.memory_gib * 100, dtype=float),
        gpu_memory_pct=np.asarray(gpu_pct, dtype=float),
        **rows,
    )


def _mean_pct(
    scenario: Scenario, of: Kinds, arm: Arm, sessions: IntArray, binds: bool
) -> FloatArray | None:
    """Mean demand by the utilisation law; None where a limit of the card takes part of it."""
    if binds and arm == "offloaded":
        return None
    host = scenario.host
    capacity = float(capacity_curve(host, scenario.reference_clock_ghz, host.threads))
    share = _share(scenario, arm)
    with_card, without = of.demand[of.first + of.moving], of.demand[of.first]
    each = float(of.chance @ (share * with_card + (1 - share) * without))
    mean: FloatArray = np.asarray(sessions * each / capacity * 100, dtype=float)
    return mean


_DEVIATIONS = {"cpu_p95_pct": 1.645, "cpu_p99_pct": 2.326}  # of a normal law


def _bent(of: Kinds, name: str, sessions: IntArray) -> FloatArray:
    """Where numbers of sessions stand on an axis on which a curve is nearly straight.

    That of the demand without a card serves both arms, so that they stay alike where they are.
    """
    numbers: FloatArray = np.asarray(sessions, dtype=float)
    if name not in _DEVIATIONS:
        return numbers
    demand = of.demand[of.first]
    mean = float(of.chance @ demand)
    spread = float(np.sqrt(of.chance @ (demand - mean) ** 2))
    if mean == 0:
        return numbers
    bent: FloatArray = numbers + _DEVIATIONS[name] * spread / mean * np.sqrt(numbers)
    return bent


def _demand(scenario: Scenario, of: Kinds, hosts: SampledHosts, arm: Arm) -> dict[str, FloatArray]:
    capacity = float(
        capacity_curve(scenario.host, scenario.reference_clock_ghz, scenario.host.threads)
    )
    share = _share(scenario, arm)
    best = _exact(of, share, hosts.sessions, capacity)
    values = {name: getattr(best, name).copy() for name in _DEMAND_FIELDS}
    binds = hosts.limit_binds
    if binds.any():
        wide = in_one_lattice(hosts.sessions, binds)
        worst = _exact(of, 0.0, hosts.sessions[wide], capacity)
        drawn = hosts.demand
        sampled = {
            "mean": drawn.mean(axis=1),
            "p50": np.quantile(drawn, 0.50, axis=1),
            "p95": np.quantile(drawn, 0.95, axis=1),
            "p99": np.quantile(drawn, 0.99, axis=1),
            "overload_probability": (drawn > capacity).mean(axis=1),
        }
        for name, value in sampled.items():
            one, other = getattr(best, name)[binds], getattr(worst, name)[binds[wide]]
            values[name][binds] = np.clip(value, np.minimum(one, other), np.maximum(one, other))
    values = {name: np.maximum.accumulate(value) for name, value in values.items()}
    overload = values.pop("overload_probability")
    in_pct = {f"cpu_{name}_pct": value / capacity * 100 for name, value in values.items()}
    return in_pct | {"overload_probability": overload}


def _share(scenario: Scenario, arm: Arm) -> float:
    """Share of the sessions that may use the card, as the sample draws it."""
    card = scenario.accelerator
    share = card.share_pct / 100 if arm == "offloaded" and card.slots > 0 else 0.0
    return round(share * 65_536) / 65_536


_DEMAND_FIELDS = ("mean", "p50", "p95", "p99", "overload_probability")


def _exact(of: Kinds, share: float, sessions: IntArray, capacity: float) -> DemandLaw:
    """The demand if every entitled display had its slot."""
    chance = np.concatenate([of.chance * share, of.chance * (1 - share)])
    demand = np.concatenate([of.demand[of.first + of.moving], of.demand[of.first]])
    keep = chance > 0
    return demand_law(chance[keep], demand[keep], sessions, capacity)


def _contention(scenario: Scenario, of: Kinds, hosts: SampledHosts) -> dict[str, FloatArray]:
    """Wait, frames and stretch: hosts in groups of like demand, one shared CPU for each group."""
    steps = len(hosts.sessions)
    flat = hosts.grouped.reshape(-1, hosts.grouped.shape[2])

    threads = scenario.host.threads
    capacity = capacity_curve(scenario.host, scenario.reference_clock_ghz, np.arange(threads + 1))
    stations = pooled_stations(flat @ of.sources, of.utilisation, capacity, threads)
    vcpus = np.array([role.vcpus for role in scenario.roles], dtype=float)
    total_vcpus = flat @ np.repeat(vcpus[of.role], of.moving + 1)
    wait = (stations.mean_waiting / total_vcpus * 100).reshape(steps, -1)

    wanted = flat @ of.frames
    delivered = wanted * delivered_share(stations.response_per_work * of.utilisation)
    wanted_rate = wanted.sum(axis=1).reshape(steps, -1)
    delivered_rate = delivered.sum(axis=1).reshape(steps, -1)
    work = (flat @ of.sources) * of.utilisation
    stretch = (work * stations.response_per_work).sum(axis=1) * capacity[1]
    busy = work.sum(axis=1)
    stretch = np.where(busy > 0, stretch / np.maximum(busy, 1e-300), 1.0).reshape(steps, -1)

    weight = hosts.group_share
    all_wanted = wanted_rate @ weight
    frames_mean = np.where(
        all_wanted > 0, (delivered_rate @ weight) / np.maximum(all_wanted, 1e-300), 1.0
    )
    busy_wanted = wanted_rate[:, BUSY_GROUP]
    frames_busy = np.where(
        busy_wanted > 0, delivered_rate[:, BUSY_GROUP] / np.maximum(busy_wanted, 1e-300), 1.0
    )
    return {
        "wait_mean_pct": np.maximum.accumulate(wait @ weight),
        "wait_busy_pct": np.maximum.accumulate(wait[:, BUSY_GROUP]),
        "frames_mean_pct": np.minimum.accumulate(frames_mean) * 100,
        "frames_busy_pct": np.minimum.accumulate(frames_busy) * 100,
        "stretch_mean": np.maximum.accumulate(stretch @ weight),
    }


def _checked_sessions(sessions: npt.ArrayLike) -> npt.NDArray[np.int64]:
    numbers = np.atleast_1d(np.asarray(sessions))
    if numbers.size == 0 or numbers.dtype.kind not in "iu":
        raise InputError("sessions", sessions, f"whole numbers from 1 to {MOST_SESSIONS}")
    for number in numbers:
        if not 1 <= number <= MOST_SESSIONS:
            raise InputError(
                "sessions", int(number), f"a whole number from 1 to {MOST_SESSIONS} sessions"
            )
    return numbers.astype(np.int64)

"""Which moments might a host meet: who sits on it, and what does each of them do just then?

A moment is drawn for many hosts at once, and sessions are added to each one by one, so that one
draw serves every number of sessions and both arms see the same people. `Kinds` lists what one
session can be doing and what that asks of the CPU; `sampled_hosts` counts sessions by kind.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from model.accelerator import Accelerator, assign_most_active_first
from model.cpu import core_rate
from model.errors import InputError
from model.scenario import Scenario

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Arm = Literal["software", "offloaded"]
ARMS: tuple[Arm, Arm] = ("software", "offloaded")

SAMPLED_HOSTS = 800  # our choice: enough for the p99 of what cannot be computed exactly
_FEWEST_HOSTS = 64
_MOST_CELLS = 4_000_000  # hosts times sessions, and hosts times kinds times steps
_COLUMNS = 256  # sessions drawn from one stream
_ALL = 65_536  # random whole numbers lie below it
_FEW = 3  # added sessions that are sooner counted one by one
_SEED = 20_260_101


def check_arm(arm: str) -> Arm:
    """Return the arm, or refuse a name that is none.

    Parameters
    ----------
    arm : str
        "software" or "offloaded".

    Raises
    ------
    InputError
        For any other name.
    """
    for known in ARMS:
        if arm == known:
            return known
    raise InputError("arm", arm, '"software" or "offloaded"')


@dataclass(frozen=True, eq=False)
class Kinds:
    """All that one session can be doing, and what each costs.

    A state is a pair of role and activity; a kind is a state with so many of its displays in
    motion on the card. Arrays over states have S entries, over kinds K; the kinds of a state
    stand together, fewest displays on the card first.

    Parameters
    ----------
    role, activity : array of shape (S,)
        Indices into the scenario's roles and activities.
    chance : array of shape (S,)
        Share of sessions in the state. [-] Sums to 1.
    moving : array of shape (S,)
        Displays in motion. [displays]
    pixel_rate_mpx_s : array of shape (S,)
        Changed pixels per second of one of them. [Mpixel/s]
    network_mbps : array of shape (S,)
        Display stream of the session. [Mbit/s]
    first : array of shape (S,)
        The state's kind without a display on the card.
    demand : array of shape (K,)
        CPU work per second, each source held to one core. [reference-core s/s]
    app_demand : array of shape (K,)
        The part of it that is application work. [reference-core s/s]
    utilisation : array of shape (U,)
        The different works per second of single sources, not held. [reference-core s/s]
    sources : array of shape (K, U)
        Sources of one session of the kind, by utilisation. [sources]
    frames : array of shape (K, U)
        Frames wanted per second of the kind, by the utilisation of its encoding. [frames/s]
    """

    role: IntArray
    activity: IntArray
    chance: FloatArray
    moving: IntArray
    pixel_rate_mpx_s: FloatArray
    network_mbps: FloatArray
    first: IntArray
    demand: FloatArray
    app_demand: FloatArray
    utilisation: FloatArray
    sources: FloatArray
    frames: FloatArray


def kinds(scenario: Scenario) -> Kinds:
    """Return all that one session of the scenario can be doing.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Notes
    -----
    A session runs its application in one source and encodes the frames of all its displays in
    motion in another, one after the other. With a single vCPU both are one source, whose period
    is that of the frames. States are ordered by the work they need without a card, so that a
    session drawn by one random number stays about as busy when the mix is changed a little.

    Source
    ------
    Our own; one thread for encoding per desktop is common practice, no source.
    """
    one_core = core_rate(scenario.host, scenario.reference_clock_ghz)
    weights = sum(role.weight_pct for role in scenario.roles)
    states: list[dict[str, Any]] = []
    for r, role in enumerate(scenario.roles):
        habit = sum(role.activity_pct.values())
        for a, activity in enumerate(scenario.activities):
            chance = role.weight_pct / weights * role.activity_pct.get(activity.name, 0) / habit
            if chance == 0:
                continue
            moving = role.displays_in_motion(activity)
            encode = [
                role.encode_ms_per_frame(activity, on_card) * activity.frame_rate_hz / 1000
                for on_card in range(moving + 1)
            ]
            streams: list[list[tuple[float, float]]] = []  # (utilisation, frames wanted)
            for cores in encode:
                if role.vcpus == 1 and moving:
                    streams.append([(activity.app_cores + cores, activity.frame_rate_hz)])
                else:
                    video = [(cores, activity.frame_rate_hz)] if moving else []
                    streams.append([(activity.app_cores, 0.0), *video])
            states.append(
                {
                    "role": r, "activity": a, "chance": chance, "moving": moving,
                    "rate": role.pixel_rate_mpx_s(activity) if moving else 0.0,
                    "network": activity.network_mbps * max(moving, 1), "streams": streams,
                    "app": min(activity.app_cores, one_core),
                }
            )  # fmt: skip
    states.sort(key=lambda state: _held(state["streams"][0], one_core))
    streams = [stream for state in states for stream in state["streams"]]
    utilisation = sorted({round(u, 12) for stream in streams for u, hz in stream if u > 0 or hz})
    column = {u: i for i, u in enumerate(utilisation)}
    sources = np.zeros((len(streams), max(len(utilisation), 1)))
    frames = np.zeros_like(sources)
    for k, stream in enumerate(streams):
        for u, wanted in stream:
            if u > 0 or wanted:
                sources[k, column[round(u, 12)]] += u > 0
                frames[k, column[round(u, 12)]] += wanted
    counts = [len(state["streams"]) for state in states]
    demand = np.array([_held(stream, one_core) for stream in streams])
    app = np.repeat([state["app"] for state in states], counts)
    return Kinds(
        role=np.array([state["role"] for state in states]),
        activity=np.array([state["activity"] for state in states]),
        chance=np.array([state["chance"] for state in states]),
        moving=np.array([state["moving"] for state in states]),
        pixel_rate_mpx_s=np.array([state["rate"] for state in states], dtype=float),
        network_mbps=np.array([state["network"] for state in states], dtype=float),
        first=np.concatenate([[0], np.cumsum(counts)[:-1]]),
        demand=demand,
        app_demand=np.minimum(app, demand),
        utilisation=np.array(utilisation or [0.0]),
        sources=sources,
        frames=frames,
    )


def _held(stream: list[tuple[float, float]], one_core: float) -> float:
    return sum(min(u, one_core) for u, _ in stream)


def steps_to(most: int) -> IntArray:
    """Return the numbers of sessions at which hosts are looked at, up to one at least `most`.

    Parameters
    ----------
    most : int, 1 or more
        The largest number of sessions asked for. [sessions]

    Notes
    -----
    Every number up to 24, then in steps of about a twelfth; the same ladder whatever is
    asked, so that a result does not depend on how far it is looked.
    """
    ladder = [1]
    while ladder[-1] < most:
        ladder.append(ladder[-1] + max(1, ladder[-1] // 12))
    return np.array(ladder)


# Hosts are grouped by demand at these shares; the group about the 95th per cent is "busy".
GROUP_EDGES = np.array([0.0, 0.25, 0.5, 0.7, 0.85, 0.93, 0.97, 1.0])
BUSY_GROUP = 5


@dataclass(frozen=True, eq=False)
class SampledHosts:
    """What many sampled hosts are asked for, at each step of the ladder.

    Parameters
    ----------
    sessions : array of shape (steps,)
        Sessions on each host. [sessions]
    demand : array of shape (steps at which a limit binds, hosts)
        CPU demand, rising along each row. [reference-core s/s]
    grouped : array of shape (steps, groups, K)
        Mean sessions of each kind on the hosts of a group, groups by rising demand. [sessions]
    group_share : array of shape (groups,)
        Share of the hosts in each group. [-]
    network_p95_mbps, slots_used, pixels_used_mpx_s : array of shape (steps,)
        Network rate (p95); mean display slots and pixel rate taken. [Mbit/s], [displays],
        [Mpixel/s]
    limit_binds : array of shape (steps,)
        Whether on any of the hosts a display would find no room on the card, were every
        session entitled to it.
    """

    sessions: IntArray
    demand: FloatArray
    grouped: FloatArray
    group_share: FloatArray
    network_p95_mbps: FloatArray
    slots_used: FloatArray
    pixels_used_mpx_s: FloatArray
    limit_binds: npt.NDArray[np.bool_]


def sampled_hosts(scenario: Scenario, of: Kinds, arm: Arm, most: int) -> SampledHosts:
    """Return sampled hosts with sessions added one by one.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    of : Kinds
        Its kinds of session.
    arm : str
        "software" or "offloaded".
    most : int, 1 or more
        The largest number of sessions asked for. [sessions]

    Notes
    -----
    Each added session's random number takes every one of as many equal strata as there are
    hosts (a Latin hypercube), so means hardly vary. The numbers depend on nothing but the
    place of the session: every scenario, arm and process sees the same ones.
    """
    card = scenario.accelerator
    entitled_below = round(card.share_pct / 100 * _ALL)
    use_card = arm == "offloaded" and card.slots > 0 and entitled_below > 0
    last = int(steps_to(most)[-1])
    cells = max(last, 2 * len(of.chance) * len(steps_to(last)))
    hosts = max(min(_MOST_CELLS // cells, SAMPLED_HOSTS), _FEWEST_HOSTS)
    return _sampled(
        _Asked(
            last,
            hosts,
            card if use_card else None,
            entitled_below if use_card else _ALL,
            of.chance.tobytes(),
            of.moving.tobytes(),
            of.pixel_rate_mpx_s.tobytes(),
            of.network_mbps.tobytes(),
            of.demand.tobytes(),
        )
    )


class _Asked(NamedTuple):
    """All that sampled hosts depend on: a key to remember them by."""

    most: int
    hosts: int
    card: Accelerator | None
    entitled_below: int  # of 65,536
    chance: bytes
    moving: bytes
    pixel_rate: bytes
    network: bytes
    demand: bytes


@lru_cache(maxsize=8)  # a slider that leaves people and card alone asks for the same again
def _sampled(asked: _Asked) -> SampledHosts:
    ladder = steps_to(asked.most)
    moving = np.frombuffer(asked.moving, dtype=np.int64)
    demand = np.frombuffer(asked.demand)
    first = np.concatenate([[0], np.cumsum(moving + 1)[:-1]])
    shape = (len(ladder), asked.hosts)
    everyone = _counts(asked.chance, asked.most, asked.hosts, _ALL)
    network = np.frombuffer(asked.network).astype(np.float32)
    flat = everyone.reshape(len(moving), -1)
    streams = (network @ flat).reshape(shape)
    slots_used = pixels_used = np.zeros(len(ladder))
    binds = np.zeros(len(ladder), dtype=bool)
    if asked.card is None:
        by_kind, present = everyone, first
    else:
        rates = np.frombuffer(asked.pixel_rate)
        entitled = _counts(asked.chance, asked.most, asked.hosts, asked.entitled_below)
        displays = (moving.astype(np.float32) @ flat).reshape(shape).max(axis=1)
        pixels = ((moving * rates).astype(np.float32) @ flat).reshape(shape).max(axis=1)
        binds = (displays > asked.card.slots) | (pixels > asked.card.megapixels_per_s * (1 - 1e-6))
        present = np.arange(len(demand))
        by_kind, slots_used, pixels_used = _with_card(
            asked.card, moving, rates, first, everyone, entitled, binds
        )
    drawn = (demand[present].astype(np.float32) @ by_kind.reshape(len(present), -1)).reshape(shape)
    # Hosts of the same demand stay in their order; unlike keys make the fast sort exact.
    order = np.argsort(drawn.astype(float) + 1e-9 * np.arange(asked.hosts), axis=1)
    edges = np.round(GROUP_EDGES * asked.hosts).astype(int)
    size = np.diff(edges)
    group_of_rank = np.repeat(np.arange(len(size)), size)
    member = np.zeros((len(ladder), len(size), asked.hosts), dtype=np.float32)
    member[np.arange(len(ladder))[:, None], group_of_rank, order] = 1
    grouped = np.zeros((len(ladder), len(size), len(demand)))
    grouped[..., present] = (member @ by_kind.transpose(1, 2, 0)) / size[None, :, None]
    return SampledHosts(
        ladder,
        np.take_along_axis(drawn[binds], order[binds], axis=1).astype(float),
        grouped,
        size / asked.hosts,
        np.quantile(streams, 0.95, axis=1).astype(float),
        slots_used,
        pixels_used,
        binds,
    )


@lru_cache(maxsize=4)  # both arms, and every accelerator share, ask for everyone's counts
def _counts(chance: bytes, most: int, hosts: int, entitled_below: int) -> npt.NDArray[np.float32]:
    """Entitled sessions by state: shape (states, steps, hosts)."""
    cumulative = np.cumsum(np.frombuffer(chance))
    states = len(cumulative)
    borders = np.clip(np.ceil(cumulative * 65_536 - 0.5), 0, 65_536).astype(int)
    borders[-1] = 65_536
    table = np.repeat(np.arange(states), np.diff(borders, prepend=0))
    ladder = steps_to(most)
    counts = np.zeros((states, len(ladder), hosts), dtype=np.float32)
    place = np.arange(hosts)
    done = 0
    for step, upto in enumerate(ladder):
        group = table[_uniforms(hosts, done, int(upto), 0)]
        one = None  # who of them is entitled
        if entitled_below < _ALL:
            one = _uniforms(hosts, done, int(upto), 1) < entitled_below
        if step:
            counts[:, step] = counts[:, step - 1]
        if upto - done <= _FEW:
            for column, each in enumerate(group.T):
                counts[each, step, place] += 1 if one is None else one[:, column]
        else:
            cells = group * hosts + place[:, None]
            chosen = cells.ravel() if one is None else cells[one]
            counts[:, step] += np.bincount(chosen, minlength=hosts * states).reshape(states, hosts)
        done = int(upto)
    counts.setflags(write=False)
    return counts


def _with_card(
    card: Accelerator,
    moving: IntArray,
    rates: FloatArray,
    first: IntArray,
    everyone: npt.NDArray[np.float32],
    entitled: npt.NDArray[np.float32],
    binds: npt.NDArray[np.bool_],
) -> tuple[npt.NDArray[np.float32], FloatArray, FloatArray]:
    """Serve the displays in motion of entitled sessions and count sessions by kind."""
    by_kind = np.empty((int((moving + 1).sum()), *entitled.shape[1:]), dtype=np.float32)
    for state, start in enumerate(first):
        by_kind[start : start + moving[state]] = 0
        by_kind[start + moving[state]] = entitled[state]
    displays = entitled.mean(axis=2) * moving[:, None]
    slots, pixels = displays.sum(axis=0).astype(float), (rates @ displays).astype(float)
    tight = np.flatnonzero(binds)
    if tight.size:
        begin = int(tight[0])  # once a limit binds it binds at every further step
        wanted = entitled[:, begin:]
        asked = (wanted * moving[:, None, None].astype(np.float32)).astype(np.int32)
        served = assign_most_active_first(asked, list(rates), card)
        slots[begin:] = served.sum(axis=0).mean(axis=1)
        pixels[begin:] = rates @ served.mean(axis=2)
        for in_motion in np.flatnonzero(moving):
            state = int(in_motion)
            each, kind = int(moving[state]), int(first[state])
            full, rest = (served[state], None) if each == 1 else np.divmod(served[state], each)
            by_kind[kind + each, begin:] = full
            none = wanted[state] - full
            for part in range(1, each):
                here = rest == part
                by_kind[kind + part, begin:] = here
                none = none - here
            by_kind[kind, begin:] = none
    if entitled is not everyone:
        for state, start in enumerate(first):
            by_kind[start] += everyone[state] - entitled[state]
    return by_kind, slots, pixels


def _uniforms(hosts: int, start: int, stop: int, stream: int) -> npt.NDArray[np.int32]:
    """Random whole numbers below 65,536 for sessions start to stop of each host."""
    blocks = [
        _block(hosts, block, stream)[
            :, max(start - block * _COLUMNS, 0) : min(stop - block * _COLUMNS, _COLUMNS)
        ]
        for block in range(start // _COLUMNS, (stop - 1) // _COLUMNS + 1)
    ]
    return blocks[0] if len(blocks) == 1 else np.concatenate(blocks, axis=1)


@lru_cache(maxsize=64)
def _block(hosts: int, block: int, stream: int) -> npt.NDArray[np.int32]:
    rng = np.random.default_rng([_SEED, hosts, block, stream])
    ranks = np.argsort(rng.random((_COLUMNS, hosts)), axis=1).T
    numbers = ((ranks + rng.random((hosts, _COLUMNS))) * (65_536 / hosts)).astype(np.int32)
    numbers.setflags(write=False)
    return numbers

"""What happens to a host when something fails, or when everyone comes at once?

`failure` puts one event beside the host as it was: headroom, wait and frames at the scenario's
sessions, the targets that are missed, and how many sessions the host may have so that all targets
still hold when it happens. Both sides come from the same curves as every other answer.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from model.assess import assess
from model.cpu import capacity_curve, core_rate
from model.defaults import MOST_SESSIONS, Quantity
from model.errors import InputError
from model.hosts import ARMS, Arm
from model.records import FrozenMapping
from model.rush import LogonRush, logon_rush
from model.saturation import SaturationCurve, saturation_curve
from model.scenario import Day, Scenario
from model.sessions import Activity
from model.targets import missed_in_words

FAILURES: dict[str, str] = {
    "card_lost": "One card lost",
    "host_lost": "One host lost",
    "socket_down": "One socket down",
    "smt_off": "SMT switched off",
    "everyone_present": "Everyone present",
    "everyone_on_a_call": "Everyone on a video call",
    "logon_rush": "Logon rush after a power cut",
}

CIRCUMSTANCES: dict[str, Quantity] = {
    "hosts": Quantity(
        4, "hosts", 2, 10_000,
        "Hosts that share the sessions of a lost one among those left, itself counted.",
        "our choice: a small group", whole=True,
    ),
    "sockets": Quantity(
        2, "sockets", 2, 16, "Sockets of the host, with equal cores and memory.",
        "common practice, no source", whole=True,
    ),
    "within_min": Quantity(
        10, "min", 0.1, 1_440, "Time within which all sessions log on after a power cut.",
        "our choice: people try as soon as the lights are on",
    ),
}  # fmt: skip

_LOGGING_ON = "logging on"
_LOGONS_PER_CORE = 3.0  # work asked for, in cores: more than any turbo gives, so it never pauses
_BURSTS_PER_S = 100.0


@dataclass(frozen=True)
class HostState:
    """One arm of a host, before or after.

    Parameters
    ----------
    sessions : int
        Sessions on the host. [sessions]
    headroom_pct, wait_busy_pct, frames_busy_pct : float
        As on the curve, at these sessions. [%]
    missed : tuple of str
        The targets that are missed, in words.
    holds : bool
        Whether none is.
    most_sessions : int
        Sessions that may belong to the host, counted as the scenario's are, so that every target
        holds in this state. [sessions]
    """

    sessions: int
    headroom_pct: float
    wait_busy_pct: float
    frames_busy_pct: float
    missed: tuple[str, ...]
    holds: bool
    most_sessions: int


@dataclass(frozen=True)
class FailureAnswer:
    """A host before and after one event, both arms.

    Parameters
    ----------
    key, title : str
        Which event of `FAILURES`, and its title.
    note : str
        What is taken to happen, in a sentence.
    before, after : dict
        State of each arm.
    rush : dict or None
        How the logons of each arm are served, for a logon rush only.
    """

    key: str
    title: str
    note: str
    before: dict[Arm, HostState]
    after: dict[Arm, HostState]
    rush: dict[Arm, LogonRush] | None = None


def failure(
    scenario: Scenario,
    key: str,
    hosts: int = 4,
    sockets: int = 2,
    activity: str | None = None,
    within_min: float = 10.0,
) -> FailureAnswer:
    """Return a host before and after one event.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    key : str
        One of `FAILURES`.
    hosts : int, 2 to 10,000
        Hosts that share the sessions if one is lost, itself counted. [hosts]
    sockets : int, 2 to 16
        Sockets of the host, if one is down. [sockets]
    activity : str or None
        What everyone does who is on a call; None for the costliest activity whose name holds
        "call", or else the costliest of all.
    within_min : float, 0.1 to 1440
        Time within which all sessions log on in a rush. [min]

    Raises
    ------
    InputError
        For an unknown event, an argument out of range, or an event that the host cannot meet: no
        card to lose, no SMT to switch off, cores that sockets do not share evenly.

    Notes
    -----
    A lost card: each session belongs to one card, so an equal part of them loses theirs at once
    and the other cards take nothing over; `model.assess.what_if` shares the cards that are left
    among all sessions, as after a new logon. A socket takes its part of the memory along, and no
    card. Everyone present is set against the mean presence over the day. In a logon rush the
    moment shown is the one at which the last session asks to log on.

    Source
    ------
    Our own composition; no publication.
    """
    for name, value in (("hosts", hosts), ("sockets", sockets), ("within_min", within_min)):
        _check(name, value)
    if key == "logon_rush":
        return _rush(scenario, within_min)
    after = scenario
    usual: Callable[[int], int] = int  # sessions on the host, of those that belong to it
    then: Callable[[int], int] = int
    if key == "card_lost":
        after, note = _card_lost(scenario)
    elif key == "host_lost":
        note = f"The sessions of one of {hosts} hosts spread evenly over the rest."

        def then(sessions: int) -> int:
            return -(-sessions * hosts // (hosts - 1))

    elif key == "socket_down":
        after, note = _socket_down(scenario, sockets)
    elif key == "smt_off":
        if scenario.host.threads_per_core == 1:
            raise InputError("host.threads_per_core", 1, "2, or there is no SMT to switch off")
        single = scenario.host.model_copy(update={"threads_per_core": 1})
        after = scenario.model_copy(update={"host": single})
        note = "Each core runs one hardware thread."
    elif key == "everyone_present":
        share = mean_presence(scenario.day)
        note = (
            f"At a usual moment {100 * share:.0f} % of the sessions are present, the mean over "
            "the day; now all of them are."
        )

        def usual(sessions: int) -> int:
            return int(np.ceil(sessions * share - 1e-9))

    elif key == "everyone_on_a_call":
        name = _call(scenario) if activity is None else activity
        after, note = _all_do(scenario, name), f'Every session is in the activity "{name}".'
    else:
        raise InputError("failure", key, f"one of {', '.join(FAILURES)}")
    return FailureAnswer(key, FAILURES[key], note, _states(scenario, usual), _states(after, then))


def possible_failures(scenario: Scenario, sockets: int = 2) -> list[str]:
    """Return the events of `FAILURES` that the scenario's host can meet, in their order.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    sockets : int, 2 to 16
        Sockets of the host. [sockets]
    """
    host = scenario.host
    cannot = set()
    if not scenario.accelerator.cards:
        cannot.add("card_lost")
    if host.threads_per_core == 1:
        cannot.add("smt_off")
    if host.cores % sockets:
        cannot.add("socket_down")
    return [key for key in FAILURES if key not in cannot]


def mean_presence(day: Day) -> float:
    """Return the share of the sessions that is present on average over the day. [-]

    Parameters
    ----------
    day : Day
        The day.
    """
    times, shares = np.array(day.present_points).T
    inside = times[(times > 0) & (times < day.length_s)]
    at = np.concatenate([[0.0], inside, [float(day.length_s)]])
    present = np.interp(at, times, shares)
    return float(((present[1:] + present[:-1]) / 2 * np.diff(at)).sum() / day.length_s)


def _check(name: str, value: object) -> None:
    quantity = CIRCUMSTANCES[name]
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not (number and quantity.low <= value <= quantity.high):  # type: ignore[operator]
        raise InputError(name, value, quantity.expected)
    if quantity.whole and not isinstance(value, int):
        raise InputError(name, value, quantity.expected)


# ---------------------------------------------------------------------------------- what changes


def _card_lost(scenario: Scenario) -> tuple[Scenario, str]:
    card = scenario.accelerator
    if card.cards == 0:
        raise InputError("accelerator.cards", 0, "1 or more, or there is no card to lose")
    left = card.cards - 1
    changes = {"cards": left, "share_pct": card.share_pct * left / card.cards}
    note = "The displays of its sessions are encoded on the CPU at once"
    note += "; the other cards take nothing over." if left else "."
    fewer = card.model_copy(update=changes if left else {"cards": 0})
    return scenario.model_copy(update={"accelerator": fewer}), note


def _socket_down(scenario: Scenario, sockets: int) -> tuple[Scenario, str]:
    host = scenario.host
    if host.cores % sockets:
        expected = f"a number of sockets that share {host.cores} cores evenly"
        raise InputError("sockets", sockets, expected)
    left = sockets - 1
    changes = {
        "cores": host.cores // sockets * left,
        "memory_gib": host.memory_gib * left / sockets,
    }
    note = f"One of {sockets} sockets is down with its cores and its memory; the cards stay."
    return scenario.model_copy(update={"host": host.model_copy(update=changes)}), note


def _call(scenario: Scenario) -> str:
    def cost(activity: Activity) -> float:
        return activity.app_cores + activity.software_ms_per_frame * activity.frame_rate_hz / 1000

    calls = [each for each in scenario.activities if "call" in each.name.casefold()]
    return max(calls or scenario.activities, key=cost).name


def _all_do(scenario: Scenario, name: str) -> Scenario:
    if name not in [activity.name for activity in scenario.activities]:
        raise InputError("activity", name, "the name of one of the activities")
    roles = tuple(
        role.model_copy(update={"activity_pct": FrozenMapping({name: 100.0})})
        for role in scenario.roles
    )
    return scenario.model_copy(update={"roles": roles})


# ---------------------------------------------------------------------------------- before, after


def _states(scenario: Scenario, on_host: Callable[[int], int]) -> dict[Arm, HostState]:
    """Both arms, with so many of the sessions that belong to the host on it."""
    sessions = max(on_host(scenario.sessions), 1)
    if sessions > MOST_SESSIONS:
        raise InputError("sessions", sessions, f"at most {MOST_SESSIONS} on a host afterwards")
    found = assess(scenario.model_copy(update={"sessions": sessions}))
    states = {}
    for arm in ARMS:
        rated = found.rated[arm].rated_load
        most = _most(lambda own, rated=rated: on_host(own) <= rated, MOST_SESSIONS)  # type: ignore[misc]
        states[arm] = _state(scenario, found.curves[arm], sessions, most)
    return states


def _state(scenario: Scenario, curve: SaturationCurve, sessions: int, most: int) -> HostState:
    row = curve.at(sessions)
    missed = missed_in_words(scenario, curve, sessions)
    return HostState(
        sessions=sessions,
        headroom_pct=row["headroom_pct"],
        wait_busy_pct=row["wait_busy_pct"],
        frames_busy_pct=row["frames_busy_pct"],
        missed=missed,
        holds=not missed,
        most_sessions=most,
    )


def _most(holds: Callable[[int], bool], most: int) -> int:
    """The largest number up to `most` that holds, where smaller ones do; 0 always does."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if holds(middle) else (low, middle - 1)
    return low


# ---------------------------------------------------------------------------------- logon rush


def _rush(scenario: Scenario, within_min: float) -> FailureAnswer:
    found = assess(scenario)
    before, after, rush = _states(scenario, int), {}, {}
    for arm in ARMS:
        usual = found.curves[arm]
        asked = scenario.sessions
        most = before[arm].most_sessions
        top = max(asked, min(most, int(usual.sessions[-1])))
        changed, top_rush = _in_rush(scenario, usual, top, within_min)
        if top_rush.backlog_core_s == 0:  # the same share logs on however many there are
            curve = saturation_curve(changed, arm, np.arange(1, top + 1))

            def holds(sessions: int, of: Scenario = changed, at: SaturationCurve = curve) -> bool:
                return not missed_in_words(of, at, sessions)

            most = _most(holds, min(most, top))
        else:

            def works(sessions: int, usual: SaturationCurve = usual) -> bool:
                changed, _ = _in_rush(scenario, usual, sessions, within_min)
                return not missed_in_words(changed, _alone(changed, usual.arm, sessions), sessions)

            most = _most(works, min(most, top))
            changed, _ = _in_rush(scenario, usual, asked, within_min)
            curve = _alone(changed, arm, asked)
        after[arm] = _state(changed, curve, asked, most)
        rush[arm] = _in_rush(scenario, usual, asked, within_min)[1]
    note = (
        f"All sessions log on within {within_min:g} min. Times are those of a fluid: logons flow "
        "in evenly, those who are in work as usual and come first, and the CPU does the logons "
        "with what is left. Shown is the moment at which the last one asks to log on."
    )
    return FailureAnswer("logon_rush", FAILURES["logon_rush"], note, before, after, rush)


def _alone(scenario: Scenario, arm: Arm, sessions: int) -> SaturationCurve:
    return saturation_curve(scenario, arm, [sessions])


def _in_rush(
    scenario: Scenario, usual: SaturationCurve, sessions: int, within_min: float
) -> tuple[Scenario, LogonRush]:
    """The scenario in which some of the sessions are logging on, and their times."""
    host, clock = scenario.host, scenario.reference_clock_ghz
    capacity = float(capacity_curve(host, clock, host.threads))
    one_core = core_rate(host, clock)
    demand = usual.at(sessions)["cpu_mean_pct"] / 100 * capacity
    rush = logon_rush(
        sessions, scenario.day.logon_core_s, demand, capacity, one_core, within_min * 60
    )
    share = rush.logging_on / sessions
    name = _LOGGING_ON
    while name in [activity.name for activity in scenario.activities]:
        name += " now"
    logging_on = Activity(
        name=_LOGGING_ON,
        app_burst_ms=_LOGONS_PER_CORE * one_core / _BURSTS_PER_S * 1000,
        app_bursts_per_s=_BURSTS_PER_S,
        network_mbps=0,
    ).model_copy(update={"name": name})
    roles = []
    for role in scenario.roles:
        habit = {each: pct * (1 - share) for each, pct in role.activity_pct.items()}
        total = sum(role.activity_pct.values())
        habit[name] = total * share
        roles.append(role.model_copy(update={"activity_pct": FrozenMapping(habit)}))
    changes = {"activities": (*scenario.activities, logging_on), "roles": tuple(roles)}
    return scenario.model_copy(update=changes), rush

"""How long until everyone has logged on, if all ask for it within minutes?

A fluid: logons flow in at an even rate; those who are in work as usual, and come first; the CPU
does logons with what is left. Chance is left out, and so are disks and directories, which may
well be slower than the CPU.
"""

import math
from dataclasses import dataclass

from model.errors import check_above, check_at_least


@dataclass(frozen=True)
class LogonRush:
    """How the logons of one host are served.

    Parameters
    ----------
    served_s : float
        Time from the first request until the last session is in. [s] Infinite where those who
        are in leave nothing of the CPU before all are.
    longest_wait_s : float
        Time that the session which asks last takes to be in. [s]
    peak_demand_pct : float
        CPU work asked for per second when the last one asks: logons that flow in, and sessions
        that are in. [% of capacity]
    backlog_core_s : float
        Logon work that waits then. [reference-core s]
    logging_on : float
        Sessions that are logging on then. [sessions]
    """

    served_s: float
    longest_wait_s: float
    peak_demand_pct: float
    backlog_core_s: float
    logging_on: float


def logon_rush(
    sessions: int,
    logon_core_s: float,
    usual_demand: float,
    capacity: float,
    one_core: float,
    within_s: float,
) -> LogonRush:
    """Return how the logons of one host are served.

    Parameters
    ----------
    sessions : int, 1 or more
        Sessions that log on. [sessions]
    logon_core_s : float, 0 or more
        CPU work of one logon. [reference-core s]
    usual_demand : float, 0 or more
        Mean CPU demand of all sessions once they are in. [reference-core s/s]
    capacity : float, above 0
        Work that the host does per second. [reference-core s/s]
    one_core : float, above 0
        Work that one core does per second; a logon runs on one. [reference-core s/s]
    within_s : float, above 0
        Time within which all ask. [s]

    Raises
    ------
    InputError
        For the first argument out of range.

    Notes
    -----
    With y the logon work done, of W in all, those who are in ask for usual_demand y / W, so the
    CPU does logons at capacity - usual_demand y / W at most: y nears its end exponentially. Until
    that falls below what flows in, nothing waits.

    Source
    ------
    Our own; a linear differential equation solved by hand. Fluids as approximations of queues:
    G. F. Newell, Applications of Queueing Theory, 1982, chapter 2.
    """
    check_at_least("sessions", sessions, 1, unit="sessions")
    check_at_least("logon_core_s", logon_core_s, 0, unit="core-s")
    check_at_least("usual_demand", usual_demand, 0, unit="reference-core s/s")
    check_above("capacity", capacity, 0, unit="reference-core s/s")
    check_above("one_core", one_core, 0, unit="reference-core s/s")
    check_above("within_s", within_s, 0, unit="s")

    work = sessions * logon_core_s
    inflow = work / within_s
    alone_s = logon_core_s / one_core
    slowing = usual_demand / work if work else 0.0  # of the service, by each unit done [1/s]

    def done_after(begin: float, seconds: float) -> float:
        if slowing == 0:
            return begin + capacity * seconds
        level = capacity / slowing
        return level + (begin - level) * math.exp(-slowing * seconds)

    if inflow > capacity:
        full_s = 0.0  # from then on logons wait
    elif slowing and inflow:
        full_s = min((capacity - inflow) / (slowing * inflow), within_s)
    else:
        full_s = within_s
    at_full = inflow * full_s
    done = min(done_after(at_full, within_s - full_s), work) if full_s < within_s else work
    backlog = max(work - done, 0.0)
    served_s = within_s
    if backlog > 0:
        left_at_end = capacity - slowing * work
        if left_at_end <= 0:
            served_s = math.inf
        elif slowing == 0:
            served_s = full_s + (work - at_full) / capacity
        else:
            left_at_full = capacity - slowing * at_full
            served_s = full_s + math.log(left_at_full / left_at_end) / slowing
    served_s = max(served_s, within_s + alone_s)
    at_once = max(inflow / one_core, backlog / logon_core_s if backlog else 0.0)
    return LogonRush(
        served_s=served_s,
        longest_wait_s=served_s - within_s,
        peak_demand_pct=(inflow + slowing * done) / capacity * 100,
        backlog_core_s=backlog,
        logging_on=min(at_once, float(sessions)),
    )

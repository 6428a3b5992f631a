"""What does each word of the trade mean, as it is used on screen, in code and in tests?

DEVELOPERS.md holds the same table; a test keeps both alike.
"""

GLOSSARY: dict[str, str] = {
    "host": "one server with its CPU, memory, network and cards",
    "session": "one connected person's desktop",
    "role": "a habit of activities, and the size of the desktop",
    "activity": "what a session is doing now, and what that costs",
    "application work, display encoding": "the two streams of CPU work of a session",
    "arm": '"software" (no card) or "offloaded" (with card)',
    "accelerator, card": "what encodes displays instead of the CPU",
    "display slot": "room on a card for one display in motion",
    "accelerator share": "share of sessions that may use the card",
    "demand": "CPU work asked for per second; may exceed what the host can do",
    "headroom": "100 % less the p95 of demand",
    "scheduler wait": "time that runnable vCPUs wait for a hardware thread, of all vCPU time",
    "delivered frames": "frames delivered of those wanted",
    "busy moment": "a moment about the 95th per cent of demand",
    "crest": "p99 of 1 s demand over the day; crest factor: crest over mean",
    "rated load": "the most sessions at which every target and resource holds",
    "event, circumstance": (
        "what may happen to a host: a card lost, everyone present, a logon rush ...; what else "
        "that depends on (how many hosts, sockets, minutes, which activity)"
    ),
    "binding limit": "what fails first with one session more",
    "site, fleet": "where sessions of some roles work; all sites together",
    "host choice": "a host that could be bought, with or without its cards",
    "needed, spare, drained hosts": (
        "sessions over rated load, rounded up; beyond them, so that as many may fail; "
        "empty for maintenance"
    ),
    "present value": "what payments over the years are worth today",
    "break-even price, share": "card price, or share of one role, at which both arms cost the same",
    "response slow-down": "mean response of a piece of work over that on an empty host",
    "saved scenario, revision": "what the shelf keeps under a name; one save of it",
    "runnable, saturated": "a source that wants the CPU; one that never pauses",
    "sweep, grid": "rating every row of a table of scenarios; that table",
    "measured, mark": (
        "of a number: given by a log, whose name and interval the scenario keeps; changed "
        "by hand, it loses the mark"
    ),
    "spread": "of an input: its P90 lies so many per cent above its value, its P10 as far below",
    "draw, band": (
        "a scenario that could just as well be true; what 10, 50 and 90 % of the draws do "
        "not exceed"
    ),
    "share of variance": "what a group of inputs does to an answer on its own (first-order index)",
}

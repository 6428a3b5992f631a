"""What does the address of a page hold? The scenario, and what is looked at beside it.

    ?n=150&v=1                        a scenario, as `model.scenario_url` writes it
    ?pin=n%3D90%26v%3D1&n=150&v=1     the same, with another one pinned for comparison
    ?if=host_lost~6&n=150&v=1         the same, with an event, as `app.events` writes it
    ?fleet=...&n=150&v=1              the same, with a fleet, as `model.fleet_url` writes it

What stands beside the scenario comes first, in this order, and then the scenario's version is
always written, so that a link cut short has none.
"""

from dataclasses import dataclass
from urllib.parse import quote, unquote

from app import events
from model import fleet_url, scenario_url
from model.errors import InputError, LinkError
from model.scenario import VERSION, Scenario

_BESIDE = ("pin", "if", "fleet")
_PLAIN = "!*()'"  # as a browser's encodeURIComponent leaves them


@dataclass(frozen=True)
class PageState:
    """What one address holds.

    Parameters
    ----------
    scenario : Scenario
        The scenario shown.
    pin : str or None
        Query of the scenario pinned beside it; the default's is "". None without a pin.
    event : str or None
        An event, as `app.events` writes it; None without one.
    fleet : str or None
        A fleet, as `model.fleet_url` writes it; None for the example.
    """

    scenario: Scenario
    pin: str | None = None
    event: str | None = None
    fleet: str | None = None


def from_address(query: str) -> PageState:
    """Return what the query of an address holds.

    Parameters
    ----------
    query : str
        The query, with or without its question mark; empty for the default scenario.

    Raises
    ------
    InputError
        Names what is wrong with the link.
    """
    query = query.removeprefix("?")
    if len(query) > scenario_url.LONGEST_LINK:
        expected = f"at most {scenario_url.LONGEST_LINK}"
        raise LinkError("link", f"{len(query)} characters", expected, "malformed")
    found: dict[str, str] = {}
    for name in _BESIDE:
        if query.startswith(f"{name}="):
            part, _, query = query.removeprefix(f"{name}=").partition("&")
            if not query:
                raise LinkError("v", None, f"v={VERSION} at the end of the link", "cut short")
            found[name] = unquote(part)
    if "pin" in found:
        scenario_url.from_query(found["pin"])
    scenario = scenario_url.from_query(query)
    if "if" in found:
        events.from_text(found["if"], scenario)
    if "fleet" in found:
        fleet_url.from_text(found["fleet"], scenario)
    return PageState(scenario, found.get("pin"), found.get("if"), found.get("fleet"))


def to_address(
    scenario: Scenario,
    pin: str | None = None,
    event: str | None = None,
    fleet: str | None = None,
) -> str | None:
    """Return the query that holds a scenario and what is beside it, without a question mark.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pin : str or None
        Query of the pinned scenario; None without one.
    event, fleet : str or None
        As in `PageState`.

    Returns
    -------
    str or None
        None where that is too long for a link.
    """
    try:
        query = scenario_url.to_query(scenario)
    except InputError:
        return None
    given = zip(_BESIDE, (pin, event, fleet), strict=True)
    beside = [f"{name}={quote(text, safe=_PLAIN)}&" for name, text in given if text is not None]
    if not beside:
        return query
    address = f"{''.join(beside)}{query or f'v={VERSION}'}"
    return address if len(address) <= scenario_url.LONGEST_LINK else None

"""What does the address of a page hold? The scenario, and the one pinned beside it.

    ?n=150&v=1                        a scenario, as `model.scenario_url` writes it
    ?pin=n%3D90%26v%3D1&n=150&v=1     the same, with another one pinned for comparison

With a pin the scenario's version is always written, so that a link cut short has none.
"""

from dataclasses import dataclass
from urllib.parse import quote, unquote

from model import scenario_url
from model.errors import InputError, LinkError
from model.scenario import VERSION, Scenario

_PIN = "pin="


@dataclass(frozen=True)
class PageState:
    """What one address holds.

    Parameters
    ----------
    scenario : Scenario
        The scenario shown.
    pin : str or None
        Query of the scenario pinned beside it; the default's is "". None without a pin.
    """

    scenario: Scenario
    pin: str | None = None


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
    if not query.startswith(_PIN):
        return PageState(scenario_url.from_query(query))
    pinned, _, rest = query.removeprefix(_PIN).partition("&")
    if not rest:
        raise LinkError("v", None, f"v={VERSION} at the end of the link", "cut short")
    pin = unquote(pinned)
    scenario_url.from_query(pin)
    return PageState(scenario_url.from_query(rest), pin)


def to_address(scenario: Scenario, pin: str | None = None) -> str | None:
    """Return the query that holds a scenario and what is pinned, without a question mark.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pin : str or None
        Query of the pinned scenario; None without one.

    Returns
    -------
    str or None
        None where that is too long for a link.
    """
    try:
        query = scenario_url.to_query(scenario)
    except InputError:
        return None
    if pin is None:
        return query
    address = f"{_PIN}{quote(pin, safe='')}&{query or f'v={VERSION}'}"
    return address if len(address) <= scenario_url.LONGEST_LINK else None

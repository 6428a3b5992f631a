"""How does a fleet fit into a link?"""

import json

from model.errors import LinkError
from model.fleet_inputs import FleetInputs, check_roles, from_data, to_data
from model.scenario import Scenario


def to_text(inputs: FleetInputs, scenario: Scenario) -> str:
    """Return a fleet as the text of a link.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet.
    scenario : Scenario
        The scenario beside it.
    """
    return json.dumps(to_data(inputs), separators=(",", ":"))


def from_text(text: str, scenario: Scenario) -> FleetInputs:
    """Return the fleet that a link holds.

    Parameters
    ----------
    text : str
        The text in the link.
    scenario : Scenario
        The scenario beside it.

    Raises
    ------
    InputError
        Names what is wrong with it.
    """
    try:
        data = json.loads(text)
    except ValueError:
        raise LinkError("fleet", text[:40], "a fleet as this page writes it", "malformed") from None
    inputs = from_data(data)
    check_roles(inputs, scenario)
    return inputs

"""What are the parts of the page called, for callbacks, scripts and tests?"""

import json
from typing import Any

CONTROLS = "controls"
BASE = "base-scenario"
ADDRESS = "address"
NOTICE = "notice"
CHARTS = ("headroom", "contention", "day", "desktop")


def field(path: str) -> dict[str, str]:
    """Return the id of the control of one number of the scenario."""
    return {"type": "field", "path": path}


def weight(path: str) -> dict[str, str]:
    """Return the id of the slider of one role's weight."""
    return {"type": "weight", "path": path}


def in_page(component: dict[str, str]) -> str:
    """Return a component's id as the page's HTML writes it, for labels."""
    return json.dumps(component, sort_keys=True, separators=(",", ":"))


def named(label: str) -> dict[str, Any]:
    """Return the attributes that name a part of the page for assistive technology."""
    return {"aria-label": label}


def data(**values: str) -> dict[str, Any]:
    """Return attributes for the page's scripts: data(page="host") is data-page="host"."""
    return {f"data-{name}": value for name, value in values.items()}

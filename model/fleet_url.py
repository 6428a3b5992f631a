"""How does a fleet fit into a link that a person can read and that opens for ever?

`to_text` writes only what differs from version 1's example, under short names; `from_text` reads
it back to the last digit, or says in one sentence what is wrong with it.

    growth~3*s0~North_quay~280_120_90*c1.price~18500*choices~3*c2.name~Tall_host*v~1

Items are joined by "*", each a name and its value joined by "~". "s0" is a site, counted from 0:
its name, and its sessions of role 0, 1, ... of the scenario beside it, nothing where it says
nothing of a role, so that a renamed role keeps its people. "c1.price" is a field of host choice 1;
"sites" and "choices" are their numbers where they differ from the example. "x0~night_watch~4_0_9"
are the sessions, site by site, of a role that the scenario does not have. In texts a blank is
written as "_", and the signs ! _ ~ * as !1 !2 !3 !4. The version stands last, so that a text that
was cut short has none and is refused.

These names are kept for ever, and so are the example and the defaults of a host choice that
version 1 counts from. A change to either is version 2.
"""

import re
from decimal import Decimal
from typing import Any

from model.errors import InputError, LinkError
from model.fleet_inputs import (
    FLEET_FIELDS,
    MOST_CHOICES,
    MOST_SITES,
    VERSION,
    FleetInputs,
    HostChoice,
    example,
    from_data,
    to_data,
)
from model.scenario import Scenario, default

_SINGLE = {
    "growth": "growth_pct_per_year",
    "years": "horizon_years",
    "discount": "discount_pct",
    "spare": "spare.hosts",
    "spareshare": "spare.share_pct",
    "drain": "drain_hosts",
    "kwh": "energy_price_per_kwh",
    "overhead": "overhead_factor",
    "hours": "hours_per_year",
    "working": "working_hours_per_year",
    "currency": "currency",
}
_CHOICE = {
    "name": "name",
    "cores": "host.cores",
    "threads": "host.threads_per_core",
    "smt": "host.smt_yield",
    "clock": "host.clock_ghz",
    "turbo": "host.turbo_ratio",
    "ipc": "host.relative_ipc",
    "reserve": "host.reserve_pct",
    "mem": "host.memory_gib",
    "net": "host.network_gbps",
    "gpumem": "host.gpu_memory_gib",
    "cards": "accelerator.cards",
    "slots": "accelerator.displays_per_card",
    "mpx": "accelerator.megapixels_per_s_per_card",
    "share": "accelerator.share_pct",
    "units": "rack_units",
    "idle": "idle_watts",
    "busy": "busy_watts",
    "cardwatts": "card_watts",
    "price": "host_price",
    "cardprice": "card_price",
    "yearly": "yearly_cost_per_host",
}
_TEXTS = {"name", "currency"}
_SIGNS = {"!": "!1", "_": "!2", "~": "!3", "*": "!4"}
_MEANT = {written: sign for sign, written in _SIGNS.items()}
_ITEM = re.compile(r"(s|x)(0|[1-9][0-9]{0,3})|(c)(0|[1-9][0-9]?)\.([a-z]+)")
_NUMBER = re.compile(r"-?[0-9]{1,30}(\.[0-9]{1,30})?(e-?[0-9]{1,3})?")
_WHOLE = re.compile(r"-?[0-9]{1,30}")


def to_text(inputs: FleetInputs, scenario: Scenario) -> str:
    """Return a fleet as the text of a link.

    Parameters
    ----------
    inputs : FleetInputs
        The fleet; it may have roles that the scenario does not have.
    scenario : Scenario
        The scenario beside it, whose roles are told by their number.

    Returns
    -------
    str
        What differs from the example, then the version; empty for the example.
    """
    data, base = _exact(inputs), _exact(example_for(scenario))
    names = [role.name for role in scenario.roles]
    items = [
        (key, _written(_value(data, path)))
        for key, path in _SINGLE.items()
        if _value(data, path) is not None and _value(data, path) != _value(base, path)
    ]
    for field in ("sites", "choices"):
        if len(data[field]) != len(base[field]):
            items.append((field, str(len(data[field]))))
    known = [_site(each, names) for each in base["sites"]]
    for index, site in enumerate(data["sites"]):
        if index >= len(known) or _site(site, names) != known[index]:
            items.append((f"s{index}", _site(site, names)))
    for index, choice in enumerate(data["choices"]):
        there = index < len(base["choices"])
        before = base["choices"][index] if there else _exact_choice()
        items += [
            (f"c{index}.{short}", _written(_value(choice, path)))
            for short, path in _CHOICE.items()
            if _value(choice, path) != _value(before, path)
        ]
    missing = [name for site in data["sites"] for name in site["sessions"] if name not in names]
    for index, name in enumerate(dict.fromkeys(missing)):
        row = _row(site["sessions"].get(name) for site in data["sites"])
        items.append((f"x{index}", f"{_signed(name)}~{row}"))
    return "*".join(f"{key}~{value}" for key, value in [*items, ("v", VERSION)]) if items else ""


def example_for(scenario: Scenario) -> FleetInputs:
    """Return the shipped example for a scenario's roles, which are taken by their place.

    Parameters
    ----------
    scenario : Scenario
        The scenario; what the example says of roles beyond its last one is left out.
    """
    usual = [role.name for role in default().roles]
    names = [role.name for role in scenario.roles]
    data = to_data(example())
    for site in data["sites"]:
        placed = {usual.index(name): count for name, count in site["sessions"].items()}
        site["sessions"] = {names[at]: n for at, n in placed.items() if at < len(names)}
    return from_data(data)


def from_text(text: str, scenario: Scenario) -> FleetInputs:
    """Return the fleet that a link holds.

    Parameters
    ----------
    text : str
        The text in the link; empty for the example.
    scenario : Scenario
        The scenario beside it.

    Returns
    -------
    FleetInputs
        Sessions of roles that the scenario does not have are kept under the name "role 5", or the
        name that the text tells; `model.fleet_inputs.check_roles` refuses them.

    Raises
    ------
    LinkError
        For the first thing that is wrong: which item, its value and what would do. Where the
        model refused the value, its error is the cause.
    """
    data = _exact(example_for(scenario))
    if not text:
        return from_data(data)
    items = _items(text)
    for field, most in (("sites", MOST_SITES), ("choices", MOST_CHOICES)):
        data[field] = _resized(data[field], field, items.pop(field, None), most)
    names = [role.name for role in scenario.roles]
    strangers: list[tuple[str, str]] = []
    spare: dict[str, Any] = {}
    for key, value in items.items():
        if key.startswith("spare") and key in _SINGLE:
            spare[_SINGLE[key].removeprefix("spare.")] = _read(key, _SINGLE[key], value)
        elif key in _SINGLE:
            data[_SINGLE[key]] = _read(key, _SINGLE[key], value)
        elif (match := _ITEM.fullmatch(key)) is None or match[5] not in {None, *_CHOICE}:
            expected = "a name that links of this version have, as growth or c0.price"
            raise LinkError(f"fleet.{key[:40]}", value, expected, "unknown field")
        elif match[1] == "x":
            strangers.append((key, value))
        elif match[1] == "s":
            at = _place(key, match[2], data["sites"])
            data["sites"][at] = _read_site(key, value, names)
        else:
            _read_choice(key, match[4], match[5], value, data["choices"])
    data["spare"] = spare or data["spare"]
    for field, letter in (("sites", "s"), ("choices", "c")):
        if None in data[field]:
            place = f"fleet.{letter}{data[field].index(None)}"
            raise LinkError(place, None, f"all {len(data[field])} {field}", "malformed")
    for key, value in strangers:
        _read_stranger(key, value, data["sites"])
    try:
        return from_data(data)
    except InputError as error:
        field = f"fleet.{error.field}"
        raise LinkError(field, error.value, error.expected, "out of range") from error


# ------------------------------------------------------------------------------------ writing


def _exact(inputs: FleetInputs) -> dict[str, Any]:
    """Return the fleet as data whose amounts keep all their digits."""
    data: dict[str, Any] = inputs.model_dump()
    data["sites"] = [each | {"sessions": dict(each["sessions"])} for each in data["sites"]]
    data["choices"] = list(data["choices"])
    data["spare"] = {name: value for name, value in data["spare"].items() if value is not None}
    return data


def _exact_choice() -> dict[str, Any]:
    return HostChoice(name="-").model_dump() | {"name": None}


def _value(data: dict[str, Any], path: str) -> Any:
    parent, _, name = path.rpartition(".")
    return (data[parent] if parent else data).get(name)


def _site(site: dict[str, Any], names: list[str]) -> str:
    return f"{_signed(site['name'])}~{_row(site['sessions'].get(name) for name in names)}"


def _row(counts: Any) -> str:
    return "_".join("" if count is None else str(count) for count in counts).rstrip("_")


def _written(value: Any) -> str:
    if isinstance(value, str):
        return _signed(value)
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return repr(value).removesuffix(".0").replace("e+", "e")


def _signed(text: str) -> str:
    return "".join("_" if sign == " " else _SIGNS.get(sign, sign) for sign in text)


# ------------------------------------------------------------------------------------ reading


def _items(text: str) -> dict[str, str]:
    *parts, last = text.split("*")
    name, _, version = last.partition("~")
    if name != "v" or not version:
        raise LinkError("fleet", text[:40], f"v~{VERSION} at its end", "cut short")
    if version != str(VERSION):
        expected = f"{VERSION}, the version of fleets that this release reads"
        raise LinkError("fleet.v", version, expected, "unknown version")
    items: dict[str, str] = {}
    for part in parts:
        key, mark, value = part.partition("~")
        if not (key and mark):
            raise LinkError("fleet", part, "a name and a value, as growth~3", "malformed")
        if key in items:
            expected = f"one value; {items[key][:40]!r} stands before"
            raise LinkError(f"fleet.{key[:40]}", value, expected, "malformed")
        items[key] = value
    return items


def _resized(known: list[Any], field: str, text: str | None, most: int) -> list[Any]:
    """Cut the list of sites or host choices, or lengthen it by gaps."""
    if text is None:
        return known
    expected = f"a whole number from 1 to {most}"
    if not _WHOLE.fullmatch(text):
        raise LinkError(f"fleet.{field}", text, expected, "malformed")
    if not 1 <= int(text) <= most:
        raise LinkError(f"fleet.{field}", int(text), expected, "out of range")
    return [*known, *[None] * int(text)][: int(text)]


def _place(key: str, text: str, elements: list[Any]) -> int:
    if int(text) >= len(elements):
        expected = f"a number below {len(elements)} in its name, as there are so many"
        raise LinkError(f"fleet.{key}", int(text), expected, "unknown field")
    return int(text)


def _read_site(key: str, value: str, names: list[str]) -> dict[str, Any]:
    name, mark, row = value.partition("~")
    if not mark:
        raise LinkError(f"fleet.{key}", value, "a name and sessions, as Quay~8_3", "malformed")
    counts = _counts(key, row)
    known = [*names, *(_stranger(at, names) for at in range(len(names), len(counts)))]
    sessions = {known[at]: count for at, count in enumerate(counts) if count is not None}
    return {"name": _unsigned(key, name), "sessions": sessions}


def _stranger(at: int, names: list[str]) -> str:
    name = f"role {at + 1}"
    while name in names:
        name = f"removed {name}"
    return name


def _read_stranger(key: str, value: str, sites: list[dict[str, Any]]) -> None:
    """Give every site its sessions of a role that the scenario did not have."""
    name, mark, row = value.partition("~")
    counts = _counts(key, row)
    if not mark or len(counts) > len(sites):
        expected = f"a role and its sessions at each of {len(sites)} sites, as clerk~8_3"
        raise LinkError(f"fleet.{key}", value, expected, "malformed")
    role = _unsigned(key, name)
    for site, count in zip(sites, counts, strict=False):
        if count is not None:
            if role in site["sessions"]:
                raise LinkError(f"fleet.{key}", role, "each role once at each site", "malformed")
            site["sessions"][role] = count


def _counts(key: str, row: str) -> list[int | None]:
    parts = row.split("_") if row else []
    if len(parts) > 200 or not all(_WHOLE.fullmatch(part) for part in parts if part):
        expected = FLEET_FIELDS["sites.sessions"].expected
        raise LinkError(f"fleet.{key}", row, f"{expected} for each role, joined by _", "malformed")
    return [int(part) if part else None for part in parts]


def _read_choice(key: str, at: str, short: str, value: str, choices: list[Any]) -> None:
    index = _place(key, at, choices)
    if choices[index] is None:
        choices[index] = _exact_choice()
    parent, _, name = _CHOICE[short].rpartition(".")
    (choices[index][parent] if parent else choices[index])[name] = _read(key, name, value)


def _read(key: str, name: str, text: str) -> Any:
    if name in _TEXTS:
        return _unsigned(key, text)
    if not _NUMBER.fullmatch(text):
        raise LinkError(f"fleet.{key}", text, "a number", "malformed")
    if name.endswith("_price") or name.startswith(("energy_price", "yearly_cost")):
        return text if "e" not in text else float(text)
    return int(text) if _WHOLE.fullmatch(text) else float(text)


def _unsigned(key: str, text: str) -> str:
    parts = re.split(r"(![1-4])", text)
    if any("!" in part for part in parts[::2]):
        raise LinkError(f"fleet.{key}", text, "after each ! a digit from 1 to 4", "malformed")
    return "".join(
        _MEANT[part] if at % 2 else part.replace("_", " ") for at, part in enumerate(parts)
    )

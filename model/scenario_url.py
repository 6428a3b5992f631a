"""How does a whole scenario fit into a link that a person can read and that opens for ever?

`to_query` writes only what differs from version 1's default, under short names; `from_query`
reads it back to the last digit, or says in one sentence what is wrong with the link.

    n=120&cores=48&a3.soft=28&r0.p=10_30_30_8_3_8_2_8_1&v=1

Single values have names of their own. "a3.soft" is a field of activity 3, "r0.w" one of role 0,
both counted from 0; "a3=scrolling~20~..." gives all first fields of one, in the order of the
tables below, and fields that came later stand alone beside it, where they are not their default;
"na" and "nr" are the numbers of activities and roles where they differ from the default.
A role's "p" holds its shares in the order of the activities, nothing where it has none.
"m.a3.soft=28~34~log.csv" marks a number as measured: its interval and the log's name. The
version stands last, so that a link that was cut short has none and is refused.

These names and their order are kept for ever, and so is the default that version 1 counts from:
a link that was once given away must open the same numbers. A change to either is version 2; a
name that is added at the end of its table is not, as links without it open with its default.
"""

import re
from typing import Any
from urllib.parse import quote_plus, unquote_plus

from model.defaults import FIELDS, MOST_ACTIVITIES, MOST_ROLES
from model.errors import InputError, LinkError
from model.scenario import (
    MEASURABLE,
    VERSION,
    Scenario,
    default,
    from_data,
    measured_path,
    to_data,
)
from model.sessions import Activity, Role

LONGEST_LINK = 16_384  # characters; a custom mix of 8 roles and 10 activities has about 1,200

_SINGLE = {
    "name": "name",
    "n": "sessions",
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
    "ref": "reference_clock_ghz",
    "cards": "accelerator.cards",
    "slots": "accelerator.displays_per_card",
    "mpx": "accelerator.megapixels_per_s_per_card",
    "share": "accelerator.share_pct",
    "start": "day.start",
    "end": "day.end",
    "present": "day.present_pct",
    "logon": "day.logon_core_s",
    "cpu": "targets.max_cpu_p95_pct",
    "wait": "targets.max_wait_pct",
    "frames": "targets.min_frames_pct",
    "netmax": "targets.max_network_pct",
}
_ACTIVITY = {
    "name": "name",
    "dwell": "dwell_s",
    "burst": "app_burst_ms",
    "bursts": "app_bursts_per_s",
    "rate": "frame_rate_hz",
    "changed": "changed_pixels_pct",
    "spans": "spans",
    "soft": "software_ms_per_frame",
    "off": "offloaded_ms_per_frame",
    "mbps": "network_mbps",
}
_ROLE = {
    "name": "name",
    "w": "weight_pct",
    "vcpus": "vcpus",
    "displays": "displays",
    "display": "display",
    "mem": "memory_gib",
    "gpumem": "gpu_memory_gib",
    "p": "activity_pct",
}
_LISTS = {"a": ("activities", _ACTIVITY), "r": ("roles", _ROLE)}
_RECORDS: dict[str, type[Activity | Role]] = {"a": Activity, "r": Role}
_IN_WHOLE = {"a": 10, "r": 8}  # fields of "a3=...", "r0=...": those of the first release
_MOST = {"a": MOST_ACTIVITIES, "r": MOST_ROLES}
_TEXTS = {"name", "spans", "display"}

_MARK = re.compile(r"m\.a(0|[1-9][0-9]?)\.([a-z]+)")
_MARKED = {short: name for short, name in _ACTIVITY.items() if name in MEASURABLE}
_ELEMENT = re.compile(r"([ar])(0|[1-9][0-9]?)(?:\.([a-z]+))?")
_NUMBER = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?(e-?[0-9]{1,3})?")
_WHOLE = re.compile(r"-?[0-9]{1,40}")
_CLOCK = re.compile(r"([0-9]{2}):?([0-9]{2})")
_BROKEN_ESCAPE = re.compile(r"%(?![0-9A-Fa-f]{2})")


def to_query(scenario: Scenario) -> str:
    """Return a scenario as the query of a link, without a question mark.

    Parameters
    ----------
    scenario : Scenario
        The scenario.

    Returns
    -------
    str
        What differs from the default, then the version; empty for the default.

    Raises
    ------
    InputError
        Where the link would be too long to be read back: save such a scenario as a file.
    """
    data, base = _compact(to_data(scenario)), _compact(to_data(default()))
    items = [
        (key, _written(value))
        for key, path in _SINGLE.items()
        if (value := _value(data, path)) != _value(base, path)
    ]
    shares = len(data["activities"])
    for role in base["roles"]:
        role["activity_pct"] = (role["activity_pct"] + [None] * shares)[:shares]
    for letter, (field, _) in _LISTS.items():
        elements, known = data[field], base[field]
        if len(elements) != len(known):
            items.append((f"n{letter}", str(len(elements))))
        for index, element in enumerate(elements):
            before = known[index] if index < len(known) else None
            items += _element(letter, index, element, before)
    items += _marks(data)
    if not items:
        return ""
    items.append(("v", str(VERSION)))
    query = "&".join(f"{key}={_quoted(text)}" for key, text in items)
    if len(query) > LONGEST_LINK:
        raise InputError("link", f"{len(query)} characters", f"at most {LONGEST_LINK}; save a file")
    return query


def from_query(text: str) -> Scenario:
    """Return the scenario in the query of a link.

    Parameters
    ----------
    text : str
        The query, with or without its question mark; empty for the default.

    Raises
    ------
    LinkError
        For the first thing that is wrong: the field, its value and what would do, and which
        step of reading failed ("cut short", "unknown version", "unknown field", "malformed"
        or "out of range"). Where the model refused the value, its error is the cause.
    """
    items = _items(text)
    if not items:
        return default()
    version = items.pop("v", None)
    if version is None:
        raise LinkError("v", None, f"v={VERSION} at the end of the link", "cut short")
    if version != str(VERSION):
        expected = f"{VERSION}, the version of links that this release reads"
        raise LinkError("v", version, expected, "unknown version")

    data = to_data(default())
    names_before = [activity["name"] for activity in data["activities"]]
    marks = {key: items.pop(key) for key in list(items) if key.startswith("m.")}
    counts = {letter: _resized(letter, data, items) for letter in _LISTS}
    for letter, (field, _) in _LISTS.items():
        for index, element in enumerate(data[field]):
            if element is None and f"{letter}{index}" not in items:
                expected = "all its fields, joined by ~"
                raise LinkError(f"{letter}{index}", None, expected, "malformed")
    for key, value in sorted(items.items(), key=lambda item: "." in item[0]):  # "a3", then "a3.x"
        if key in _SINGLE:
            parent, _, name = _SINGLE[key].rpartition(".")
            (data[parent] if parent else data)[name] = _read(_SINGLE[key], _SINGLE[key], value)
        elif (whole := key.partition(".")[0]) in items and _stands_in_whole(key):
            raise LinkError(
                key[:40], value, f"all fields in {whole[:40]} or each alone", "malformed"
            )
        else:
            _read_element(key, value, data, counts)
    _name_shares(data, names_before)
    for key, value in marks.items():
        _read_mark(key, value, data)
    try:
        return from_data(data)
    except InputError as error:
        raise LinkError(error.field, error.value, error.expected, "out of range") from error


# ------------------------------------------------------------------------------------ writing


def _compact(data: dict[str, Any]) -> dict[str, Any]:
    """Take the colon out of times; give roles' shares by position, None where there is none."""
    day = data["day"]
    day["start"], day["end"] = _digits(day["start"]), _digits(day["end"])
    day["present_pct"] = [[_digits(clock), share] for clock, share in day["present_pct"]]
    names = [activity["name"] for activity in data["activities"]]
    for role in data["roles"]:
        role["activity_pct"] = [role["activity_pct"].get(name) for name in names]
    return data


def _digits(clock: str) -> str:
    match = _CLOCK.fullmatch(clock)
    return f"{match[1]}{match[2]}" if match else clock


def _value(data: dict[str, Any], path: str) -> Any:
    parent, _, name = path.rpartition(".")
    return (data[parent] if parent else data)[name]


def _element(
    letter: str, index: int, element: dict[str, Any], before: dict[str, Any] | None
) -> list[tuple[str, str]]:
    """Return what differs, field by field or all first fields in one, whichever is shorter."""
    key, names = f"{letter}{index}", _LISTS[letter][1]
    whole = [(key, "~".join(_written(element[field]) for field in _in_whole(letter)))]
    whole += [
        (f"{key}.{short}", _written(element[field]))
        for short, field in list(names.items())[_IN_WHOLE[letter] :]
        if element[field] != _RECORDS[letter].model_fields[field].default
    ]
    if before is None:
        return whole
    single = [
        (f"{key}.{short}", _written(element[field]))
        for short, field in names.items()
        if element[field] != before[field]
    ]
    return min(single, whole, key=lambda items: sum(len(k) + len(_quoted(t)) + 2 for k, t in items))


def _in_whole(letter: str) -> list[str]:
    return list(_LISTS[letter][1].values())[: _IN_WHOLE[letter]]


def _marks(data: dict[str, Any]) -> list[tuple[str, str]]:
    """Return what was measured: the interval and the log; the value stands with its activity."""
    index = {activity["name"]: at for at, activity in enumerate(data["activities"])}
    short = {name: key for key, name in _MARKED.items()}
    items = []
    for mark in data.get("measured", ()):
        activity, _, name = mark["path"].removeprefix("activities[").rpartition("].")
        text = f"{_written(mark['low'])}~{_written(mark['high'])}~{mark['source']}"
        items.append((f"m.a{index[activity]}.{short[name]}", text))
    return items


def _written(value: Any) -> str:
    """Write a number with the fewest digits that bring it back, a list by its entries."""
    if isinstance(value, list):
        if value and isinstance(value[0], list):
            return "_".join(f"{_written(clock)}-{_written(share)}" for clock, share in value)
        return "_".join("" if entry is None else _written(entry) for entry in value).rstrip("_")
    if isinstance(value, str):
        return value
    return repr(value).removesuffix(".0").replace("e+", "e")


def _quoted(text: str) -> str:
    return quote_plus(text, safe=",:/")


# ------------------------------------------------------------------------------------ reading


def _items(text: object) -> dict[str, str]:
    """Return the link's values by name, both as they were before they were quoted."""
    if not isinstance(text, str):
        raise LinkError("link", text, "text", "malformed")
    text = text.removeprefix("?")
    if len(text) > LONGEST_LINK:
        raise LinkError(
            "link", f"{len(text)} characters", f"at most {LONGEST_LINK} characters", "malformed"
        )
    parts = text.split("&") if text else []
    items: dict[str, str] = {}
    for index, part in enumerate(parts):
        key, equals, value = part.partition("=")
        if not (key and equals and value) or _BROKEN_ESCAPE.search(part):
            step = "cut short" if index == len(parts) - 1 else "malformed"
            raise LinkError(key[:40] or "link", part, "a name, an equals sign and a value", step)
        try:
            key = unquote_plus(key, errors="strict")
            value = unquote_plus(value, errors="strict")
        except UnicodeDecodeError:
            raise LinkError(key[:40], value, "text in UTF-8", "malformed") from None
        if key in items:
            expected = f"one value; {items[key][:40]!r} stands before"
            raise LinkError(key[:40], value, expected, "malformed")
        items[key] = value
    return items


def _resized(letter: str, data: dict[str, Any], items: dict[str, str]) -> int:
    """Cut the list of activities or roles, or lengthen it by gaps; return its length."""
    field, _ = _LISTS[letter]
    if (text := items.pop(f"n{letter}", None)) is not None:
        expected = f"a whole number from 1 to {_MOST[letter]}"
        if not _WHOLE.fullmatch(text):
            raise LinkError(f"n{letter}", text, expected, "malformed")
        count = int(text)
        if not 1 <= count <= _MOST[letter]:
            raise LinkError(f"n{letter}", count, expected, "out of range")
        data[field] = (data[field] + [None] * count)[:count]
    return len(data[field])


def _stands_in_whole(key: str) -> bool:
    """Whether a name such as "a3.soft" is of a field that "a3=..." holds already."""
    match = _ELEMENT.fullmatch(key)
    if match is None or match[3] is None:
        return "." in key
    return _LISTS[match[1]][1].get(match[3]) in [*_in_whole(match[1]), None]


def _read_element(key: str, value: str, data: dict[str, Any], counts: dict[str, int]) -> None:
    """Put the value of "a3", "a3.soft", "r0" or "r0.w" into its place."""
    match = _ELEMENT.fullmatch(key)
    field, names = _LISTS[match[1]] if match else ("", {})
    if match is None or (match[3] is not None and match[3] not in names):
        expected = "a name that links of this version have, as n or cores"
        raise LinkError(key[:40], value, expected, "unknown field")
    index = int(match[2])
    if index >= counts[match[1]]:
        expected = f"a number below {counts[match[1]]} in its name, as there are so many {field}"
        raise LinkError(key, value, expected, "unknown field")
    path = f"{field}[{index}]"
    if match[3] is not None:
        name = names[match[3]]
        data[field][index][name] = _read(f"{field}.{name}", f"{path}.{name}", value)
        return
    fields = _in_whole(match[1])
    parts = value.rsplit("~", len(fields) - 1)  # from the right: a name may hold the sign itself
    if len(parts) != len(fields):
        raise LinkError(key, value, f"{len(fields)} fields joined by ~", "malformed")
    data[field][index] = {
        name: _read(f"{field}.{name}", f"{path}.{name}", part)
        for name, part in zip(fields, parts, strict=True)
    }


def _read_mark(key: str, value: str, data: dict[str, Any]) -> None:
    """Put the value of "m.a3.soft" into the list of what was measured."""
    match = _MARK.fullmatch(key)
    if match is None or match[2] not in _MARKED:
        expected = "a name that links of this version have, as m.a3.soft"
        raise LinkError(key[:40], value, expected, "unknown field")
    at, name = int(match[1]), _MARKED[match[2]]
    if at >= len(data["activities"]):
        expected = f"a number below {len(data['activities'])} in its name"
        raise LinkError(key, value, f"{expected}, as there are so many activities", "unknown field")
    parts = value.split("~", 2)  # from the left: a log's name may hold the sign itself
    if len(parts) != 3 or not all(_NUMBER.fullmatch(part) for part in parts[:2]):
        raise LinkError(key, value, 'low, high and the log, as "28~34~log.csv"', "malformed")
    activity = data["activities"][at]
    low, high = (int(part) if _WHOLE.fullmatch(part) else float(part) for part in parts[:2])
    path = measured_path(activity["name"], name)
    mark = {"path": path, "value": activity[name], "low": low, "high": high, "source": parts[2]}
    data.setdefault("measured", []).append(mark)


def _name_shares(data: dict[str, Any], names_before: list[str]) -> None:
    """Put names to each role's shares, which came by position or from the default."""
    names = [activity["name"] for activity in data["activities"]]
    for index, role in enumerate(data["roles"]):
        shares = role["activity_pct"]
        if isinstance(shares, dict):
            placed = [(names_before.index(name), share) for name, share in shares.items()]
            role["activity_pct"] = {names[at]: share for at, share in placed if at < len(names)}
            continue
        if len(shares) > len(names):
            expected = f"at most {len(names)} shares, one for each activity"
            raise LinkError(f"r{index}.p", f"{len(shares)} shares", expected, "malformed")
        given = zip(names, shares, strict=False)
        role["activity_pct"] = {name: share for name, share in given if share is not None}


def _read(template: str, path: str, text: str) -> Any:
    """Return the value of one field; `template` is its path without an index."""
    name = template.rpartition(".")[2]
    if name in _TEXTS:
        return text
    if template in ("day.start", "day.end"):
        return _clock(text)
    if template == "day.present_pct":
        return [_present_point(f"{path}[{i}]", each) for i, each in enumerate(text.split("_"))]
    if template == "roles.activity_pct":
        return [_number(template, path, each) if each else None for each in text.split("_")]
    return _number(template, path, text)


def _present_point(path: str, text: str) -> list[Any]:
    clock, dash, share = text.partition("-")
    if not dash:
        raise LinkError(path, text, 'a time and a share, as "0730-60"', "malformed")
    return [_clock(clock), _number("day.present_pct", path, share)]


def _clock(text: str) -> str:
    match = _CLOCK.fullmatch(text)
    return f"{match[1]}:{match[2]}" if match else text  # the model refuses what is no time


def _number(template: str, path: str, text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise LinkError(path, text, FIELDS[template].expected, "malformed")
    return int(text) if _WHOLE.fullmatch(text) else float(text)

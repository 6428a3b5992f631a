"""Texts, numbers and bytes that no one means well with, drawn by a seeded generator.

`HOSTILE_TEXTS` holds one of each kind; `mutated` changes plain JSON data somewhere; `damaged`
changes bytes. Nothing here knows what it is thrown at.
"""

import copy
import json
import random
from typing import Any

LONG = "x" * 10_000
RIGHT_TO_LEFT = "\u202efdp.exe\u202c"
HOSTILE_TEXTS = (
    "", " ", "\x00", "a\x00b", "\n", "\r\nSet-Cookie: a=b", "\t", LONG, "\u00e9" * 5_000,
    RIGHT_TO_LEFT, "\u200b", "\ufeff", "\ud800", "\U0001f600" * 50, "e\u0301" * 300,
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "\"><svg/onload=alert(1)>",
    "javascript:alert(1)", "{{7*7}}", "${7*7}", "%s%s%n", "%00", "%", "%zz", "%f0%28%8c%bc",
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "'; DROP TABLE items; --", "\" OR 1=1",
    "../../etc/passwd",
    "..\\..\\x", "/etc/passwd", "file:///etc/passwd", "http://127.0.0.1:1/", "CON", "NaN",
    "Infinity",
    "-Infinity", "1e400", "1e-400", "0x10", "1_000", "\u0661\u0662", "1,5", "null", "None", "true",
    "[object Object]", "__proto__", "constructor", "__class__", "{}", "[]", "&v=1", "v=1", "?", "#",
    "berth planner", "software", "a" * 81,
)  # fmt: skip
HOSTILE_NUMBERS = (
    0, -1, 1, 2**31, 2**63, 2**64, 10**40, -(10**40), 0.0, -0.0, 0.1, 1e-308, 5e-324, 1e308,
    float("inf"), float("-inf"), float("nan"), 1e16 + 1, 99_999.5, True, False,
)  # fmt: skip
HOSTILE_OTHERS: tuple[Any, ...] = (
    None, [], {}, [[]], [None], {"": ""}, {"__proto__": {"x": 1}}, ["a"] * 2_000, [[["deep"]]],
    {"a": {"b": {"c": []}}},
)  # fmt: skip


def nested(depth: int) -> Any:
    """Return lists within lists."""
    data: Any = []
    for _ in range(depth):
        data = [data]
    return data


def hostile_value(rng: random.Random) -> Any:
    """Return any value that a JSON text can hold, seldom one that is meant well."""
    kind = rng.random()
    if kind < 0.5:
        return rng.choice(HOSTILE_TEXTS)
    if kind < 0.8:
        return rng.choice(HOSTILE_NUMBERS)
    if kind < 0.97:
        return copy.deepcopy(rng.choice(HOSTILE_OTHERS))
    return nested(rng.choice((5, 50, 300)))


def mutated(data: Any, rng: random.Random) -> Any:
    """Return plain JSON data with one to three places changed."""
    changed = copy.deepcopy(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        changed = _changed_somewhere(changed, rng)
    return changed


def _changed_somewhere(data: Any, rng: random.Random) -> Any:
    places = list(_places(data, ()))
    if not places:
        return hostile_value(rng)
    *path, last = rng.choice(places)
    at = data
    for name in path:
        at = at[name]
    act = rng.random()
    if act < 0.7:
        at[last] = hostile_value(rng)
    elif act < 0.8:
        del at[last]
    elif act < 0.9 and isinstance(at, dict):
        at[str(rng.choice(HOSTILE_TEXTS))[:100]] = hostile_value(rng)
    elif isinstance(at, list):
        at.extend(copy.deepcopy([at[last]] * rng.choice((1, 60))))
    return data


def _places(data: Any, path: tuple[Any, ...]) -> Any:
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for name, value in items:
        yield (*path, name)
        if isinstance(value, dict | list):
            yield from _places(value, (*path, name))


def as_json(data: Any) -> bytes:
    """Return data as JSON text, NaN and lone surrogates as some programs write them."""
    return json.dumps(data, ensure_ascii=True).encode()


def damaged(content: bytes, rng: random.Random) -> bytes:
    """Return bytes with some changed, cut, doubled or added."""
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 5, 30))):
        at = rng.randrange(len(changed) + 1)
        act = rng.random()
        if act < 0.4 and at < len(changed):
            changed[at] = rng.randrange(256)
        elif act < 0.6:
            changed[at:at] = rng.randbytes(rng.choice((1, 4, 100)))
        elif act < 0.8:
            del changed[at : at + rng.choice((1, 4, 1_000))]
        else:
            changed[at:at] = changed[max(at - 200, 0) : at]
    return bytes(changed)


def damaged_text(text: str, rng: random.Random) -> str:
    """Return a text with some places changed into something hostile."""
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(text) + 1)
        piece = rng.choice(
            (rng.choice(HOSTILE_TEXTS)[:300], chr(rng.randrange(0xD7FF)), "&", "=", "~")
        )
        text = text[:at] + piece + text[at + rng.choice((0, 0, 1, 5, 40)) :]
    return text

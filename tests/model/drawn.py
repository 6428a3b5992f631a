"""Which scenarios does chance draw for the tests that hold for any scenario?

`scenarios()` are small and such as people have; `extreme_scenarios()` use the whole range that
each field allows, names included, and are meant for reading and writing, not for computing.
"""

from typing import Any

from hypothesis import strategies as st

from model.accelerator import Accelerator
from model.cpu import Host
from model.defaults import FIELDS
from model.scenario import Scenario, from_data

DISPLAYS = ("1280x1024", "1920x1080", "1920x1200", "2560x1440", "3840x2160")


def decimals(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers with at most two decimals, both ends included."""
    return st.integers(round(low * 100), round(high * 100)).map(lambda cents: cents / 100)


@st.composite
def shares_pct(draw: st.DrawFn, count: int) -> list[float]:
    """So many shares that add up to 100 %, some of them 0."""
    cuts = sorted(draw(st.lists(st.integers(0, 200), min_size=count - 1, max_size=count - 1)))
    return [(high - low) / 2 for low, high in zip([0, *cuts], [*cuts, 200], strict=True)]


@st.composite
def host_data(draw: st.DrawFn, most_cores: int = 64) -> dict[str, Any]:
    """Hosts of 1 to 64 cores, with and without SMT and turbo."""
    return {
        "cores": draw(st.integers(1, most_cores)),
        "threads_per_core": draw(st.sampled_from([1, 2])),
        "smt_yield": draw(decimals(0, 1)),
        "clock_ghz": draw(decimals(1.5, 4.5)),
        "turbo_ratio": draw(decimals(1, 2)),
        "relative_ipc": draw(decimals(0.5, 2)),
        "reserve_pct": draw(decimals(0, 30)),
        "memory_gib": draw(st.integers(64, 4096)),
        "network_gbps": draw(st.sampled_from([1, 10, 25])),
        "gpu_memory_gib": draw(st.sampled_from([0, 48])),
    }


def hosts(most_cores: int = 64) -> st.SearchStrategy[Host]:
    """Hosts as records."""
    return host_data(most_cores).map(Host.model_validate)


@st.composite
def accelerator_data(draw: st.DrawFn) -> dict[str, Any]:
    """No card to 3 cards, few or many display slots, any share of the sessions."""
    return {
        "cards": draw(st.integers(0, 3)),
        "displays_per_card": draw(st.integers(1, 100)),
        "megapixels_per_s_per_card": draw(st.integers(100, 10_000)),
        "share_pct": draw(decimals(0, 100)),
    }


def accelerators() -> st.SearchStrategy[Accelerator]:
    """Accelerators as records."""
    return accelerator_data().map(Accelerator.model_validate)


@st.composite
def activity_data(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """Activities with and without motion; a card never makes a frame dearer."""
    software = draw(decimals(0, 60))
    return {
        "name": name,
        "dwell_s": draw(st.integers(1, 900)),
        "app_burst_ms": draw(decimals(0, 40)),
        "app_bursts_per_s": draw(decimals(0, 30)),
        "frame_rate_hz": draw(st.one_of(st.just(0), decimals(0.5, 60))),
        "changed_pixels_pct": draw(decimals(0, 100)),
        "spans": draw(st.sampled_from(["one", "all"])),
        "software_ms_per_frame": software,
        "offloaded_ms_per_frame": draw(decimals(0, software)),
        "network_mbps": draw(decimals(0, 20)),
    }


@st.composite
def scenario_data(draw: st.DrawFn, most_sessions: int = 60) -> dict[str, Any]:
    """Scenarios of 1 to 5 roles and 1 to 7 activities as plain data."""
    activities = [
        draw(activity_data(f"activity {index}")) for index in range(draw(st.integers(1, 7)))
    ]
    weights = draw(shares_pct(draw(st.integers(1, 5))))
    roles = [
        {
            "name": f"role {index}",
            "weight_pct": weight,
            "vcpus": draw(st.sampled_from([1, 2, 4])),
            "displays": draw(st.integers(1, 3)),
            "display": draw(st.sampled_from(DISPLAYS)),
            "memory_gib": draw(st.integers(0, 16)),
            "gpu_memory_gib": draw(st.sampled_from([0, 0.5])),
            "activity_pct": dict(
                zip(
                    [activity["name"] for activity in activities],
                    draw(shares_pct(len(activities))),
                    strict=True,
                )
            ),
        }
        for index, weight in enumerate(weights)
    ]
    return {
        "version": 1,
        "name": "drawn",
        "sessions": draw(st.integers(1, most_sessions)),
        "host": draw(host_data()),
        "reference_clock_ghz": draw(decimals(1.5, 4.5)),
        "accelerator": draw(accelerator_data()),
        "activities": activities,
        "roles": roles,
        "day": {
            "start": "08:00",
            "end": "17:30",
            "present_pct": [["08:00", draw(decimals(0, 100))], ["17:30", draw(decimals(0, 100))]],
            "logon_core_s": draw(decimals(0, 60)),
        },
        "targets": {
            "max_cpu_p95_pct": draw(decimals(50, 100)),
            "max_wait_pct": draw(decimals(0.5, 20)),
            "min_frames_pct": draw(decimals(50, 100)),
            "max_network_pct": draw(decimals(30, 100)),
        },
    }


def scenarios(most_sessions: int = 60) -> st.SearchStrategy[Scenario]:
    """Scenarios of 1 to 5 roles and 1 to 7 activities."""
    return scenario_data(most_sessions).map(from_data)


# ---------------------------------------------------------------------------------- extremes

_NAMES = st.text(st.characters(codec="utf-8"), min_size=1, max_size=12).filter(
    lambda text: text.isprintable() and text == text.strip()
)


def anything_allowed(path: str) -> st.SearchStrategy[float]:
    """All values that one field allows, to the last digit, its two ends often."""
    quantity = FIELDS[path]
    ends = st.sampled_from([quantity.low, quantity.high])
    if quantity.whole:
        return st.one_of(ends.map(int), st.integers(int(quantity.low), int(quantity.high)))
    return st.one_of(ends, st.floats(quantity.low, quantity.high))


def _fields(prefix: str, but: tuple[str, ...] = ()) -> st.SearchStrategy[dict[str, Any]]:
    names = [path.partition(".")[2] for path in FIELDS if path.startswith(f"{prefix}.")]
    return st.fixed_dictionaries(
        {name: anything_allowed(f"{prefix}.{name}") for name in names if name not in but}
    )


@st.composite
def uneven_shares_pct(draw: st.DrawFn, count: int) -> list[float]:
    """So many shares with all their digits that add up to 100 % but for rounding."""
    cuts = sorted(draw(st.lists(st.floats(0, 100), min_size=count - 1, max_size=count - 1)))
    return [high - low for low, high in zip([0.0, *cuts], [*cuts, 100.0], strict=True)]


@st.composite
def extreme_scenarios(draw: st.DrawFn) -> Scenario:
    """Scenarios with anything that each field allows."""
    names = draw(st.lists(_NAMES, min_size=1, max_size=12, unique=True))
    role_names = draw(st.lists(_NAMES, min_size=1, max_size=6, unique=True))
    weights = draw(uneven_shares_pct(len(role_names)))
    clocks = sorted(draw(st.sets(st.integers(0, 24 * 60), min_size=2, max_size=6)))
    times = [f"{minute // 60:02}:{minute % 60:02}" for minute in clocks]
    activities = [
        {"name": name, "spans": draw(st.sampled_from(["one", "all"]))} | draw(_fields("activities"))
        for name in names
    ]
    roles = []
    for name, weight in zip(role_names, weights, strict=True):
        some = draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
        shares = dict(zip(some, draw(uneven_shares_pct(len(some))), strict=True))
        wide, high = draw(st.integers(100, 9999)), draw(st.integers(100, 9999))
        own = {"name": name, "weight_pct": weight, "activity_pct": shares}
        own["display"] = f"{wide}x{high}"
        roles.append(own | draw(_fields("roles", ("weight_pct", "activity_pct"))))
    return from_data(
        {
            "version": 1,
            "name": draw(_NAMES),
            "sessions": draw(anything_allowed("sessions")),
            "host": draw(_fields("host")),
            "reference_clock_ghz": draw(anything_allowed("reference_clock_ghz")),
            "accelerator": draw(_fields("accelerator")),
            "activities": activities,
            "roles": roles,
            "day": {
                "start": times[0],
                "end": times[-1],
                "present_pct": [
                    [time, draw(anything_allowed("day.present_pct"))] for time in times
                ],
                "logon_core_s": draw(anything_allowed("day.logon_core_s")),
            },
            "targets": draw(_fields("targets")),
        }
    )

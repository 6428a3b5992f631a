"""The shipped example with a few changes, as tests need it."""

from model.scenario import Scenario, default, from_data, to_data


def changed(**fields) -> Scenario:
    """The example with some fields changed, by dotted path with __ for the dots."""
    data = to_data(default())
    for path, value in fields.items():
        *names, last = path.split("__")
        at = data
        for name in names:
            at = at[name]
        at[last] = value
    return from_data(data)


def one_activity(**host) -> Scenario:
    """Sessions that are all alike: 0.095 cores each on 8 cores, so that CPU alone limits."""
    data = to_data(default())
    work = data["activities"][1] | {
        "name": "work",
        "app_burst_ms": 19,
        "app_bursts_per_s": 5,
        "frame_rate_hz": 0,
    }
    role = data["roles"][0] | {"name": "everyone", "weight_pct": 100, "activity_pct": {"work": 100}}
    data["host"] |= {"cores": 8, "threads_per_core": 1, "turbo_ratio": 1.0, "reserve_pct": 0}
    data["host"] |= host
    data["targets"] |= {"max_wait_pct": 100, "min_frames_pct": 1}
    return from_data(data | {"sessions": 40, "activities": [work], "roles": [role]})

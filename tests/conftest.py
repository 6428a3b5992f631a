"""What every test shares: surroundings that do not depend on who runs it."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

# Chance is drawn the same way in every run, and a slow machine is no failure.
settings.register_profile("crestline", derandomize=True, deadline=None)
settings.load_profile("crestline")


@pytest.fixture(autouse=True, scope="session")
def own_surroundings() -> Iterator[None]:
    """Keep the developer's own Crestline settings and proxy out of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        for name in list(os.environ):
            if name.startswith("CRESTLINE_"):
                patch.delenv(name)
        for name in ("NO_PROXY", "no_proxy"):
            patch.setenv(name, "127.0.0.1,localhost")
        yield


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests marked speed unless `-m` asks for them.

    This is not `-m "not speed"` in addopts, which any other `-m` would replace.
    """
    if "speed" in config.option.markexpr:
        return
    speed = [item for item in items if item.get_closest_marker("speed")]
    if speed:
        config.hook.pytest_deselected(items=speed)
        items[:] = [item for item in items if not item.get_closest_marker("speed")]

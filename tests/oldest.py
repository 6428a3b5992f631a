"""Do the quick tests pass with the oldest release of every package that pyproject.toml allows?

    .venv/bin/python -m tests.oldest

builds a virtual environment in a temporary folder, with the lowest version of each bound, and runs
the quick tests in it. The newest versions below the upper bounds are what `.ci/run` installs.
"""

import re
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[1]
LOWEST = re.compile(r"([A-Za-z0-9_.-]+(?:\[[a-z]+\])?)>=([0-9.]+)")
NOT_HELD = {"mypy", "pandas-stubs", "ruff", "setuptools"}  # they only read the code, or build it


def lowest_versions() -> list[str]:
    """Return every dependency, those of the tests included, held to its lowest version."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    found = {}
    for bound in wanted:
        name, version = LOWEST.match(bound.strip()).groups()
        if name not in NOT_HELD:
            found[name] = f"{name}=={version}"
    return sorted(found.values())


def main() -> int:
    """Build the environment, run the quick tests in it, and return their status."""
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = str(Path(folder) / "bin" / "python")
        held = lowest_versions()
        print("held to:", ", ".join(held), flush=True)
        install = [python, "-m", "pip", "install", "-qq", *held, "setuptools>=77", "ruff>=0.17"]
        subprocess.run(install, check=True)
        editable = [python, "-m", "pip", "install", "-qq", "--no-deps", "-e", str(REPOSITORY)]
        subprocess.run(editable, check=True)
        quick = [python, "-m", "pytest", "-q", "-m", "not browser and not slow and not speed"]
        return subprocess.run(quick, cwd=REPOSITORY).returncode


if __name__ == "__main__":
    sys.exit(main())

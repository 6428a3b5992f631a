"""Where do the general queueing programs come from that Crestline is timed against?

They live in an environment of their own, made on first use below the user's cache: one of them
asks for an older pandas than Crestline does, the other brings a package named tests.
"""

import json
import os
import subprocess
import sys
import venv
from collections.abc import Iterable
from pathlib import Path
from typing import Any

PACKAGES = {"line-solver": "3.0.8.0", "ciw": "3.2.7"}
INSTALL_LIMIT_S = 600
ANSWER_LIMIT_S = 900  # a minute where nothing else runs
PROGRAMS = Path(__file__).with_name("reference_programs.py")


class NoReferenceProgramsError(Exception):
    """The reference programs could not be installed or did not answer."""


def python() -> Path:
    """Return the interpreter that has the reference programs, installing them if need be."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "crestline"
    wanted = [f"{name}=={version}" for name, version in PACKAGES.items()]
    here = f"{sys.version_info.major}.{sys.version_info.minor}"
    folder = cache / "-".join(["reference-programs", here, *PACKAGES.values()])
    program = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    complete = folder / "complete"
    if not complete.exists():
        venv.create(folder, clear=True, with_pip=True)
        # The same numpy on both sides, so that it is no part of the comparison.
        numpy = _versions([sys.executable], ["numpy"])["numpy"]
        command = [str(program), "-m", "pip", "install", "-q", f"numpy=={numpy}", *wanted]
        done = subprocess.run(command, capture_output=True, text=True, timeout=INSTALL_LIMIT_S)
        if done.returncode != 0:
            raise NoReferenceProgramsError(done.stderr.strip()[-500:])
        complete.touch()
    return program


def versions() -> dict[str, str]:
    """Return the versions of the reference programs and of what they compute with."""
    return _versions([str(python())], [*PACKAGES, "numpy", "scipy"])


def _versions(command: list[str], names: list[str]) -> dict[str, str]:
    code = f"import json; from importlib.metadata import version as v; names = {names!r}; "
    code += "print(json.dumps({name: v(name) for name in names}))"
    done = subprocess.run([*command, "-c", code], capture_output=True, text=True, check=True)
    found: dict[str, str] = json.loads(done.stdout)
    return found


def answers(tasks: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return what the reference programs answer to tasks, one after the other."""
    text = "".join(json.dumps(task) + "\n" for task in tasks)
    done = subprocess.run(
        [str(python()), "-P", "-W", "ignore", str(PROGRAMS)],
        input=text,
        capture_output=True,
        text=True,
        timeout=ANSWER_LIMIT_S,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
    )
    if done.returncode != 0:
        raise NoReferenceProgramsError(done.stderr.strip()[-1_000:])
    return [json.loads(line) for line in done.stdout.splitlines()]

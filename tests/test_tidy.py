"""Is the repository in the shape that its own rules ask for?"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]

TOP_LEVEL = {
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "app",
    "assets",
    "demo_data",
    "model",
    "pyproject.toml",
    "tests",
}
MADE_BY_TOOLS = {"__pycache__", "build", "crestline.egg-info", "dist"}


def readme_commands():
    """Return the README's commands for running and for testing, in this order."""
    lines = (REPOSITORY / "README.md").read_text(encoding="utf-8").splitlines()
    return [line.strip() for line in lines if line.strip().startswith("python3 -m venv ")]


def run(*command):
    """Run a tool from the repository's folder; return its exit status and all it printed."""
    done = subprocess.run(
        [sys.executable, "-m", *command],
        cwd=REPOSITORY,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    return done.returncode, done.stdout


def top_level(repository):
    """Return what lies at the top of the repository, less dotfiles and what git ignores."""
    listing = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    try:
        done = subprocess.run(listing, cwd=repository, capture_output=True, text=True)
        in_git = done.returncode == 0
    except OSError:
        in_git = False
    if in_git:
        files = [name for name in done.stdout.splitlines() if (repository / name).exists()]
        names = {name.partition("/")[0] for name in files}
    else:  # an unpacked archive
        names = {path.name for path in repository.iterdir()} - MADE_BY_TOOLS
    return {name for name in names if not name.startswith(".")}


def test_top_level_holds_the_named_files_and_folders_only():
    """The first thing a newcomer sees is the list in DEVELOPERS.md, and nothing else."""
    assert top_level(REPOSITORY) == TOP_LEVEL


def test_top_level_is_read_in_git_and_without(tmp_path):
    """What git ignores does not count, nor does what a build leaves in an unpacked archive."""
    for name in (".hidden", "README.md", "build", "crestline.egg-info"):
        (tmp_path / name).touch()
    assert top_level(tmp_path) == {"README.md"}

    (tmp_path / ".gitignore").write_text("build\n", encoding="utf-8")
    subprocess.run(["git", "init", "-q", "."], cwd=tmp_path, check=True)
    assert top_level(tmp_path) == {"README.md", "crestline.egg-info"}


def test_readme_has_one_command_to_run_and_one_to_test():
    """Each command is one line that also makes its own virtual environment."""
    to_run, to_test = readme_commands()

    assert to_run.endswith(" && .venv/bin/python -m app")
    assert to_test.endswith(" && .venv/bin/python -m pytest")


def test_continuous_integration_runs_the_readme_test_command():
    """What is checked for everyone is what one developer can run, and nothing besides."""
    lines = (REPOSITORY / ".ci" / "run").read_text(encoding="utf-8").splitlines()

    assert [line for line in lines if line and not line.startswith("#")] == [
        "set -euo pipefail",
        'cd "$(dirname "${BASH_SOURCE[0]}")/.."',
        readme_commands()[1],
    ]


def test_continuous_integration_can_start_its_script():
    """The script may be run as a program."""
    assert os.access(REPOSITORY / ".ci" / "run", os.X_OK)


def test_ruff_finds_nothing():
    """The code keeps to the lint rules set in pyproject.toml."""
    status, printed = run("ruff", "check", ".")

    assert status == 0, printed


@pytest.mark.slow
def test_mypy_finds_nothing():
    """The types of model and app fit together."""
    status, printed = run("mypy", "model", "app")

    assert status == 0, printed

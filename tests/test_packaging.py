"""Does an installed copy work away from the repository?"""

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
CARRIED_INSIDE = {"app._assets": "assets", "app._demo_data": "demo_data"}

PLACES = """
from app import places
print(places.__file__, places.assets_folder(), places.demo_data_folder(), sep="\\n")
"""


def run(*command, **options):
    """Run a command; fail with all it printed if it does, else return that."""
    done = subprocess.run(
        [sys.executable, *command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        **options,
    )
    assert done.returncode == 0, f"{' '.join(map(str, command))}\n{done.stdout}"
    return done.stdout


def files_below(folder):
    """Return the files that a package carries: all but the hidden ones and the caches."""
    paths = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {
        path.as_posix()
        for path in paths
        if not any(part.startswith(".") or part == "__pycache__" for part in path.parts)
    }


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, built from a copy so that no build folder is left in the repository."""
    source = tmp_path_factory.mktemp("source")
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy2(REPOSITORY / name, source)
    for name in ("app", "model", "assets", "demo_data"):
        ignore = shutil.ignore_patterns("__pycache__")
        shutil.copytree(REPOSITORY / name, source / name, ignore=ignore)
    target = tmp_path_factory.mktemp("wheel")
    # No build isolation: setuptools is there with the test extra, so nothing is downloaded.
    build = ["--no-deps", "--no-build-isolation", "-w", target, source]
    run("-m", "pip", "wheel", "-q", *build)
    (built,) = target.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """The folder into which the wheel is installed."""
    folder = tmp_path_factory.mktemp("installed")
    run("-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", folder, wheel)
    return folder


@pytest.fixture
def elsewhere(installed, tmp_path):
    """How to start a fresh interpreter that sees the installed copy from an unrelated folder."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("CRESTLINE_")}
    return {"cwd": tmp_path, "env": kept | {"PYTHONPATH": str(installed)}}


def test_packages_are_the_folders_that_hold_code():
    """A new folder of code is listed in pyproject.toml, or an installed copy would lack it."""
    folders = {
        ".".join(path.parent.relative_to(REPOSITORY).parts)
        for top in ("app", "model")
        for path in (REPOSITORY / top).rglob("*.py")
    }

    listed = PROJECT["tool"]["setuptools"]["packages"]
    assert sorted(set(listed) - set(CARRIED_INSIDE)) == sorted(folders)


def test_every_dependency_has_a_lower_and_an_upper_bound():
    """A dependency's next major release reaches a user only after the tests have seen it."""
    bounded = re.compile(r"[a-z-]+>=\d[\d.]*,<\d[\d.]*")

    unbounded = [each for each in PROJECT["project"]["dependencies"] if not bounded.fullmatch(each)]
    assert unbounded == []


@pytest.mark.slow
def test_wheel_carries_the_code_and_what_the_pages_need(wheel):
    """The wheel holds both packages, the assets, the demonstration data and the licence only."""
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())

    information = f"crestline-{PROJECT['project']['version']}.dist-info"
    expected = {
        f"{top}/{name}" for top in ("app", "model") for name in files_below(REPOSITORY / top)
    }
    for package, folder in CARRIED_INSIDE.items():
        inside = package.replace(".", "/")
        expected |= {f"{inside}/{name}" for name in files_below(REPOSITORY / folder)}
    assert {name for name in names if not name.startswith(information)} == expected
    assert f"{information}/licenses/LICENSE" in names


@pytest.mark.slow
def test_installed_copy_finds_its_assets_and_data(installed, elsewhere):
    """From any folder, an installed copy reads its own assets and data, not the repository's."""
    module, assets, demo_data = run("-c", PLACES, **elsewhere).split("\n")[:3]

    assert Path(module) == installed / "app" / "places.py"
    assert Path(assets) == installed / "app" / "_assets"
    assert Path(demo_data) == installed / "app" / "_demo_data"
    assert files_below(Path(assets)) == files_below(REPOSITORY / "assets")
    assert files_below(Path(demo_data)) == files_below(REPOSITORY / "demo_data")


@pytest.mark.slow
@pytest.mark.parametrize("package", ["app", "model"])
def test_installed_command_explains_itself(elsewhere, package):
    """`python -m app --help` and `python -m model --help` work from any folder."""
    assert "usage" in run("-m", package, "--help", **elsewhere).lower()

"""Where do the style sheets, scripts and demonstration data lie?

In the repository they lie at the top, beside this package. An installed copy carries them inside
the package. The repository comes first, so that an edit shows without installing again.
"""

from pathlib import Path

_APP = Path(__file__).resolve().parent


def assets_folder() -> Path:
    """Return the folder of style sheets, client-side scripts and icons."""
    return _folder("assets", _APP)


def demo_data_folder() -> Path:
    """Return the folder of example scenarios and example measurements."""
    return _folder("demo_data", _APP)


def _folder(name: str, app: Path) -> Path:
    in_repository = app.parent / name
    if (app.parent / "pyproject.toml").is_file() and in_repository.is_dir():
        return in_repository
    installed = app / f"_{name}"
    if installed.is_dir():
        return installed
    raise FileNotFoundError(
        f"the folder {name} is missing; expected it at {in_repository} in a clone of the "
        f"repository, or at {installed} in an installed copy. Install Crestline again."
    )

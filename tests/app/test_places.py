"""Where the application looks for its assets and demonstration data."""

import pytest

from app import places


def test_repository_comes_first(tmp_path):
    """Beside a pyproject.toml the top folder is used, although an installed one is there too."""
    (tmp_path / "pyproject.toml").touch()
    (tmp_path / "assets").mkdir()
    (tmp_path / "app" / "_assets").mkdir(parents=True)

    assert places._folder("assets", tmp_path / "app") == tmp_path / "assets"


def test_installed_folder_is_used_outside_a_repository(tmp_path):
    """A folder of the same name beside an installed copy is somebody else's, and left alone."""
    (tmp_path / "assets").mkdir()
    (tmp_path / "app" / "_assets").mkdir(parents=True)

    assert places._folder("assets", tmp_path / "app") == tmp_path / "app" / "_assets"


def test_missing_folder_is_named(tmp_path):
    """Where neither is there, the error says what is missing and where it was expected."""
    with pytest.raises(FileNotFoundError, match="demo_data is missing; expected it at"):
        places._folder("demo_data", tmp_path / "app")


def test_folders_of_this_copy_are_there():
    """The assets and the demonstration data of this copy are found, by absolute path."""
    for folder in (places.assets_folder(), places.demo_data_folder()):
        assert folder.is_absolute()
        assert folder.is_dir()

"""The folder of the running daemon is found in almost any file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.site import Journal
from controller.settings.rescue import find_directory

GOOD = (
    '[site]\nname = "x"\n\n[journal]\n# where\ndirectory = "/srv/house"\n\n[mail]\ndirectory = "/elsewhere"\n'
)


@pytest.mark.parametrize(
    "text",
    [GOOD, GOOD + "\ncolour = red\n", GOOD + "\n[[", GOOD.replace('name = "x"', "name = x"),
     GOOD.replace('"/srv/house"', "'/srv/house'"), GOOD.replace('name = "x"', 'name = "x"\nname = "y"')],
)  # fmt: skip
def test_the_folder_is_found_in_a_good_file_and_in_a_broken_one(tmp_path: Path, text: str) -> None:
    """Whatever is wrong elsewhere, staff reach the daemon."""
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")

    assert find_directory(path) == Path("/srv/house")


@pytest.mark.parametrize(
    "text", ["", "[journal]\n", "[journal]\ndirectory = 5\n", "journal = 3\n", "[mail]\ndirectory = '/x'\n"]
)
def test_without_a_folder_the_usual_one_is_meant(tmp_path: Path, text: str) -> None:
    """A file that names none leaves the default."""
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")

    assert find_directory(path) == Path(Journal().directory)


def test_a_missing_file_is_an_error(tmp_path: Path) -> None:
    """There is nothing to guess from."""
    with pytest.raises(OSError, match="gone"):
        find_directory(tmp_path / "gone.toml")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """A pipe in place of the file is refused at once."""
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(OSError, match="a regular file is needed"):
        find_directory(tmp_path / "pipe.toml")


@given(st.binary(max_size=300))
def test_any_bytes_give_some_folder(tmp_path_factory: pytest.TempPathFactory, damage: bytes) -> None:
    """No damage keeps the command line from trying."""
    path = tmp_path_factory.mktemp("any") / "a.toml"
    path.write_bytes(damage)

    assert isinstance(find_directory(path), Path)

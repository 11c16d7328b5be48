"""No command may write over what it reads, by whatever path the file is reached."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.main import main
from controller.overwriting import find_overwriting

SETTINGS = Path(__file__).parents[2] / "config" / "duskbell.toml"
READINGS = "time,outdoor light\n2026-04-18T00:00:00Z,0\n"
SPAN = ("--from", "2026-01-01T00:00Z", "--to", "2026-01-02T00:00Z")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Lay out a recording and two settings files."""
    (tmp_path / "in.csv").write_text(READINGS, encoding="utf-8")
    for name in ("house.toml", "old.toml"):
        shutil.copy(SETTINGS, tmp_path / name)
    return tmp_path


@pytest.mark.parametrize("link", ["same", "symbolic", "hard", "roundabout"])
@pytest.mark.parametrize("option", ["--positions", "--reasons"])
@pytest.mark.parametrize("read", ["in.csv", "house.toml", "old.toml"])
def test_replay_refuses_to_write_over_what_it_reads(
    folder: Path, capsys: pytest.CaptureFixture[str], read: str, option: str, link: str
) -> None:
    """Each output on each input is refused with exit code 2 and both names, and the input keeps its bytes."""
    before, out = (folder / read).read_bytes(), folder / "link.csv"
    match link:
        case "symbolic":
            out.symlink_to(folder / read)
        case "hard":
            out.hardlink_to(folder / read)
        case "roundabout":
            (folder / "deep").mkdir()
            out = folder / "deep" / ".." / read
        case _:
            out = folder / read

    code = main(["replay", "--settings", str(folder / "house.toml"), "--readings", str(folder / "in.csv"),
                 "--against", str(folder / "old.toml"), option, str(out)])  # fmt: skip

    told = capsys.readouterr().err
    assert code == 2
    assert f"{option} {out} would overwrite --" in told
    assert str(folder / read) in told
    assert (folder / read).read_bytes() == before


def test_replay_refuses_two_outputs_into_one_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Positions and reasons into one file, not yet there, are refused: one would overwrite the other."""
    out = str(folder / "out.csv")
    code = main(["replay", "--settings", str(SETTINGS), "--readings", str(folder / "in.csv"),
                 "--positions", out, "--reasons", out])  # fmt: skip
    assert code == 2
    assert "would overwrite what --positions writes" in capsys.readouterr().err
    assert not (folder / "out.csv").exists()


def test_export_refuses_to_write_over_its_settings(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An export onto its settings file is refused with exit code 2, and the file keeps its bytes."""
    path = folder / "house.toml"
    code = main(["export", *SPAN, "--settings", str(path), str(path)])
    assert code == 2
    assert "would overwrite --settings" in capsys.readouterr().err
    assert path.read_bytes() == SETTINGS.read_bytes()


@pytest.mark.parametrize("name", ["alarms.db", "history.db"])
def test_export_refuses_to_write_over_the_record(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """An export onto a file of the record that it reads is refused with exit code 2."""
    path, text = folder / "house.toml", SETTINGS.read_text(encoding="utf-8")
    marked = 'directory = "/var/lib/duskbell"'
    assert text.count(marked) == 1
    path.write_text(text.replace(marked, f'directory = "{folder}"'), encoding="utf-8")
    (folder / name).write_bytes(b"record")
    code = main(["export", *SPAN, "--settings", str(path), str(folder / name)])
    assert code == 2
    assert f"would overwrite the record's {name}" in capsys.readouterr().err
    assert (folder / name).read_bytes() == b"record"


@pytest.mark.parametrize(
    ("readings", "positions", "told"),
    [
        ("gone.csv", "out.csv", "gone.csv: there is no such file or folder"),
        (".", "out.csv", "{folder}: it is a folder; a file is needed"),
        ("in.csv", "gone/out.csv", "gone/out.csv: there is no such file or folder"),
        ("in.csv", ".", "{folder}: it is a folder; a file is needed"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_in_plain_words(
    folder: Path, capsys: pytest.CaptureFixture[str], readings: str, positions: str, told: str
) -> None:
    """No number of an error of the system stands before people, only the file and what is wrong with it."""
    code = main(["replay", "--settings", str(SETTINGS), "--readings", str(folder / readings),
                 "--positions", str(folder / positions)])  # fmt: skip
    said = capsys.readouterr().err
    assert code == 1
    assert said.startswith("duskbell replay: ")
    assert said.endswith(told.format(folder=folder) + "\n")
    assert "Errno" not in said


def test_what_cannot_be_overwritten_and_what_is_another_file_is_let_through(folder: Path) -> None:
    """Devices may be named twice, copies are other files, and what is not given is not compared."""
    null = Path("/dev/null")
    assert find_overwriting({"--positions": null, "--reasons": null}, {"--readings": null}) == ""
    assert find_overwriting({"--positions": folder / "house.toml"}, {"--against": folder / "old.toml"}) == ""
    assert find_overwriting({"--positions": None, "--reasons": None}, {"--against": None}) == ""

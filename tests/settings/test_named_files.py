"""Files that the settings name: absent, or open to everybody, they are pointed out by the check."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.check_command import add_check
from controller.settings.load import load_settings
from controller.settings.named_files import look_at_files

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")


def tell(password: Path, authority: Path | None = None) -> list[str]:
    """Return what is said of the mail server's files."""
    text = GOOD.replace('"/etc/duskbell/mail"', json.dumps(str(password)), 1)
    if authority is not None:
        text = text.replace("[mail]", f"[mail]\ntls_ca_file = {json.dumps(str(authority))}", 1)
    plan = load_settings(text, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    return [fault.text for fault in look_at_files(plan) if fault.path[0] == "mail"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Make a folder that everybody can walk into, as /etc is."""
    for each in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
        each.chmod(0o755)
    return tmp_path


def test_a_file_that_is_not_there_is_named_with_what_comes_of_it(folder: Path) -> None:
    """The manager learns that no mail can go before the night in which one must."""
    path = folder / "mail.password"
    assert tell(path) == [f"mail: `password_file`: there is no {path}: no mail can be sent"]


def test_a_secret_that_everybody_can_read_is_named(folder: Path) -> None:
    """A password is for the daemon alone; the authority's certificate is for all."""
    secret, authority = folder / "mail.password", folder / "authority.pem"
    for path in (secret, authority):
        path.write_text("x")
        path.chmod(0o644)
    assert tell(secret, authority) == [
        f"mail: `password_file`: everybody on this machine can read {secret}: `chmod 0640` it"
    ]
    secret.chmod(0o640)
    assert tell(secret, authority) == []


def test_a_closed_folder_protects_what_is_in_it(folder: Path) -> None:
    """Rights of the file alone say nothing where nobody else can walk in."""
    closed = folder / "etc"
    closed.mkdir(mode=0o750)
    secret = closed / "mail.password"
    secret.write_text("x")
    secret.chmod(0o644)
    assert tell(secret) == []


def test_a_folder_in_the_place_of_a_file_is_named(folder: Path) -> None:
    """A slip of the path is no file."""
    assert tell(folder) == [f"mail: `password_file`: {folder} is no file"]


def test_the_check_prints_them_and_does_not_refuse(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The file may be meant for another machine: exit code 0, a list of its own, and the same for machines."""
    path = tmp_path / "house.toml"
    path.write_text(GOOD.replace("/etc/duskbell/mail", "/nowhere/mail.password"))
    parser = argparse.ArgumentParser()
    add_check(parser.add_subparsers())
    args = parser.parse_args(["check", str(path)])
    assert args.run(args) == 0
    said = capsys.readouterr().out
    assert "On this machine, 2 named files would not do:" in said, "the broker's and the mail server's"
    assert f"{path}:" in said.splitlines()[-1]
    args = parser.parse_args(["check", str(path), "--json"])
    assert args.run(args) == 0
    files = [each["text"] for each in json.loads(capsys.readouterr().out)["files"]]
    assert sum("there is no /nowhere/mail.password" in text for text in files) == 1

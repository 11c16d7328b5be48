"""The documents say what the code does."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from controller.core.alarms.lifecycle import print_table
from controller.core.why import print_precedence

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DEPLOY = (ROOT / "deploy" / "README.md").read_text(encoding="utf-8")


def test_the_order_of_rules_in_the_document_is_the_one_in_the_code() -> None:
    """Both are printed from one table."""
    assert print_precedence() in DEVELOPERS


def test_the_life_of_an_alarm_in_the_document_is_the_one_in_the_code() -> None:
    """Both are printed from one table."""
    assert print_table() in DEVELOPERS


def test_every_command_that_the_documents_name_exists() -> None:
    """A reader who types what stands there meets a command."""
    done = subprocess.run(
        [sys.executable, "-m", "controller.main", "--help"],
        capture_output=True,
        text=True,
        check=True,
        timeout=30,
    )
    for text in (README, DEPLOY):
        for command in re.findall(r"(?<![/\w])duskbell ([a-z][a-z-]+)", text.replace("`duskbell` alone", "")):
            if command in {"alone", "asks", "keeps", "never"}:
                continue
            assert re.search(rf"^\s+{command}\b", done.stdout, flags=re.MULTILINE), command


def test_every_file_that_the_documents_link_to_is_there() -> None:
    """No link leads nowhere."""
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\((?!http)([^)#]+)\)", text):
            assert (ROOT / target).exists(), target


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    """A newcomer sees at once what is what."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True, timeout=30
    ).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    visible = {name for name in top if not name.startswith(".")}

    assert visible == {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "Makefile", "requirements.lock",
        "controller", "config", "simulators", "tests", "deploy",
    }  # fmt: skip


def test_no_address_of_a_registry_and_no_path_of_a_machine_is_committed() -> None:
    """The lock file has names and hashes; nothing says where it was made."""
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")

    assert "http" not in lock
    assert "--hash=sha256:" in lock


def test_the_job_is_stated_in_the_first_paragraph() -> None:
    """Somebody who reads one paragraph knows what it is for."""
    first = README.split("\n\n")[1]
    for word in ("greenhouse", "fish", "MQTT", "curtain", "water", "answers", "why"):
        assert word in first


def test_no_placeholder_is_left_in_a_document() -> None:
    """What stands in capitals alone on a line was meant to be filled in."""
    for text in (README, DEVELOPERS, DEPLOY):
        assert re.findall(r"(?m)^[A-Z_]{6,}$", text) == []

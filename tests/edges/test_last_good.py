"""The last good settings are kept beside the journal."""

from __future__ import annotations

import stat
from pathlib import Path

from controller.edges import last_good


def test_what_is_kept_is_recalled_and_only_we_may_read_it(tmp_path: Path) -> None:
    """A later file takes the place of an earlier one; it may name accounts, so nobody else reads it."""
    last_good.keep(tmp_path, "one")
    last_good.keep(tmp_path, "zwei ü")

    assert last_good.recall(tmp_path) == "zwei ü"
    assert stat.S_IMODE((tmp_path / last_good.NAME).stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [last_good.NAME]


def test_nothing_kept_and_nothing_keepable_are_no_errors(tmp_path: Path) -> None:
    """A folder that is not there costs the rescue, not the start."""
    assert last_good.recall(tmp_path) is None
    last_good.keep(tmp_path / "gone", "text")
    assert last_good.recall(tmp_path / "gone") is None


def test_a_damaged_copy_is_none(tmp_path: Path) -> None:
    """Half a file after a power cut is not recalled as text."""
    (tmp_path / last_good.NAME).write_bytes(b"\xff\xfe\x00")

    assert last_good.recall(tmp_path) is None

"""The clock: house time that never goes back, UTC that is trusted only when it may be."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import DAY_MS, HOUR_MS
from controller.edges.clock import STEADY_MS, BoardClock, RehearsalClock


def _utc_ms(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1_000)


NOON_MS = _utc_ms("2026-06-21T12:00")


@dataclass
class Board:
    """A board whose two clocks are set by hand. The offset makes mixed clocks fail [ms]."""

    utc_ms: int = NOON_MS
    boot_ms: int = 0
    house_ms: int = 0

    def __post_init__(self) -> None:
        """Start both axes somewhere nobody could guess."""
        self.boot_ms = random.randrange(1, 10**9)  # noqa: S311 - no secret, only an odd place to start
        self.house_ms = random.randrange(1, 10**12)  # noqa: S311 - the same

    def read_utc_ns(self) -> int:
        """Read UTC [ns]."""
        return self.utc_ms * 1_000_000

    def read_boot_ns(self) -> int:
        """Read the time since the board started [ns]."""
        return self.boot_ms * 1_000_000

    def run(self, ms: int) -> None:
        """Let both clocks run."""
        self.utc_ms += ms
        self.boot_ms += ms

    def clock(self, flag: Path, *, last_utc_ms: int | None = None, zone: str = "UTC") -> BoardClock:
        """Make the board's clock."""
        return BoardClock(
            zone,
            self.house_ms,
            last_utc_ms=last_utc_ms,
            synchronized_file=flag,
            read_utc_ns=self.read_utc_ns,
            read_boot_ns=self.read_boot_ns,
        )


@pytest.fixture
def board() -> Board:
    """Make a board at noon of a summer's day."""
    return Board()


@pytest.fixture
def no_service(tmp_path: Path) -> Path:
    """Name a flag in a folder that does not exist: the board has no such time service."""
    return tmp_path / "absent" / "synchronized"


@pytest.mark.parametrize("step_ms", [HOUR_MS, -HOUR_MS, 400 * DAY_MS, -50 * 365 * DAY_MS])
def test_a_step_of_the_wall_clock_moves_no_house_time(board: Board, no_service: Path, step_ms: int) -> None:
    """House time counts only what has truly gone by, whatever is done to UTC."""
    clock = board.clock(no_service)
    board.run(1_000)
    board.utc_ms += step_ms

    assert board.house_ms + 1_000 == clock.stamp(0).house_ms
    assert NOON_MS + 1_000 + step_ms == clock.stamp(0).utc_ms


def test_a_stamp_is_never_before_the_last_one(board: Board, no_service: Path) -> None:
    """A journal that is ahead of the clock holds the house time until the clock has caught up."""
    clock = board.clock(no_service)

    assert board.house_ms + 500 == clock.stamp(board.house_ms + 500).house_ms
    board.run(700)
    assert board.house_ms + 700 == clock.stamp(board.house_ms + 500).house_ms


@given(steps=st.lists(st.tuples(st.integers(0, 10**7), st.integers(-(10**10), 10**10)), max_size=30))
def test_house_time_only_grows(steps: list[tuple[int, int]]) -> None:
    """Through any steps of UTC, each stamp's house time grows by exactly what has gone by."""
    board = Board()
    clock = board.clock(Path("/nonexistent/folder/flag"))
    last = clock.stamp(0).house_ms
    for gone_ms, step_ms in steps:
        board.run(gone_ms)
        board.utc_ms = max(0, board.utc_ms + step_ms)
        now = clock.stamp(last).house_ms
        assert last + gone_ms == now
        last = now


def test_the_flag_of_the_time_service_decides_trust(board: Board, tmp_path: Path) -> None:
    """Where a time service runs, UTC is trusted from the moment its flag stands, and not before."""
    flag = tmp_path / "synchronized"
    clock = board.clock(flag)

    assert not clock.stamp(0).utc_trusted
    flag.touch()
    assert clock.stamp(0).utc_trusted


def test_without_a_time_service_a_clock_never_set_is_not_trusted(board: Board, no_service: Path) -> None:
    """A board that believes in 1970, or in the year its system was built, has not been set."""
    clock = board.clock(no_service)
    for text, trusted in [("1970-01-01", False), ("2023-12-31T23:59:59", False), ("2024-01-01", True)]:
        board.utc_ms = _utc_ms(text)
        assert trusted == board.clock(no_service).stamp(0).utc_trusted
    board.utc_ms = NOON_MS
    assert clock.stamp(0).utc_trusted


def test_a_clock_that_went_back_is_doubted_until_it_has_run_steadily(board: Board, no_service: Path) -> None:
    """After a step back UTC is not trusted for an hour of house time; slewing is no step."""
    clock = board.clock(no_service)
    assert clock.stamp(0).utc_trusted
    board.run(60_000)
    board.utc_ms -= 50  # slewed by a time daemon
    assert clock.stamp(0).utc_trusted

    board.utc_ms -= HOUR_MS
    assert not clock.stamp(0).utc_trusted
    board.run(STEADY_MS - 1)
    assert not clock.stamp(0).utc_trusted
    board.run(1)
    assert clock.stamp(0).utc_trusted


def test_a_step_back_seen_late_is_seen(board: Board, no_service: Path) -> None:
    """A step back is noticed even if so much time has gone by that UTC is past its old reading."""
    clock = board.clock(no_service)
    clock.stamp(0)
    board.run(3 * HOUR_MS)
    board.utc_ms -= HOUR_MS

    assert not clock.stamp(0).utc_trusted


def test_a_clock_behind_the_journal_has_gone_back(board: Board, no_service: Path) -> None:
    """UTC before the journal's last entry is not trusted, though this run saw no step."""
    clock = board.clock(no_service, last_utc_ms=NOON_MS + DAY_MS)

    assert not clock.stamp(0).utc_trusted


@pytest.mark.parametrize(
    ("then", "now", "moved_ms", "away_ms"),
    [
        (True, True, 22 * 60_000, 22 * 60_000),
        (True, False, 0, None),
        (False, True, 0, None),
        (False, False, 0, None),
    ],
)
def test_time_away_counts_only_between_two_trusted_clocks(
    *, board: Board, tmp_path: Path, then: bool, now: bool, moved_ms: int, away_ms: int | None
) -> None:
    """House time jumps over a power cut if UTC was trusted before and after, and else stands still."""
    flag = tmp_path / "synchronized"
    if now:
        flag.touch()
    clock = BoardClock.resumed(
        "UTC",
        last_house_ms=board.house_ms,
        last_utc_ms=NOON_MS - 22 * 60_000,
        last_utc_trusted=then,
        synchronized_file=flag,
        read_utc_ns=board.read_utc_ns,
        read_boot_ns=board.read_boot_ns,
    )

    assert board.house_ms + moved_ms == clock.house_ms()
    assert away_ms == clock.away_ms


@pytest.mark.parametrize("away_ms", [1_000, 3_000, 60_000, 8 * 3_600_000])
def test_a_restart_is_no_clock_that_was_put_back(board: Board, tmp_path: Path, away_ms: int) -> None:
    """On a board without a time service the clock stays trusted over a restart of any length."""
    clock = BoardClock.resumed(
        "UTC",
        last_house_ms=board.house_ms,
        last_utc_ms=NOON_MS - away_ms,
        last_utc_trusted=True,
        synchronized_file=tmp_path / "no time service" / "synchronized",
        read_utc_ns=board.read_utc_ns,
        read_boot_ns=board.read_boot_ns,
    )

    assert clock.away_ms == away_ms
    assert clock.stamp(board.house_ms).utc_trusted


def test_a_trusted_clock_behind_the_journal_adds_nothing(board: Board, tmp_path: Path) -> None:
    """The house axis never goes back across a restart, even if the journal's UTC was ahead."""
    flag = tmp_path / "synchronized"
    flag.touch()
    clock = BoardClock.resumed(
        "UTC",
        last_house_ms=board.house_ms,
        last_utc_ms=NOON_MS + DAY_MS,
        last_utc_trusted=True,
        synchronized_file=flag,
        read_utc_ns=board.read_utc_ns,
        read_boot_ns=board.read_boot_ns,
    )

    assert board.house_ms == clock.house_ms()
    assert clock.away_ms is None


@pytest.mark.parametrize(
    ("utc", "offset_min"),
    [
        # Summer time in the EU and the UK changes at 01:00 UTC on the last Sundays of March and October
        # (Directive 2000/84/EC, articles 1 to 3); these are 2026-03-29 and 2026-10-25.
        ("2026-03-29T00:59:59", 0),
        ("2026-03-29T01:00:00", 60),
        ("2026-10-25T00:59:59", 60),
        ("2026-10-25T01:00:00", 0),
    ],
)
def test_the_offset_follows_the_law(board: Board, no_service: Path, utc: str, offset_min: int) -> None:
    """The offset in the stamp is that of the house's zone at that instant."""
    board.utc_ms = _utc_ms(utc)

    assert offset_min == board.clock(no_service, zone="Europe/London").stamp(0).utc_offset_min


def test_a_rehearsal_runs_at_its_rate(board: Board) -> None:
    """A second of the board is `rate` seconds of the rehearsal, on both axes; waits shrink alike."""
    clock = RehearsalClock(
        NOON_MS, 600.0, started_at_house_ms=board.house_ms, read_boot_ns=board.read_boot_ns
    )
    board.run(2_000)

    assert clock.utc_ms() == NOON_MS + 1_200_000
    assert board.house_ms + 1_200_000 == clock.house_ms()
    assert (board.house_ms + 1_200_000, NOON_MS + 1_200_000, 0, True) == clock.stamp(0)
    assert clock.wait_s(clock.house_ms() + 60_000) == pytest.approx(0.1)
    assert clock.wait_s(clock.house_ms() - 1) == 0.0


@pytest.mark.parametrize("rate", [0.0, -1.0, float("nan")])
def test_a_rehearsal_cannot_run_backwards(rate: float) -> None:
    """A rate that is not above zero is refused."""
    with pytest.raises(ValueError, match="runs forwards"):
        RehearsalClock(NOON_MS, rate)


def test_the_board_s_own_clocks_agree_with_the_system() -> None:
    """With nothing injected, UTC is the system's and house time starts where it was told to."""
    clock = BoardClock("Europe/London", 5_000)

    assert abs(clock.utc_ms() - datetime.now(UTC).timestamp() * 1_000) < 1_000
    assert 5_000 <= clock.house_ms() < 15_000
    assert 0.0 < clock.wait_s(clock.house_ms() + 10_000) <= 10.0

"""Why it was so at a minute of the past: the rule, the numbers and the limit, from a replay or from the journal."""

from __future__ import annotations

import csv
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from commands import run
from hypothesis import given
from hypothesis import strategies as st

from controller.core.vocabulary import Ledger, Note, Stamp, Woken
from controller.edges.journal import Journal
from controller.why_past import PastUnreadable, Reason, find_in_force, read_instant, read_positions

SETTINGS = Path("config/duskbell.toml").resolve()
START = datetime(2026, 4, 18, tzinfo=UTC)


@pytest.mark.slow
def test_every_minute_of_a_replay_has_its_reason(tmp_path: Path) -> None:
    """Night, a bright noon and the start each name rule, numbers and limit; a minute before the start has none."""
    readings, positions, reasons = (tmp_path / name for name in ("in.csv", "out.csv", "why.csv"))
    with readings.open("w", encoding="utf-8") as out:
        out.write("time,outdoor light,outdoor temperature,air temperature\n")
        for minute in range(1440):
            light = 700.0 if 600 <= minute < 900 else 0.0 if minute < 330 or minute > 1140 else 300.0
            at = START + timedelta(minutes=minute)
            jitter = minute % 7 * 0.01
            out.write(f"{at.isoformat()},{light + jitter:.2f},{5 + jitter:.2f},{17 + jitter:.2f}\n")
    done = run("replay", "--settings", str(SETTINGS), "--readings", str(readings), "--positions", str(positions),
               "--reasons", str(reasons))  # fmt: skip
    assert done.returncode == 0, done.stderr

    for file in (positions, reasons):
        night = run("why", "--positions", str(file), "--at", "2026-04-18T03:00Z").stdout
        assert 'by the rule "hold heat at night"' in night
        assert "inside 17.0 C" in night
        assert "opens at 96 W/m2" in night
        noon = run("why", "--positions", str(file), "--at", "2026-04-18T12:00+00:00").stdout
        assert 'by the rule "light ceiling"' in noon
        assert "limit of 600 W/m2" in noon
    # And asked at the minute itself, with the numbers of that minute.
    asked = run(
        "why", "--settings", str(SETTINGS), "--readings", str(readings), "--at", "2026-04-18T14:31+00:00"
    )
    assert 'by the rule "light ceiling"' in asked.stdout, asked.stderr
    assert "too much light: 700 W/m2 outside, above the limit of 600 W/m2 for 267 min" in asked.stdout
    with reasons.open(encoding="utf-8", newline="") as file_of_reasons:
        rules = {row["rule"] for row in csv.DictReader(file_of_reasons)}
    assert {"settling in", "open", "light ceiling", "hold heat at night"} <= rules
    early = run("why", "--positions", str(positions), "--at", "2026-04-17T12:00Z")
    assert (early.returncode, "Nothing is known" in early.stdout) == (1, True)


@pytest.mark.parametrize("text", ["", "noon", "2026-04-18T08:30", "2026-13-01T00:00Z"])
def test_an_instant_without_offset_is_refused(text: str) -> None:
    """Which hour is meant is never guessed."""
    with pytest.raises(PastUnreadable):
        read_instant(text)


def test_a_file_that_is_no_replay_is_refused_in_words(tmp_path: Path) -> None:
    """A recording is no positions file, and a missing one is none either: usage, not a failure of ours."""
    wrong = tmp_path / "in.csv"
    wrong.write_text("time,light\n2026-04-18T00:00Z,3\n", encoding="utf-8")
    missing = (tmp_path / "none.csv", "none.csv: there is no such file")
    for path, told in ((wrong, "no positions of a replay"), missing):
        done = run("why", "--positions", str(path), "--at", "2026-04-18T03:00Z")
        assert (done.returncode, told in done.stderr) == (2, True)
        with pytest.raises(PastUnreadable):
            list(read_positions(path))
    assert run("why", "--positions", str(wrong)).returncode == 2


def test_the_journal_says_why_too(tmp_path: Path) -> None:
    """The note of the move counts, and the note that the run has arrived does not take its place."""
    start_ms = round(START.timestamp() * 1000)
    notes = (
        (
            0,
            Note(
                Ledger.CURTAIN,
                "main",
                "too hot",
                "runs from open to 100 % drawn: inside 31.0 C, limit 30.0 C",
            ),
        ),
        (5, Note(Ledger.CURTAIN, "main", "too hot", "drawn after 300 s", 100.0)),
        (60, Note(Ledger.HOUSE, "main", "day's light", "14.0 mol/m2 of light at the canopy")),
    )
    with closing(Journal.open(tmp_path, utc_ms=start_ms)) as journal:
        for minute, note in notes:
            stamp = Stamp(minute * 60_000, start_ms + minute * 60_000, 60, utc_trusted=True)
            journal.commit(stamp=stamp, event=Woken(), effects=(note,), document=b"")
    settings = tmp_path / "house.toml"
    settings.write_text(f'[journal]\ndirectory = "{tmp_path}"\n', encoding="utf-8")
    done = run("why", "--settings", str(settings), "--at", "2026-04-18T02:00+01:00")

    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(
        'Curtain main at 2026-04-18 02:00: by the rule "too hot" since 2026-04-18 01:00: runs'
    )
    assert "limit 30.0 C" in done.stdout


def test_without_a_journal_the_past_is_not_known(tmp_path: Path) -> None:
    """The command says so and fails."""
    settings = tmp_path / "house.toml"
    settings.write_text(f'[journal]\ndirectory = "{tmp_path}"\n', encoding="utf-8")
    done = run("why", "--settings", str(settings), "--at", "2026-04-18T03:00Z")
    assert (done.returncode, "there is no" in done.stderr) == (1, True)


@given(st.lists(st.tuples(st.integers(0, 50), st.sampled_from(["a", "b"])), max_size=30), st.integers(-5, 60))
def test_the_reason_in_force_is_the_last_one_before(rows: list[tuple[int, str]], at_s: int) -> None:
    """Never one of the future, never an older one than the newest that fits, and none of a run that arrived."""
    reasons = [Reason(second * 1000, name, "open", str(place)) for place, (second, name) in enumerate(rows)]
    reasons.append(Reason(0, "a", "open", "drawn after 300 s"))
    found = find_in_force(reasons, datetime.fromtimestamp(at_s, tz=UTC))
    for name in ("a", "b"):
        past = [row.utc_ms for row in reasons[:-1] if row.curtain == name and row.utc_ms <= at_s * 1000]
        assert (found[name].utc_ms if name in found else None) == max(past, default=None)

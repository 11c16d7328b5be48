"""Tuning by replay: which calls vanish, which are new, and which come at another time."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from commands import run
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.alarm import Response
from controller.core.plan.plan import Plan
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import ReadingsTaken, Sample, Stamp
from controller.edges.journal import Journal
from controller.recording import read_rows
from controller.recording_rows import Tally
from controller.replay import Called
from controller.replay_command import ALARMS_LISTED_MOST, list_alarms
from controller.replay_compare import SAME_CALL_MS, SAME_TIME_MS, compare_calls, write_comparison
from controller.settings.load import read_settings

SETTINGS = Path("config/duskbell.toml").resolve()
START = datetime(2026, 4, 18, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")
NOON_MS = round(START.timestamp() * 1000) + 12 * HOUR_MS


def call(minute: float, alarm: str = "Tank 1 too warm", response: Response = Response.TODAY) -> Called:
    """Make a call so many minutes after noon UTC."""
    at = NOON_MS + round(minute * MINUTE_MS)
    return Called(alarm, response, at, at)


def test_each_call_is_told_once_and_in_plain_words() -> None:
    """One is gone, one is new, one comes ten minutes later, one is as it was."""
    old = [call(0), call(8 * 60), call(16 * 60), call(0, "Raft pH low")]
    new = [call(0), call(8 * 60 + 10), call(0, "House too hot")]
    text = write_comparison(compare_calls(old, new), LONDON)

    assert text.splitlines() == [
        "With the old settings 4 alarms would have called somebody, with the new ones 3.",
        "As before: 1.",
        "Raft pH low: 1 call would have vanished: Sat 18 Apr 13:00.",
        "Tank 1 too warm: 1 call would have vanished: Sun 19 Apr 05:00.",
        "House too hot: 1 call would have come besides: Sat 18 Apr 13:00.",
        "Tank 1 too warm: the call of Sat 18 Apr 21:00 would have come 10 min later.",
    ]


def test_a_vanished_emergency_is_pointed_out() -> None:
    """It is the one line that must be read."""
    text = write_comparison(compare_calls([call(0, response=Response.EMERGENCY)], []), LONDON)

    assert "1 of the calls that vanish is an emergency" in text


def test_two_vanished_emergencies_are_pointed_out() -> None:
    """In the plural."""
    both = [call(0, response=Response.EMERGENCY), call(900, response=Response.EMERGENCY)]

    assert "2 of the calls that vanish are emergencies." in write_comparison(compare_calls(both, []), LONDON)


@pytest.mark.parametrize("more", [-90, 0, 1, 23])
def test_all_alarms_are_listed_in_local_time_and_what_is_left_out_is_counted(more: int) -> None:
    """From the first on, with the times of the comparison; what a person would not read through is in --json."""
    count = ALARMS_LISTED_MOST + more
    lines = list_alarms(
        [(NOON_MS + number * MINUTE_MS, "pH low", "raised") for number in range(count)], LONDON
    )

    assert lines[0] == "  Sat 18 Apr 13:00 pH low: raised"
    assert len(lines) == min(count, ALARMS_LISTED_MOST) + (more > 0)
    assert (f"  and {more} more, in --json" in lines) is (more > 0)


TIMES = st.lists(st.integers(0, 3000), max_size=8, unique=True).map(sorted)


@given(TIMES, TIMES)
def test_every_call_is_in_exactly_one_place(old: list[int], new: list[int]) -> None:
    """What is counted adds up, no pair is further apart than it may be, and nothing is paired across another."""
    found = compare_calls([call(minute) for minute in old], [call(minute) for minute in new])

    assert len(found.vanished) + len(found.moved) + found.same == len(old)
    assert len(found.added) + len(found.moved) + found.same == len(new)
    for moved in found.moved:
        assert SAME_TIME_MS <= abs(moved.new_utc_ms - moved.old_utc_ms) <= SAME_CALL_MS
    later = [moved.new_utc_ms for moved in found.moved]
    assert later == sorted(later)


@given(TIMES)
def test_the_same_calls_are_the_same(times: list[int]) -> None:
    """Settings compared with themselves change nothing."""
    calls = [call(minute) for minute in times]
    found = compare_calls(calls, calls)

    assert (found.same, found.vanished, found.added, found.moved) == (len(calls), (), (), ())


@given(TIMES, st.integers(1, 20))
def test_a_delay_moves_every_call(times: list[int], by_min: int) -> None:
    """Calls an hour and more apart, all later by the same: none vanishes."""
    old = [call(minute * 60) for minute in times]
    new = [call(minute * 60 + by_min) for minute in times]
    found = compare_calls(old, new)

    assert [moved.by_min for moved in found.moved] == [by_min] * len(times)


def write_recording(path: Path) -> None:
    """Write a day in which tank 1 falls for some minutes at 03:00 and for an hour at 12:00, by the minute."""
    with path.open("w", encoding="utf-8") as out:
        out.write("time,tank 1 oxygen\n")
        value = 7.5
        for minute in range(1440):
            low = 180 <= minute < 188 or 720 <= minute < 780
            goal = 3.2 if low else 7.5
            value += max(-0.9, min(0.9, goal - value))
            at = START + timedelta(minutes=minute)
            out.write(f"{at.isoformat()},{value + minute % 3 * 0.01:.2f}\n")


@pytest.mark.slow
def test_a_longer_delay_spares_the_short_dip_and_tells_the_long_one_later(tmp_path: Path) -> None:
    """The manager sees it before saving."""
    write_recording(tmp_path / "in.csv")
    old = SETTINGS.read_text(encoding="utf-8")
    start = old.index('name = "Tank 1 oxygen low"')
    place = old.index("on_delay_s = ", start)
    end = old.index("\n", place)
    new = tmp_path / "new.toml"
    new.write_text(old[:place] + "on_delay_s = 600" + old[end:], encoding="utf-8")
    (tmp_path / "old.toml").write_text(old[:place] + "on_delay_s = 60" + old[end:], encoding="utf-8")
    words = (
        "replay",
        "--settings",
        str(new),
        "--against",
        str(tmp_path / "old.toml"),
        "--readings",
        str(tmp_path / "in.csv"),
    )
    done = run(*words)

    assert done.returncode == 0, done.stderr
    assert "Tank 1 oxygen low: 1 call would have vanished: Sat 18 Apr 04:0" in done.stdout
    assert "would have come 9 min later." in done.stdout
    assert "Look closely: 1 of the calls that vanish is an emergency." in done.stdout
    document = json.loads(run(*words, "--json").stdout)
    assert len(document["comparison"]["vanished"]) == 1
    assert {"Tank 1 oxygen low"} <= {change["alarm"] for change in document["alarm_changes"]}


def test_a_replay_asks_what_it_is_for(tmp_path: Path) -> None:
    """Neither positions nor a comparison: usage."""
    write_recording(tmp_path / "in.csv")

    assert run("replay", "--settings", str(SETTINGS), "--readings", str(tmp_path / "in.csv")).returncode == 2


@pytest.mark.slow
def test_what_was_recorded_comes_back_from_an_export(tmp_path: Path) -> None:
    """Readings of the record, written out, are read by a replay as the values they were."""
    text = SETTINGS.read_text(encoding="utf-8").replace("/var/lib/duskbell", str(tmp_path / "journal"))
    settings = tmp_path / "site.toml"
    settings.write_text(text, encoding="utf-8")
    plan = read_settings(settings)
    assert isinstance(plan, Plan)
    journal = Journal.open(tmp_path / "journal", utc_ms=NOON_MS)
    told = {}
    for minute in range(120):
        at = NOON_MS + minute * MINUTE_MS
        samples = [Sample("tank 1 oxygen", 7.0 + minute / 100), Sample("outdoor light", 300.5 + minute)]
        samples += [Sample("mains", float(minute % 2))] * (minute % 5 == 0)
        told[at] = {sample.sensor: sample.value for sample in samples}
        stamp = Stamp(minute * MINUTE_MS, at, 60, utc_trusted=True)
        journal.commit(stamp=stamp, event=ReadingsTaken(tuple(samples)), effects=(), document=None)
    journal.flush(Stamp(120 * MINUTE_MS, NOON_MS + HOUR_MS * 2, 60, utc_trusted=True))
    journal.close()
    begin, end = (
        datetime.fromtimestamp((NOON_MS + span) / 1000, tz=UTC).isoformat() for span in (0, 2 * HOUR_MS)
    )
    done = run("export", "--from", begin, "--to", end, str(tmp_path / "out.csv"), "--settings", str(settings))

    assert (done.returncode, done.stdout.startswith("120 rows written")) == (0, True), done.stderr
    sensors = {sensor.name: sensor for sensor in plan.sensor}
    tally = Tally()
    found = {
        at: {s.sensor: s.value for s in samples}
        for at, samples in read_rows(tmp_path / "out.csv", sensors, tally)
    }
    assert tally.refused == 0
    assert found.keys() == told.keys()
    for at, values in told.items():
        assert found[at] == pytest.approx(values, rel=1e-6)


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        ("yesterday", "today"),
        ("2026-04-18T12:00", "2026-04-18T13:00"),
        ("2026-04-18T12:00Z", "2026-04-18T11:00Z"),
    ],
)
def test_an_export_wants_two_instants_in_order(tmp_path: Path, begin: str, end: str) -> None:
    """Without an offset nobody knows when that was."""
    done = run("export", "--from", begin, "--to", end, str(tmp_path / "out.csv"), "--settings", str(SETTINGS))

    assert (done.returncode, (tmp_path / "out.csv").exists()) == (2, False)

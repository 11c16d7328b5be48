"""`duskbell sky` tells the sun of a civil day, and says in one line what it cannot answer."""

from __future__ import annotations

import argparse
import functools
import json
import shlex
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from controller import sky_report
from controller.edges import almanac as edge
from controller.edges.almanac import AlmanacFailed, SkyReport, report_sky
from controller.sky_report import add_sky, run_sky

LONDON = "--latitude 51.5 --longitude -0.1 --elevation-m 15 --time-zone Europe/London"
GOLDEN = "--latitude 39.742476 --longitude -105.1786 --elevation-m 1830.14 --time-zone America/Denver"
TROMSO = "--latitude 69.65 --longitude 18.96 --elevation-m 0 --time-zone Europe/Oslo"
SYDNEY = "--latitude -33.87 --longitude 151.21 --elevation-m 20 --time-zone Australia/Sydney"

SITE_TOML = """
[site]
name = "Kestrel Wharf"
latitude_deg = 54.0
longitude_deg = -1
elevation_m = 15.0
time_zone = "Europe/London"
"""


# Each question starts a process; the same question asked twice here is asked of it once.
report_sky_once = functools.cache(report_sky)


@pytest.fixture(autouse=True)
def _ask_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sky_report, "report_sky", report_sky_once)


NOWHERE = Path("/absent/settings.toml")


def ask(line: str, own_settings: Path = NOWHERE) -> int:
    """Run `duskbell sky` with these options, on a machine whose settings are at a place."""
    parser = argparse.ArgumentParser()
    add_sky(parser.add_subparsers(required=True), own_settings)
    return run_sky(parser.parse_args(["sky", *shlex.split(line)]))


def ask_json(line: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """Run it with --json, demand success, and give the answer."""
    code = ask(f"{line} --json")
    said = capsys.readouterr()

    assert code == 0, said.err
    answer = json.loads(said.out)
    assert isinstance(answer, dict)
    return answer


def apart_s(actual: object, expected: str) -> float:
    """Give the time between two ISO instants, which must carry the same offset [s]."""
    assert isinstance(actual, str)
    first, second = datetime.fromisoformat(actual), datetime.fromisoformat(expected)

    assert first.utcoffset() == second.utcoffset()
    return abs((first - second) / timedelta(seconds=1))


def test_the_published_example_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    """The worked example of NREL/TP-560-34302 comes out, with the keys promised.

    Source: Reda & Andreas: zenith 50.127954 without refraction, azimuth 194.34024; sunrise 06:12:43 at
    UTC-7. Clear sky: 709.93 W/m2, computed with pvlib's Ineichen model.
    """
    answer = ask_json(f"--at 2003-10-17T12:30:30-07:00 {GOLDEN}", capsys)

    assert set(answer) == {"sun_height_deg", "azimuth_deg", "clear_sky_w_m2", "sunrise", "sunset"}
    assert answer["sun_height_deg"] == pytest.approx(90 - 50.127954, abs=1e-4)
    assert answer["azimuth_deg"] == pytest.approx(194.34024, abs=1e-4)
    assert answer["clear_sky_w_m2"] == pytest.approx(709.93, abs=0.01)
    assert apart_s(answer["sunrise"], "2003-10-17T07:12:43-06:00") <= 2


@pytest.mark.parametrize(
    ("line", "sunrise", "sunset"),
    [
        # Computed by root finding on NREL's SPA; the sunset falls on the next UTC day.
        (f"--at 2025-03-20T23:59:59 {GOLDEN}", "2025-03-20T07:03:31-06:00", "2025-03-20T19:13:07-06:00"),
        (f"--at 2025-12-21 {GOLDEN}", "2025-12-21T07:18:25-07:00", "2025-12-21T16:39:39-07:00"),
        # Computed with skyfield 1.55 on DE421, to the second.
        (f"--at 2025-03-30T12:00 {LONDON}", "2025-03-30T06:39:57+01:00", "2025-03-30T19:30:38+01:00"),
        (f"--at 2025-10-26T12:00 {LONDON}", "2025-10-26T06:43:42+00:00", "2025-10-26T16:44:14+00:00"),
        (f"--at 2025-12-21T12:00 {SYDNEY}", "2025-12-21T05:40:45+11:00", "2025-12-21T20:05:31+11:00"),
    ],
)
def test_sunrise_and_sunset_of_the_civil_day(
    line: str, sunrise: str, sunset: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sunrise and sunset belong to the site's own day and carry its offset, also where the clocks change."""
    answer = ask_json(line, capsys)

    assert apart_s(answer["sunrise"], sunrise) <= 2
    assert apart_s(answer["sunset"], sunset) <= 2


def test_an_instant_with_an_offset_is_taken_to_the_site(capsys: pytest.CaptureFixture[str]) -> None:
    """Noon by UTC in December is 23 h in Sydney, on the same day there as its sunrise."""
    by_offset = ask_json(f"--at 2025-12-21T12:00Z {SYDNEY}", capsys)
    local = ask_json(f"--at 2025-12-21T23:00 {SYDNEY}", capsys)

    assert by_offset == local


def test_a_skipped_hour_is_moved_on_and_said(capsys: pytest.CaptureFixture[str]) -> None:
    """Half past one on the night the clocks go forward is taken as half past two, and that is said."""
    assert ask(f"--at 2025-03-30T01:30 {LONDON}") == 0
    said = capsys.readouterr()

    assert said.out.startswith("2025-03-30T02:30:00+01:00 (Europe/London)")
    assert "skipped when the clocks go forward; taken as 2025-03-30T02:30:00+01:00" in said.err
    assert said.err.count("\n") == 1


def test_a_repeated_hour_is_taken_first_and_said(capsys: pytest.CaptureFixture[str]) -> None:
    """Half past one on the night the clocks go back is the first of two, and that is said."""
    assert ask(f"--at 2025-10-26T01:30 {LONDON}") == 0
    said = capsys.readouterr()
    assert ask(f"--at 2025-10-26T01:30+00:00 {LONDON}") == 0
    decided = capsys.readouterr()

    assert said.out.startswith("2025-10-26T01:30:00+01:00 ")
    assert "comes twice" in said.err
    assert "the second is 2025-10-26T01:30:00+00:00" in said.err
    assert decided.out.startswith("2025-10-26T01:30:00+00:00 ")
    assert decided.err == ""


@pytest.mark.parametrize(
    ("at", "words"),
    [("2025-06-21T00:30", "stays up all that day"), ("2025-12-21T12:00", "stays down all that day")],
)
def test_polar_days_and_nights_have_no_sunrise(
    at: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """In polar day and night sunrise and sunset are null, and the text says which it is."""
    answer = ask_json(f"--at {at} {TROMSO}", capsys)
    assert ask(f"--at {at} {TROMSO}") == 0

    assert (answer["sunrise"], answer["sunset"]) == (None, None)
    assert words in capsys.readouterr().out


def test_a_day_with_two_sunsets_gives_the_last_and_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """At the end of the midnight sun a day holds two sunsets: the last is given and both are told."""
    answer = ask_json(f"--at 2025-07-27T12:00 {TROMSO}", capsys)
    assert ask(f"--at 2025-07-27T12:00 {TROMSO}") == 0
    text = capsys.readouterr().out

    assert str(answer["sunrise"]).startswith("2025-07-27T01:3")
    assert str(answer["sunset"]).startswith("2025-07-27T23:5")
    assert "as sunsets" in text
    assert "00:09" in text


def test_a_day_with_a_sunrise_only(capsys: pytest.CaptureFixture[str]) -> None:
    """On the last morning before the midnight sun there is a sunrise and no sunset."""
    answer = ask_json(f"--at 2025-05-16T12:00 {TROMSO}", capsys)
    assert ask(f"--at 2025-05-16T12:00 {TROMSO}") == 0

    assert str(answer["sunrise"]).startswith("2025-05-16T01:2")
    assert answer["sunset"] is None
    assert "no sunset" in capsys.readouterr().out


def test_the_text_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    """The text names instant, place, height, azimuth, light, sunrise and sunset, with units."""
    assert ask(f"--at 2025-12-21T12:00 {SYDNEY}") == 0
    lines = capsys.readouterr().out.splitlines()

    assert lines[0] == "2025-12-21T12:00:00+11:00 (Australia/Sydney) at 33.87 S, 151.21 E, 20 m:"
    assert lines[1].startswith("Sun 74.")
    assert "degrees above the horizon" in lines[1]
    assert lines[2].endswith("W/m2 on a level plane.")
    assert lines[3].startswith("That day: sunrise 05:4")


def test_the_site_comes_from_the_settings_and_options_win(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The table [site] of the settings is read, and an option given besides replaces its value."""
    path = tmp_path / "duskbell.toml"
    path.write_text(SITE_TOML, encoding="utf-8")
    by_file = ask_json(f"--at 2025-06-21T12:00 --settings {path}", capsys)
    by_options = ask_json(
        "--at 2025-06-21T12:00 --latitude 54 --longitude -1 --elevation-m 15 --time-zone Europe/London",
        capsys,
    )
    assert ask("--at 2025-06-21T12:00 --json", path) == 0
    by_machine = json.loads(capsys.readouterr().out)
    moved = ask_json(f"--at 2025-06-21T12:00 --settings {path} --latitude -54", capsys)

    assert by_file == by_options == by_machine
    height_deg, moved_deg = by_file["sun_height_deg"], moved["sun_height_deg"]
    assert isinstance(height_deg, float)
    assert isinstance(moved_deg, float)
    assert height_deg > 55
    assert moved_deg < 20


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (LONDON, "--at"),
        (f"--at noon {LONDON}", "ISO 8601"),
        (f"--at 2025-02-30T12:00 {LONDON}", "ISO 8601"),
        (f"--at 1949-12-31T23:59 {LONDON}", "1950 to 2099"),
        (f"--at 9999-12-31T23:59 {LONDON}", "1950 to 2099"),
        (f"--at 0001-01-01T00:00+14:00 {LONDON}", "1950 to 2099"),
        (f"--at 1950-01-01T00:00 {LONDON} --time-zone Asia/Tokyo", "1950 to 2099"),
        (f"--at 2025-06-21T12:00 {LONDON} --latitude 90.5", "latitude_deg"),
        (f"--at 2025-06-21T12:00 {LONDON} --longitude east", "longitude_deg"),
        (f"--at 2025-06-21T12:00 {LONDON} --elevation-m nan", "elevation_m"),
        (f"--at 2025-06-21T12:00 {LONDON} --time-zone Mars/Base", "time_zone"),
        (f"--at 2025-06-21T12:00 {LONDON} --time-zone ../etc/passwd", "time_zone"),
        (f"--at 2025-06-21T12:00 {LONDON} --time-zone Europe", "time_zone"),
        (f"--at 2025-06-21T12:00 {LONDON} --time-zone ''", "time_zone"),
        ("--at 2025-06-21T12:00 --latitude 51.5 --longitude 0", "lacks elevation_m, time_zone"),
        (
            "--at 2025-06-21T12:00 --latitude 51.5 --longitude 0",
            "no settings file /absent/settings.toml, and the site lacks elevation_m, time_zone: give --settings",
        ),
        ("--at 2025-06-21T12:00 --latitude 51.5 --longitude 0", "or --elevation-m and --time-zone"),
        (
            "--at 2025-06-21T12:00",
            "or --latitude, --longitude, --elevation-m and --time-zone",
        ),
        (f"--at 2025-06-21T12:00 --settings /absent/duskbell.toml {LONDON}", "/absent/duskbell.toml"),
    ],
)
def test_bad_input_is_answered_in_one_line(
    line: str, words: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be answered gives exit 2, one line that names the fault, no output and no process."""
    monkeypatch.setattr(edge, "_CHILD", ("/absent",))
    code = ask(line)
    said = capsys.readouterr()

    assert code == 2
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert words in said.err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[site", "no valid TOML"),
        ("[house]\nname = 1\n", "no table [site]"),
        ("site = 3\n", "no table [site]"),
        ("[site]\nlatitude_deg = 1\n", "sky: the site lacks longitude_deg"),
        (SITE_TOML.replace("54.0", "true"), "latitude_deg must be a number"),
        (SITE_TOML.replace("54.0", "[54]"), "latitude_deg must be a number"),
        (SITE_TOML.replace("54.0", "inf"), "latitude_deg must be a finite number"),
        (SITE_TOML.replace("54.0", "1" + "0" * 400), "latitude_deg must be a number"),
        (SITE_TOML.replace('"Europe/London"', "1"), "time_zone must be a name"),
    ],
)
def test_bad_settings_are_answered_in_one_line(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Settings without a usable site give exit 2 and one line that names the fault."""
    path = tmp_path / "duskbell.toml"
    path.write_text(text, encoding="utf-8")
    code = ask(f"--at 2025-06-21T12:00 --settings {path}")
    said = capsys.readouterr()

    assert code == 2
    assert said.err.count("\n") == 1
    assert words in said.err


def test_settings_that_are_no_text_are_answered_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder, bytes that are no UTF-8, and a file too large each give exit 2 and one line."""
    path = tmp_path / "duskbell.toml"
    path.write_bytes(b"\xff\xfe")
    monkeypatch.setattr(sky_report, "_SETTINGS_BYTES_MAX", 100)
    large = tmp_path / "large.toml"
    large.write_text("#" * 200, encoding="utf-8")
    for given in (tmp_path, path, large):
        assert ask(f"--at 2025-06-21T12:00 --settings {given}") == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_a_failed_reckoning_is_exit_one(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the sun cannot be reckoned the exit is 1, with one line and no output."""

    def fail(**_: object) -> SkyReport:
        raise AlmanacFailed("the process that reckons the sun failed:\nwhy")

    monkeypatch.setattr(sky_report, "report_sky", fail)
    code = ask(f"--at 2025-06-21T12:00 {LONDON}")
    said = capsys.readouterr()

    assert code == 1
    assert said.out == ""
    assert said.err == "duskbell sky: the process that reckons the sun failed: why\n"


def test_a_day_that_begins_after_midnight(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the clocks skip midnight the day has 23 hours and begins when they jump.

    Source: tz database, America/Sao_Paulo, 2018-11-04: from 00:00 at UTC-3 to 01:00 at UTC-2.
    """
    asked: dict[str, int] = {}

    def note(**question: int) -> SkyReport:
        asked.update(question)
        return SkyReport(1.0, 2.0, 3.0, (), ())

    monkeypatch.setattr(sky_report, "report_sky", note)
    place = "--latitude -23.5 --longitude -46.6 --elevation-m 760 --time-zone America/Sao_Paulo"

    assert ask(f"--at 2018-11-04T12:00 {place}") == 0
    assert asked["from_utc_ms"] == datetime.fromisoformat("2018-11-04T03:00Z").timestamp() * 1000
    assert asked["to_utc_ms"] - asked["from_utc_ms"] == 23 * 3_600_000
    assert "W/m2" in capsys.readouterr().out

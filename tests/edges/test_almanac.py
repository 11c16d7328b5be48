"""The almanac is made in a process of its own, kept in a folder, and every failure has one name."""

from __future__ import annotations

import os
import subprocess
import sys
from array import array
from pathlib import Path
from typing import Any

import pytest

from controller.core.sky import almanac as sky
from controller.core.sky.almanac import Almanac, pack
from controller.core.units import DAY_MS
from controller.edges import almanac as edge
from controller.edges.almanac import AlmanacFailed, almanac_cached, make_almanac, report_sky

START_MS = 1_750_464_000_000  # 2025-06-21T00:00Z
YORK: dict[str, Any] = {"latitude_deg": 54.0, "longitude_deg": -1.0, "elevation_m": 15.0}
YORK_DAY: dict[str, Any] = {**YORK, "start_utc_ms": START_MS, "days": 1}


def replace_child(monkeypatch: pytest.MonkeyPatch, program: str) -> None:
    """Let another small program stand in for the one that reckons the sun."""
    monkeypatch.setattr(edge, "_CHILD", (sys.executable, "-c", program))


def forbid_child(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make any start of the reckoning process fail."""
    replace_child(monkeypatch, "raise SystemExit('started')")


def make_blank_day() -> Almanac:
    """Make a table that fits `YORK_DAY` and holds nothing."""
    return Almanac(START_MS, array("h", [0] * 1441), array("H", [0] * 1441))


def run_fresh(program: str) -> str:
    """Run a program in a fresh interpreter and give what it printed."""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_a_day_at_midsummer() -> None:
    """A real table covers both ends of its day and has midsummer's noon height: 90 - 54 + 23.44 degrees.

    Source: latitude and the obliquity of the ecliptic, 23.44 degrees (The Astronomical Almanac).
    """
    almanac = make_almanac(**YORK_DAY)

    assert sky.covers(almanac, START_MS)
    assert sky.covers(almanac, START_MS + DAY_MS)
    assert len(almanac.sun_height_cdeg) == 1441
    assert max(almanac.sun_height_cdeg) == pytest.approx(5944, abs=2)


def test_the_start_is_rounded_down_to_a_whole_minute() -> None:
    """A start within a minute gives the table that starts with that minute."""
    almanac = make_almanac(**{**YORK_DAY, "start_utc_ms": START_MS + 59_999})

    assert almanac.start_utc_ms == START_MS


@pytest.mark.slow
def test_a_year_in_one_call_takes_little_time_and_memory() -> None:
    """A year takes under 10 s of processor time and 250 MB in the child; the parent stays under 60 MB.

    Bounds of our own: a small board has 1 GB, and holds the daemon, a broker and the system besides.
    """
    program = (
        "import resource\n"
        "from controller.edges.almanac import make_almanac\n"
        "table = make_almanac(latitude_deg=54.0, longitude_deg=-1.0, elevation_m=15.0,"
        " start_utc_ms=1735689600000, days=365)\n"
        "child = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        # The kernel hands the peak of resource usage on to what is started, but this line begins anew.
        "own = next(line for line in open('/proc/self/status') if line.startswith('VmHWM')).split()[1]\n"
        "print(len(table.sun_height_cdeg), child.ru_utime + child.ru_stime, child.ru_maxrss, own)"
    )
    minutes, processor_s, child_kib, own_kib = (float(word) for word in run_fresh(program).split())

    assert minutes == 365 * 1440 + 1
    assert processor_s < 10
    assert child_kib < 250_000
    assert own_kib < 60_000


def test_the_daemon_never_imports_the_astronomy() -> None:
    """Importing every module of the controller but the child loads none of the large libraries."""
    loaded, heavy = run_fresh(
        "import controller, importlib, pkgutil, sys\n"
        "for module in pkgutil.walk_packages(controller.__path__, 'controller.'):\n"
        "    if not module.name.endswith(('.almanac_child', '.__main__')):\n"
        "        importlib.import_module(module.name)\n"
        "print({'controller.edges.almanac', 'controller.sky_report'} <= set(sys.modules))\n"
        "print(sorted({'pvlib', 'pandas', 'numpy', 'scipy', 'h5py'} & set(sys.modules)))"
    ).splitlines()

    assert loaded == "True"
    assert heavy == "[]"


def test_only_the_child_names_the_astronomy() -> None:
    """No other module of the controller imports pvlib, pandas or numpy, at its top or within a function."""
    root = Path(edge.__file__).parents[1]
    heavy = [[verb, name] for verb in ("import", "from") for name in ("pvlib", "pandas", "numpy")]
    found = {
        path.relative_to(root).as_posix()
        for path in root.rglob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.split()[:2] in heavy
    }

    assert found == {"edges/almanac_child.py"}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"latitude_deg": 90.1}, "latitude_deg"),
        ({"latitude_deg": float("nan")}, "latitude_deg"),
        ({"longitude_deg": -181.0}, "longitude_deg"),
        ({"elevation_m": 9001.0}, "elevation_m"),
        ({"elevation_m": float("inf")}, "elevation_m"),
        ({"days": 0}, "days"),
        ({"days": edge.DAYS_MAX + 1}, "days"),
        ({"start_utc_ms": -631_152_060_000}, "1950"),
        ({"start_utc_ms": 4_102_444_800_000}, "2099"),
    ],
)
def test_impossible_questions_start_nothing(
    changed: dict[str, Any], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A parameter out of range raises ValueError that names it, before any process starts."""
    forbid_child(monkeypatch)
    with pytest.raises(ValueError, match=words):
        make_almanac(**(YORK_DAY | changed))
    with pytest.raises(ValueError, match=words):
        almanac_cached(**(YORK_DAY | changed), cache_dir=None)


@pytest.mark.parametrize("span_ms", [0, -1, 2 * DAY_MS + 1])
def test_a_report_has_a_span_of_up_to_two_days(span_ms: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty, reversed or long span raises ValueError."""
    forbid_child(monkeypatch)
    with pytest.raises(ValueError, match="two days"):
        report_sky(**YORK, at_utc_ms=START_MS, from_utc_ms=START_MS, to_utc_ms=START_MS + span_ms)


@pytest.mark.parametrize(
    ("program", "words"),
    [
        ("raise RuntimeError('no sun today')", r"exit 1\): RuntimeError: no sun today"),
        ("raise SystemExit(3)", r"exit 3\): it gave no reason"),
        ("import os; os.kill(os.getpid(), 9)", "signal 9"),
        ("print('no table')", "answered no almanac"),
        ("pass", "answered no almanac"),
    ],
)
def test_every_failure_of_the_process_has_one_name(
    program: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that raises, exits, is killed or answers nonsense becomes AlmanacFailed with the reason."""
    replace_child(monkeypatch, program)
    with pytest.raises(AlmanacFailed, match=words):
        make_almanac(**YORK_DAY)


def test_a_table_of_another_span_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sound table that is not the one asked for becomes AlmanacFailed."""
    packed = pack(Almanac(START_MS, array("h", [0] * 1440), array("H", [0] * 1440)))
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")
    with pytest.raises(AlmanacFailed, match="another span"):
        make_almanac(**YORK_DAY)


def test_a_process_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that takes longer than its limit is ended and becomes AlmanacFailed."""
    replace_child(monkeypatch, "import sys, threading; threading.Event().wait(60)")
    with pytest.raises(AlmanacFailed, match=r"longer than 0\.2 s"):
        make_almanac(**YORK_DAY, time_limit_s=0.2)


def test_a_process_that_cannot_start_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A missing interpreter becomes AlmanacFailed."""
    monkeypatch.setattr(edge, "_CHILD", (str(tmp_path / "absent"),))
    with pytest.raises(AlmanacFailed, match="did not start"):
        make_almanac(**YORK_DAY)


@pytest.mark.parametrize("answer", ["", "[]", "{}", '{"sun_height_deg": null}', '{"sun_height_deg": 1}'])
def test_a_report_of_nonsense_is_refused(answer: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that is no report becomes AlmanacFailed."""
    replace_child(monkeypatch, f"print({answer!r})")
    with pytest.raises(AlmanacFailed, match="nonsense"):
        report_sky(**YORK, at_utc_ms=START_MS, from_utc_ms=START_MS, to_utc_ms=START_MS + DAY_MS)


def test_an_unknown_question_is_refused_by_the_child() -> None:
    """The child raises on a question it does not know, and the parent tells its last line."""
    with pytest.raises(AlmanacFailed, match="unknown question 'tea'"):
        edge._ask({**YORK, "ask": "tea"}, time_limit_s=60)


def test_the_second_time_the_table_comes_from_the_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A table once made is read back without any process, even from a folder made on the way."""
    folder = tmp_path / "deep" / "sky"
    made = almanac_cached(**YORK_DAY, cache_dir=folder)
    forbid_child(monkeypatch)

    assert almanac_cached(**YORK_DAY, cache_dir=folder) == made
    assert almanac_cached(**{**YORK_DAY, "start_utc_ms": START_MS + 1}, cache_dir=folder) == made
    assert [path.suffix for path in folder.iterdir()] == [".almanac"]


@pytest.mark.parametrize(
    "changed",
    [
        {"latitude_deg": 54.001},
        {"longitude_deg": 1.0},
        {"elevation_m": 16.0},
        {"start_utc_ms": START_MS + 60_000},
        {"days": 2},
    ],
)
def test_another_site_or_span_is_another_table(
    changed: dict[str, Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A table is not given for another place, start or length than it was made for."""
    packed = pack(make_blank_day())
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")
    assert almanac_cached(**YORK_DAY, cache_dir=tmp_path) == make_blank_day()
    forbid_child(monkeypatch)

    with pytest.raises(AlmanacFailed, match="started"):
        almanac_cached(**(YORK_DAY | changed), cache_dir=tmp_path)


@pytest.mark.parametrize("damage", [b"", b"rubbish", None])
def test_a_damaged_file_is_made_anew(
    damage: bytes | None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A cached file that is cut, overwritten or holds another span is replaced by a sound one."""
    packed = pack(make_blank_day())
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")
    almanac_cached(**YORK_DAY, cache_dir=tmp_path)
    (path,) = tmp_path.iterdir()
    other_span = pack(Almanac(START_MS, array("h", [0]), array("H", [0])))
    path.write_bytes(other_span if damage is None else damage)

    assert almanac_cached(**YORK_DAY, cache_dir=tmp_path) == make_blank_day()
    assert path.read_bytes() == packed


def test_a_folder_that_cannot_be_written_costs_time_only(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Where the folder is no folder, the table is made and given all the same."""
    packed = pack(make_blank_day())
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")
    no_folder = tmp_path / "file"
    no_folder.write_text("in the way", encoding="utf-8")

    assert almanac_cached(**YORK_DAY, cache_dir=no_folder) == make_blank_day()
    assert no_folder.read_text(encoding="utf-8") == "in the way"


def test_a_failed_write_leaves_no_part_behind(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """When the last step of writing fails, the table is given and the folder is as before."""
    packed = pack(make_blank_day())
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")

    def refuse(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", refuse)

    assert almanac_cached(**YORK_DAY, cache_dir=tmp_path) == make_blank_day()
    assert list(tmp_path.iterdir()) == []


def test_the_folder_keeps_the_newest_tables_only(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Beyond the limit the oldest tables go; a stranger's file stays."""
    packed = pack(make_blank_day())
    replace_child(monkeypatch, f"import sys; sys.stdout.buffer.write({packed!r})")
    (tmp_path / "notes.txt").write_text("stays", encoding="utf-8")
    for number in range(edge.CACHE_FILES_MAX):
        old = tmp_path / f"sky-{number:02}.almanac"
        old.write_bytes(b"old")
        os.utime(old, (number, number))
    almanac_cached(**YORK_DAY, cache_dir=tmp_path)
    names = {path.name for path in tmp_path.iterdir()}

    assert len(names) == edge.CACHE_FILES_MAX + 1
    assert "sky-00.almanac" not in names
    assert {"notes.txt", "sky-01.almanac"} <= names

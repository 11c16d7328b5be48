"""A recording is read strictly: good rows in order, bad rows named and skipped."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.plan.sensor import Mounted, Sensor
from controller.core.units import Quantity
from controller.core.vocabulary import Sample
from controller.recording import RecordingUnreadable, read_rows, survey
from controller.recording_rows import NAMED_ROWS_MOST, Tally


def _sensor(name: str, quantity: Quantity = Quantity.TEMPERATURE, unit: str = "C") -> Sensor:
    """Make a sensor for a recording."""
    mounted = Mounted.OUTSIDE if quantity is Quantity.LIGHT else None
    return Sensor(name=name, quantity=quantity, unit=unit, topic=f"t/{name}", mounted=mounted)


SENSORS = {
    "air": _sensor("air"),
    "sun": _sensor("sun", Quantity.LIGHT, "lx"),
    "pump": _sensor("pump", Quantity.SWITCH, "on/off"),
}


def _read(path: Path, text: str) -> tuple[list[tuple[int, tuple[Sample, ...]]], Tally]:
    """Write a recording and read it."""
    path.write_text(text, encoding="utf-8")
    tally = Tally()
    return list(read_rows(path, SENSORS, tally)), tally


def test_a_wide_row_becomes_samples_in_kept_units(tmp_path: Path) -> None:
    """Lux become W/m2 by 54 lx per umol (Thimijan & Heins 1983) and 2.0565 umol per joule; switches are words."""
    rows, tally = _read(tmp_path / "a.csv", "time,air,sun,pump\n2026-01-01T00:00:00Z,20.5,54000,on\n")

    assert (tally.read, tally.refused) == (1, 0)
    [(utc_ms, samples)] = rows
    assert utc_ms == 1_767_225_600_000
    assert [("air", 20.5), ("sun", pytest.approx(1000 / 2.0565)), ("pump", 1.0)] == [
        (sample.sensor, sample.value) for sample in samples
    ]


@pytest.mark.parametrize(("between", "named"), [(";", "semicolons"), ("\t", "tabs")])
@pytest.mark.parametrize("cells", [("time", "air", "sun"), ("time", "sensor", "value")])
def test_a_recording_without_commas_is_told_that_they_are_needed(
    tmp_path: Path, between: str, named: str, cells: tuple[str, ...]
) -> None:
    """What spreadsheets of many countries write is refused with the reason, not with the form of the header."""
    path = tmp_path / "a.csv"
    row = between.join(("2026-01-01T00:00:00Z", "20,5", "1"))
    path.write_text(f"{between.join(cells)}\n{row}\n", encoding="utf-8")
    with pytest.raises(
        RecordingUnreadable, match=f"a.csv:1: {named} stand between the cells where commas are"
    ):
        survey(path, SENSORS)


def test_an_empty_cell_is_no_reading(tmp_path: Path) -> None:
    """A sensor that did not speak in a row has no sample, and the row is still good."""
    rows, tally = _read(tmp_path / "a.csv", "time,air,sun\n2026-01-01T00:00:00+02:00,,5\n")

    assert [sample.sensor for sample in rows[0][1]] == ["sun"]
    assert tally.read == 1


def test_the_long_form_gathers_rows_of_one_instant(tmp_path: Path) -> None:
    """Rows of the same time are handed over together, those of strangers are refused."""
    rows, tally = _read(
        tmp_path / "a.csv",
        "time,sensor,value\n"
        "2026-01-01T00:00:00Z,air,20\n2026-01-01T00:00:00Z,pump,0\n"
        "2026-01-01T00:00:00Z,moon,1\n2026-01-01T00:01:00Z,air,21\n",
    )

    assert [tuple(sample.sensor for sample in samples) for _, samples in rows] == [("air", "pump"), ("air",)]
    assert (tally.read, tally.refused) == (3, 1)
    assert "a.csv:4:" in tally.named[0]
    assert "moon" in tally.named[0]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("2026-01-01T00:01:00,20,1,on", "offset"),
        ("yesterday,20,1,on", "ISO 8601"),
        ("2026-01-01T00:01:00Z,nan,1,on", "no value of air"),
        ("2026-01-01T00:01:00Z,1_0,1,on", "no value of air"),
        ("2026-01-01T00:01:00Z,inf,1,on", "no value of air"),
        ("2026-01-01T00:01:00Z,٢٠,1,on", "no value of air"),
        ("2026-01-01T00:01:00Z,20,1,maybe", "no value of pump"),
        ("2026-01-01T00:01:00Z,20", "2 cells"),
        ("2025-12-31T00:01:00Z,20,1,on", "not after"),
        ("2026-01-01T00:00:00Z,20,1,on", "not after"),
        ('"2026-01-01T00:01:00Z,20,1,on', "a quote is not closed"),
        ('2026-01-01T00:01:00Z,2"0,1,on', "a quote is not closed"),
        ("2026-01-01T00:01:00Z," + "2" * 200_000, "longer than 100000 characters"),
        ("2062-01-01T00:01:00Z,20,1,on", "leaps ahead"),
        ("9999-12-31T23:59:59-23:00,20,1,on", "not in the years 1951 to 2098"),
        ("1900-01-01T00:01:00Z,20,1,on", "not in the years 1951 to 2098"),
    ],
)
def test_a_bad_row_is_named_with_its_line_and_skipped(tmp_path: Path, row: str, says: str) -> None:
    """The rows around a bad one are read all the same."""
    text = f"time,air,sun,pump\n2026-01-01T00:00:00Z,20,1,on\n{row}\n2026-01-01T00:02:00Z,21,1,off\n"
    rows, tally = _read(tmp_path / "a.csv", text)

    assert (tally.read, tally.refused) == (2, 1)
    assert [samples[0].value for _, samples in rows] == [20.0, 21.0]
    assert "a.csv:3:" in tally.named[0]
    assert says in tally.named[0]


@pytest.mark.parametrize("header", ["time,air,sun,pump", "time,sensor,value"])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_slip_of_the_year_costs_one_row(tmp_path: Path, header: str, place: int) -> None:
    """First, between or last: a row years ahead of the others is skipped, and they are read."""
    cells = "20,1,on" if header.endswith("pump") else "air,20"
    times = [f"2026-01-01T00:0{minute}:00Z" for minute in range(2)]
    times.insert(place, "2062-01-01T00:00:00Z")
    rows, tally = _read(tmp_path / "a.csv", "\n".join([header, *(f"{time},{cells}" for time in times), ""]))

    assert (len(rows), tally.read, tally.refused) == (2, 2, 1)
    assert f"a.csv:{place + 2}: 2062-01-01T00:00:00Z leaps ahead" in tally.named[0]


def test_a_long_pause_is_no_slip(tmp_path: Path) -> None:
    """A recording that was taken up again after a winter is read whole; quoted cells are cells."""
    rows, tally = _read(
        tmp_path / "a.csv",
        'time,air\n"2026-01-01T00:00:00Z","20"\n2026-05-01T00:00:00Z,21\n"2026-05-01T00:01:00Z","22"\n',
    )

    assert (len(rows), tally.read, tally.refused) == (3, 3, 0)
    assert survey(tmp_path / "a.csv", SENSORS).sensors == frozenset({"air"})


def test_many_bad_rows_are_counted_and_the_first_are_named(tmp_path: Path) -> None:
    """A wholly broken file does not fill the screen."""
    _, tally = _read(tmp_path / "a.csv", "time,air\n" + "x,1\n" * 500)

    assert tally.refused == 500
    assert len(tally.named) == NAMED_ROWS_MOST


def test_the_survey_finds_span_and_sensors(tmp_path: Path) -> None:
    """The span is that of the rows; columns that the settings do not know are told."""
    path = tmp_path / "a.csv"
    path.write_text("time,air,moon\n2026-01-01T00:00:00Z,1,2\n2026-01-02T00:00:00Z,1,2\n", encoding="utf-8")

    span = survey(path, SENSORS)

    assert span.last_utc_ms - span.first_utc_ms == 86_400_000
    assert frozenset({"air"}) == span.sensors
    assert span.strangers == ("moon",)


@pytest.mark.parametrize(
    "text",
    ["", "time\n", "when,air\n2026-01-01T00:00:00Z,1\n", "time,moon\n2026-01-01T00:00:00Z,1\n", "time,air\n",
     "time,air\nx,1\n", "time,air,air\n2026-01-01T00:00:00Z,1,2\n"],
)  # fmt: skip
def test_a_file_that_is_no_recording_is_refused_whole(tmp_path: Path, text: str) -> None:
    """No header, no known sensor, no readable time: the file cannot be used."""
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(RecordingUnreadable):
        survey(path, SENSORS)


def test_a_missing_file_is_refused_with_its_name(tmp_path: Path) -> None:
    """The text names the file."""
    with pytest.raises(RecordingUnreadable, match=r"gone\.csv"):
        survey(tmp_path / "gone.csv", SENSORS)


@settings(max_examples=200, deadline=None)
@given(damage=st.binary(max_size=400))
def test_any_bytes_after_the_header_are_counted_and_never_fatal(
    tmp_path_factory: pytest.TempPathFactory, damage: bytes
) -> None:
    """Whatever stands in the file, every row handed over is finite and in order."""
    path = tmp_path_factory.mktemp("any") / "a.csv"
    path.write_bytes(b"time,air,sun,pump\n" + damage + b"\n2026-01-01T00:00:00Z,20,1,on\n")
    tally = Tally()

    rows = list(read_rows(path, SENSORS, tally))

    times = [utc_ms for utc_ms, _ in rows]
    assert times == sorted(set(times))
    assert tally.read == len(rows)

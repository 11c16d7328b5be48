"""The calculators as a person and a program meet them: text, JSON, refusals, and help that is true."""

from __future__ import annotations

import argparse
import json
import re
import shlex
from math import isfinite
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.calculators import CALCULATORS, Calculator
from controller.reckon import add_reckon, run_reckon

CONTRACT = [
    "ammonia",
    "oxygen",
    "carbonate",
    "base",
    "feed",
    "horizon",
    "cooling",
    "nitrate",
    "level",
    "filter",
    "dew-point",
    "light-sum",
    "break-even",
]
WITH_EXCHANGE = (
    "horizon --oxygen-mg-l 6 --limit-mg-l 3 --fish-kg-m3 10 --demand-mg-kg-h 200 "
    "--exchange-per-h 0.2 --temperature-c 28"
)
ANYTHING = st.one_of(st.floats(), st.floats(0, 100), st.floats(0, 14), st.sampled_from([85.0, -127.0, 0.0]))


def build_parser() -> argparse.ArgumentParser:
    """Build a command line that has `reckon` and nothing else."""
    parser = argparse.ArgumentParser(prog="duskbell")
    add_reckon(parser.add_subparsers(dest="command", required=True))
    return parser


def call(line: str) -> int:
    """Run one command line as typed after `duskbell`, and give its exit status."""
    try:
        args = build_parser().parse_args(shlex.split(line, comments=True))
        assert args.run is run_reckon
        return run_reckon(args)
    except SystemExit as stop:
        return int(stop.code or 0)


def ask(capsys: pytest.CaptureFixture[str], line: str) -> dict[str, Any]:
    """Run one line with `--json` and give the object it prints."""
    status = call(f"{line} --json")
    shown = capsys.readouterr()

    assert (status, shown.err) == (0, "")
    answer: dict[str, Any] = json.loads(shown.out)
    return answer


def test_the_names_are_those_agreed() -> None:
    """Thirteen calculators, by the names that other programs call them."""
    assert [calculator.name for calculator in CALCULATORS] == CONTRACT


@pytest.mark.parametrize(
    ("line", "value", "unit", "tolerance"),
    [
        # Emerson et al. 1975 as printed in UF/IFAS FA16.
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24", 0.0502, "mg/L", 1e-4),
        # Standard Methods 4500-O.
        ("oxygen --temperature-c 25", 8.263, "mg/L", 1e-3),
        ("oxygen --temperature-c 28 --pressure-hpa 959.92", 7.400, "mg/L", 2e-3),
        ("oxygen --temperature-c 28 --elevation-m 2000", 6.077, "mg/L", 1e-3),
        # gsw (TEOS-10).
        ("oxygen --temperature-c 28 --salinity-g-kg 5", 7.612, "mg/L", 5e-3),
        # Plummer & Busenberg 1982 by hand.
        ("carbonate --ph 6.5 --alkalinity-mg-l 50 --temperature-c 28", 30.2, "mg/L", 0.05),
        # Molar masses by hand.
        ("base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH", 33.63, "g", 0.02),
        ("base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical 'slaked lime'", 22.21, "g", 0.02),
        # Timmons & Ebeling (from memory).
        ("feed --feed-kg-d 13.5 --protein-percent 32", 397.4, "g/d", 0.1),
        # By hand.
        ("horizon --oxygen-mg-l 6 --limit-mg-l 3 --fish-kg-m3 60 --demand-mg-kg-h 300", 10.0, "min", 1e-9),
        (
            WITH_EXCHANGE,
            137.2,
            "min",
            0.1,
        ),
        (
            "cooling --volume-l 1000 --loss-w-k 40 --start-c 28 --ambient-c 12 --target-c 24",
            8.33,
            "h",
            0.01,
        ),
        # By hand: 2000 W hold 12 + 50 C; from 20 to 28 C in tau ln(42/34), tau 28.95 h.
        (
            "cooling --volume-l 1000 --loss-w-k 40 --start-c 20 --ambient-c 12 --target-c 28 --heater-w 2000",
            6.117,
            "h",
            0.005,
        ),
        # Molar masses by hand: 1 mg/L as NH3 is 0.8225 as N, as NH4 0.7765; times 0.05017 (Emerson et al. 1975).
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24 --basis NH3", 0.04126, "mg/L", 1e-5),
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24 --basis nh4", 0.03896, "mg/L", 1e-5),
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24 --basis n", 0.05017, "mg/L", 1e-5),
        ("nitrate --made-g-d 20 --taken-up-g-d 15 --exchange-m3-d 0.1 --inflow-mg-l 2", 52.0, "mg/L", 1e-9),
        ("level --fall-mm 1 --surface-m2 2 --time-h 0.5", 2.0, "L", 1e-9),
        ("filter --load-g-d 30 --area-m2 100 --highest-g-m2-d 0.6 --half-mg-l 1", 1.0, "mg/L", 1e-9),
        # psychrolib (ASHRAE).
        ("dew-point --temperature-c 18 --humidity-percent 85", 15.442, "C", 0.01),
        ("dew-point --temperature-c -5 --humidity-percent 80", -7.9, "C", 0.1),
        # By hand.
        ("light-sum --ppfd-umol-m2-s 1000 --hours 12 --clear-day", 27.502, "mol/m2", 1e-3),
        ("light-sum --global-w-m2 277.7778 --hours 1", 2.0565, "mol/m2", 1e-3),
    ],
)
def test_a_published_number_comes_out(
    capsys: pytest.CaptureFixture[str], line: str, value: float, unit: str, tolerance: float
) -> None:
    """The calculator says what the source named above the case says."""
    answer = ask(capsys, f"reckon {line}")

    assert (unit, value) == (answer["unit"], pytest.approx(answer["value"], abs=tolerance))


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_the_object_has_four_keys_and_they_are_sorted(
    capsys: pytest.CaptureFixture[str], calculator: Calculator
) -> None:
    """One object, on one line, exactly `also`, `source`, `unit`, `value`, sorted all the way down."""
    assert call(f"reckon {calculator.name} {calculator.worked} --json") == 0
    text = capsys.readouterr().out
    answer = json.loads(text)

    assert list(answer) == ["also", "source", "unit", "value"]
    assert sorted(answer["also"]) == list(answer["also"])
    assert text.count("\n") == 1


@pytest.mark.parametrize("where", ["", *CONTRACT])
def test_every_worked_line_in_the_help_is_true(capsys: pytest.CaptureFixture[str], where: str) -> None:
    """Each line is run as it stands in the help, and its answer begins the text printed."""
    assert call(f"reckon {where} --help") == 0
    lines = re.findall(r"^  duskbell (reckon .*?)  # (.*)$", capsys.readouterr().out, flags=re.MULTILINE)

    assert len(lines) == (1 if where else len(CONTRACT))
    for line, answer in lines:
        assert call(line) == 0
        assert capsys.readouterr().out.startswith(f"{answer} ")


def test_the_help_names_every_calculator_on_a_worked_line(capsys: pytest.CaptureFixture[str]) -> None:
    """`duskbell reckon --help` has a line for each name, in order."""
    call("reckon --help")
    names = re.findall(r"^  duskbell reckon (\S+) ", capsys.readouterr().out, flags=re.MULTILINE)

    assert names == CONTRACT


def test_there_are_long_options_only() -> None:
    """No option has a short form, and none may be abbreviated."""
    assert call("reckon ammonia -h") == 2
    assert call("reckon ammonia --total 1 --ph 8 --temperature-c 24") == 2


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("ammonia --total-ammonia-mg-l 1 --ph 14.2 --temperature-c 24", "pH 14.2 is outside 3 to 11"),
        ("ammonia --total-ammonia-mg-l -1 --ph 8 --temperature-c 24", "total ammonia -1 mg/L"),
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 85", "before its first conversion"),
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c -127", "does not answer"),
        ("ammonia --total-ammonia-mg-l nan --ph 8 --temperature-c 24", "total ammonia nan mg/L"),
        ("ammonia --total-ammonia-mg-l 1 --ph seven --temperature-c 24", "'seven' is no number"),
        ("ammonia --total-ammonia-mg-l 1_0 --ph 8 --temperature-c 24", "'1_0' is no number"),
        ("ammonia --total-ammonia-mg-l 1 --ph 8", "--temperature-c"),
        ("ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24 --salt 3", "--salt"),
        (
            "ammonia --total-ammonia-mg-l 1 --ph 8 --temperature-c 24 --basis NO3",
            "total ammonia as N or NH3 or NH4",
        ),
        ("oxygen --temperature-c 28 --oxygen-mg-l 40", "dissolved oxygen 40 mg/L is outside 0 to 25"),
        ("oxygen --temperature-c 28 --elevation-m 10 --pressure-hpa 1000", "not both"),
        ("oxygen --temperature-c 41", "water temperature 41 C"),
        ("base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical bleach", "no base is called 'bleach'"),
        ("base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH --ph 7", "--alkalinity-mg-l"),
        (
            "base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH --total-ammonia-mg-l 1",
            "needs --ph",
        ),
        (
            "horizon --oxygen-mg-l 6 --limit-mg-l 3 --fish-kg-m3 2 --demand-mg-kg-h 200 --exchange-per-h 1",
            "--temperature-c",
        ),
        ("nitrate --made-g-d 1 --taken-up-g-d 2 --exchange-m3-d 1", "plants cannot take more"),
        ("light-sum --hours 3", "give one of"),
        ("light-sum --hours 3 --lux 3 --global-w-m2 4", "give one of"),
        ("level --fall-mm 3 --surface-m2 10 --time-h 24 --flow-l-min 5", "needs --volume-l"),
        (
            "level --fall-mm 3 --surface-m2 10 --time-h 24 --volume-l 5",
            "30 L lost, more than the 5 L of --volume-l",
        ),
        ("tea", "'tea'"),
        ("", "NAME"),
    ],
)
def test_bad_input_is_one_clear_line(capsys: pytest.CaptureFixture[str], line: str, words: str) -> None:
    """Nothing on standard output, one line on standard error that says what is wrong, status 2."""
    assert call(f"reckon {line}") == 2
    shown = capsys.readouterr()

    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert words in shown.err


def test_oxygen_says_the_percentage_with_the_height(capsys: pytest.CaptureFixture[str]) -> None:
    """5.0 mg/L at 28 C and 1000 m is 72.4 % (Benson & Krause with the ICAO atmosphere)."""
    answer = ask(capsys, "reckon oxygen --temperature-c 28 --elevation-m 1000 --oxygen-mg-l 5")

    assert answer["also"]["percent"] == pytest.approx(72.4, abs=0.05)


def test_a_pressure_in_millimetres_shows_by_its_height(capsys: pytest.CaptureFixture[str]) -> None:
    """760 typed as hPa is the usual pressure at 2360 m (ICAO Doc 7488, from memory): the answer says so."""
    answer = ask(capsys, "reckon oxygen --temperature-c 20 --pressure-hpa 760")

    assert answer["also"]["usual_pressure_at_m"] == pytest.approx(2360.0, abs=15.0)


def test_ammonia_says_the_fraction_and_the_other_basis(capsys: pytest.CaptureFixture[str]) -> None:
    """The fraction is that of Emerson's table, and as NH3 it weighs 1.216 times as much."""
    answer = ask(capsys, "reckon ammonia --total-ammonia-mg-l 2 --ph 8 --temperature-c 24")

    assert answer["also"]["fraction"] == pytest.approx(0.0502, abs=1e-4)
    assert answer["also"]["unionised_as_nh3_mg_l"] == pytest.approx(answer["value"] * 1.216, rel=1e-3)


def test_base_splits_the_dose_and_names_the_hazard(capsys: pytest.CaptureFixture[str]) -> None:
    """With the water given, doses stay within 0.2 pH and un-ionised ammonia is said before and after."""
    answer = ask(
        capsys,
        "reckon base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH --assay-percent 85 "
        "--ph 6.8 --alkalinity-mg-l 40 --temperature-c 26 --total-ammonia-mg-l 2",
    )
    also = answer["also"]

    assert answer["value"] == pytest.approx(39.57, abs=0.02)
    assert also["doses"] * also["grams_each"] == pytest.approx(answer["value"])
    assert also["ph_rise_each"] <= 0.2
    assert also["unionised_all_at_once_mg_l"] > 10 * also["unionised_after_mg_l"]
    assert also["unionised_before_mg_l"] < also["unionised_after_mg_l"]


def test_base_names_the_hazard_whatever_is_given(capsys: pytest.CaptureFixture[str]) -> None:
    """PH 6.8 to 7.4 is 3.9 times the un-ionised ammonia (Emerson et al. 1975); with the water, its own figure."""
    line = "reckon base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH"
    bare = ask(capsys, line)["also"]
    known = ask(capsys, f"{line} --ph 6.8 --alkalinity-mg-l 40 --temperature-c 26")["also"]

    assert "pH 6.8 to 7.4 makes its un-ionised part 3.9 times" in bare["hazard"]
    assert "nobody can tell the doses" in bare["note"]
    assert f"{known['unionised_times']:.1f} times what it was" in known["hazard"]
    assert known["unionised_times"] > 1.0
    assert known["unionised_after_mg_l"] is None


@pytest.mark.parametrize(
    "words", ["goggles", "never water to the chemical", "label", "local rules", "never doses"]
)
def test_base_prints_its_safety_text_always(capsys: pytest.CaptureFixture[str], words: str) -> None:
    """The safety text stands in the plain answer and in the object, with or without the water given."""
    line = "reckon base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH"
    assert call(line) == 0

    assert words in capsys.readouterr().out
    assert words in " ".join(ask(capsys, line)["also"]["safety"])


def test_an_overloaded_filter_has_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    """The value is null and the text says why."""
    line = "reckon filter --load-g-d 60 --area-m2 100 --highest-g-m2-d 0.6 --half-mg-l 1"
    assert call(line) == 0

    assert capsys.readouterr().out.startswith("no steady value: the filter is overloaded")
    answer = ask(capsys, line)
    assert (answer["value"], answer["also"]["overloaded"]) == (None, True)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("filter --load-g-d 60 --area-m2 100 --highest-g-m2-d 0.6 --half-mg-l 1", "overloaded"),
        ("filter --load-g-d 59.9999 --area-m2 100 --highest-g-m2-d 0.6 --half-mg-l 1", "past 200 mg/L"),
        ("horizon --oxygen-mg-l 6 --limit-mg-l 3 --fish-kg-m3 0 --demand-mg-kg-h 300", "nothing uses oxygen"),
        (
            WITH_EXCHANGE.replace("kg-m3 10", "kg-m3 2"),
            "surface gives more",
        ),
        (
            "cooling --volume-l 1000 --loss-w-k 40 --start-c 20 --ambient-c 12 --target-c 28",
            "unheated the water goes from 20 towards 12 C",
        ),
        (
            "cooling --volume-l 1000 --loss-w-k 40 --start-c 20 --ambient-c 12 --target-c 28 --heater-w 400",
            "with 400 W of heating the water goes from 20 towards 22 C",
        ),
    ],
)
def test_where_there_is_no_number_it_is_said_why(
    capsys: pytest.CaptureFixture[str], line: str, words: str
) -> None:
    """The value is null, `also.why` says why, and the plain answer begins with the same words."""
    answer = ask(capsys, f"reckon {line}")
    assert answer["value"] is None
    assert words in answer["also"]["why"]

    assert call(f"reckon {line}") == 0
    assert capsys.readouterr().out.startswith(answer["also"]["why"])


@pytest.mark.parametrize(("oxygen_mg_l", "noted"), [(8.26, False), (10.7, False), (10.8, True), (24.0, True)])
def test_oxygen_far_above_saturation_is_remarked_upon(
    capsys: pytest.CaptureFixture[str], oxygen_mg_l: float, *, noted: bool
) -> None:
    """Saturation at 25 C is 8.263 mg/L (Standard Methods 4500-O); above 130 % of it, 10.74, a note says why."""
    also = ask(capsys, f"reckon oxygen --temperature-c 25 --oxygen-mg-l {oxygen_mg_l}")["also"]

    assert ("note" in also) is noted
    assert "pure oxygen" in also.get("note", "pure oxygen")


@pytest.mark.parametrize(("ph", "words"), [(6.8, "over days"), (7.6, "hardly dissolves")])
def test_base_makes_up_no_ph_for_calcium_carbonate(
    capsys: pytest.CaptureFixture[str], ph: float, words: str
) -> None:
    """The grams are the equivalents'; doses and pH are left open, and it is said plainly why."""
    line = "reckon base --raise-alkalinity-mg-l 30 --volume-l 1000 --chemical limestone --alkalinity-mg-l 40"
    answer = ask(capsys, f"{line} --temperature-c 26 --total-ammonia-mg-l 1 --ph {ph}")
    also = answer["also"]

    assert answer["value"] == pytest.approx(30.0, rel=1e-3)
    assert also["settled_ph"] is also["ph_rise_each"] is also["doses"] is None
    assert words in also["note"]


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
@given(data=st.data())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_whatever_numbers_come_there_is_an_answer_or_a_refusal(
    capsys: pytest.CaptureFixture[str], calculator: Calculator, data: st.DataObject
) -> None:
    """Status 0 with a finite number or null, or status 2 with one line; never a traceback."""
    words = []
    for option in calculator.options:
        if option.is_flag or (not option.required and data.draw(st.booleans(), label=option.name)):
            continue
        words.append(f"--{option.name}")
        words.append("KOH" if option.is_word else repr(data.draw(ANYTHING, label=option.name)))
    args = ["reckon", calculator.name, "--json", *words]
    capsys.readouterr()
    try:
        status = run_reckon(build_parser().parse_args(args))
    except SystemExit as stop:
        status = int(stop.code or 0)
    shown = capsys.readouterr()

    if status == 2:
        assert (shown.out, shown.err.count("\n")) == ("", 1)
        return
    value = json.loads(shown.out)["value"]
    assert status == 0
    assert value is None or isfinite(value)

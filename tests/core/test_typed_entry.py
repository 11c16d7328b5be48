"""What a person types for a test kit: any case of the basis, the units kits print, and refusals by name.

Molar masses by periodictable 2.0 (IUPAC standard atomic weights), a general reference library.
"""

from __future__ import annotations

import argparse

import pytest
from periodictable import formula
from waters import ALKALINITY, AMMONIA, make_tank_plan

from controller.core.enter import EntryRefused, check_entry
from controller.core.roll import Roll, call_roll
from controller.core.units import Quantity, find_conversion
from controller.entering import make_entry
from controller.talk_command import add_talk


@pytest.fixture(scope="module")
def roll() -> Roll:
    """Give a tank with kits for total ammonia and alkalinity."""
    return call_roll(make_tank_plan())


def keep(roll: Roll, sensor: str, value: str, **words: str) -> float:
    """Enter what a person typed and give what is kept."""
    event = make_entry(roll, {"sensor": sensor, "value": value, "person": "keeper", **words})
    return check_entry(roll.sensors, roll.specs, {}, event).kept


@pytest.mark.parametrize(
    ("typed", "species"),
    [("N", "N"), ("n", "N"), (" n ", "N"), ("NH3", "NH3"), ("nh3", "NH3"), ("Nh4", "NH4"), ("NH4", "NH4")],
)
def test_a_basis_is_understood_in_any_case(roll: Roll, typed: str, species: str) -> None:
    """1 mg/L of the species is its share of nitrogen, however the basis is typed."""
    expected = formula("N").mass / formula(species).mass

    assert keep(roll, AMMONIA, "1", basis=typed) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("typed", ["n", "NO3", "nh3", "Nh4"])
def test_the_command_line_takes_a_basis_in_any_case(typed: str) -> None:
    """`duskbell enter ... --basis n` is as good as `--basis N`."""
    parser = argparse.ArgumentParser()
    add_talk(parser.add_subparsers())

    assert parser.parse_args(["enter", "kit", "1", "--basis", typed]).basis == typed.upper()


def test_a_basis_that_is_none_is_refused_by_name(roll: Roll) -> None:
    """The refusal names those that are known."""
    with pytest.raises(EntryRefused, match=r"'TAN' is no basis; known are N, NH3, NH4, NO2, NO3"):
        keep(roll, AMMONIA, "1", basis="TAN")


@pytest.mark.parametrize(
    ("value", "unit", "mg_l"),
    [
        # A German degree is 10 mg/L of CaO (DIN 38409-6, from memory): 17.848 mg/L as CaCO3.
        ("1", "dKH", 10.0 * formula("CaCO3").mass / formula("CaO").mass),
        ("1", "dKH", 17.848),
        ("1", "meq/L", formula("CaCO3").mass / 2.0),
        ("60", "ppm", 60.0),
        ("60", "mg/L", 60.0),
    ],
)
def test_alkalinity_comes_in_the_units_kits_print(roll: Roll, value: str, unit: str, mg_l: float) -> None:
    """Kept as calcium carbonate, within 0.01 %."""
    assert keep(roll, ALKALINITY, value, unit=unit) == pytest.approx(mg_l, rel=1e-4)


def test_a_degree_of_hardness_is_no_unit_of_anything_else(roll: Roll) -> None:
    """It is refused for ammonia, with the units that are allowed."""
    with pytest.raises(EntryRefused, match=r"'dKH' is no unit of total ammonia; allowed are mg/L"):
        keep(roll, AMMONIA, "1", basis="N", unit="dKH")
    assert find_conversion(Quantity.OXYGEN, "dKH") is None

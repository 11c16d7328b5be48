"""Slips found in print, each as a refusal or a proof that it is not made here; `TRAPS` says where each is proven."""

from __future__ import annotations

import ast
import math
import tomllib
from pathlib import Path

import gsw
import pytest
from phreeqpython import PhreeqPython

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.water import ammonia, feed, horizon, oxygen
from controller.core.water import filter as biofilter
from controller.settings.presets import find_folder

HERE = Path(__file__)

TRAPS = {
    "the slope 2727.92 of a package page": ("test_ammonia.py", "test_the_misprinted_slope_is_not_used"),
    "the 32 C column of a reprint": ("test_ammonia.py", "test_the_misprinted_column_is_not_matched"),
    "ammonia as N and as NH3": ("test_kit.py", "test_a_value_is_restated_by_molar_masses"),
    "nitrite and nitrate as N and as themselves": ("test_kit.py", "test_a_value_is_restated_by_molar_masses"),
    "a library whose ammonia constant is 0": (HERE.name, "test_the_second_library_knows_ammonia"),
    "saturation without a pressure": ("test_oxygen.py", "test_a_percentage_needs_the_pressure"),
    "older oxygen tables": ("test_oxygen.py", "test_an_old_table_is_not_matched"),
    "the factor from mL to mg of oxygen": (
        HERE.name,
        "test_the_factor_from_volume_to_mass_is_the_corrected_one",
    ),
    "a parabola past its turn": ("test_feed.py", "test_the_tilapia_parabola_is_not_followed_past_its_turn"),
    "rates that differ 2000-fold": (HERE.name, "test_an_oxygen_demand_off_by_a_slip_of_units_is_refused"),
    "chloride turned round": (HERE.name, "test_chloride_is_said_to_protect_from_nitrite"),
    "a half-saturation in kilograms": (HERE.name, "test_a_half_saturation_of_a_kilogram_is_refused"),
    "parts that add to more than the whole": (
        "test_level.py",
        "test_component_volumes_are_not_trusted_over_the_total",
    ),
}


@pytest.mark.parametrize(("file", "name"), TRAPS.values(), ids=TRAPS.keys())
def test_every_trap_has_its_test(file: str, name: str) -> None:
    """The test that proves it stands where the list says."""
    tree = ast.parse((HERE.parent / file).read_text(encoding="utf-8"))

    assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_the_factor_from_volume_to_mass_is_the_corrected_one() -> None:
    """1 mL of oxygen is 1.42905 mg (USGS Office of Water Quality memo 2011.03); an older 1.4276 was an error.

    Garcia & Gordon's oxygen at 20 C (gsw gives it in umol/kg) as a volume, times the one, is our figure within
    0.003 mg/L; times the other it is 0.009 off.
    """
    umol_kg, kg_l = gsw.O2sol_SP_pt(0.0, 20.0), gsw.rho_t_exact(0.0, 20.0, 0.0) / 1e3
    ml_l = float(umol_kg * kg_l * 22.3916e-3)  # molar volume of oxygen at 0 C and 1 atm [L/mol]
    ours = oxygen.find_saturation_mg_l(temperature_c=20.0)

    assert ours == pytest.approx(1.42905 * ml_l, abs=0.003)
    assert math.fabs(ours - 1.4276 * ml_l) > 0.006


def test_chloride_is_said_to_protect_from_nitrite() -> None:
    """A question-and-answer page says that low chloride means less harm; it is the reverse.

    The LC50 of nitrite rises from 28 to 45 mg/L where chloride rises from 35 to 70 mg/L. So no preset calls little
    chloride harmless: where it is named it protects, and the fish of water with little of it have the lower limit.
    """
    nitrite = {
        path.stem: tomllib.loads(path.read_text(encoding="utf-8"))["bands"]["nitrite"]
        for path in find_folder().glob("*.toml")
    }
    told = {name: band for name, band in nitrite.items() if "chloride" in band["source"]}

    assert set(told) == {"tilapia", "rainbow-trout"}
    assert "chloride protects" in told["tilapia"]["source"]
    assert "little chloride" in told["rainbow-trout"]["source"]
    assert told["rainbow-trout"]["high"] < told["tilapia"]["high"]


def test_the_second_library_knows_ammonia() -> None:
    """A library whose ammonia constant is 0, as PyCO2SYS with its freshwater option, would prove nothing.

    PHREEQC holds ammonium and ammonia apart: at pH 8 and 28 C a share of 0.0645 (phreeqc.dat, dilute).
    """
    water = PhreeqPython(database="phreeqc.dat").add_solution(
        {"units": "mmol/kgw", "N(-3)": "0.1", "Cl": "0.1 charge", "pH": "8", "temp": "28"}
    )
    parts = {name: water.species.get(name, 0.0) for name in ("NH3", "NH4+")}
    share = parts["NH3"] / sum(parts.values())

    assert share == pytest.approx(0.0645, abs=0.0005)
    assert share == pytest.approx(ammonia.unionised_fraction(ph=8.0, temperature_c=28.0), rel=0.02)


@pytest.mark.parametrize("slip", [0.3, 300_000.0])
def test_an_oxygen_demand_off_by_a_slip_of_units_is_refused(slip: float) -> None:
    """Published tilapia rates differ more than 2000-fold, "attributed to calculation or conversion errors".

    Burggren et al. 2019. 300 mg/kg/h read as g/kg/h or as ug/kg/h leaves the range; nothing is reckoned.
    """
    with pytest.raises(OutOfRange):
        horizon.find_minutes(horizon.Draw(20.0, slip), oxygen_mg_l=6.0, limit_mg_l=3.0)
    with pytest.raises(OutOfRange):
        feed.find_fish_oxygen_g_h(fish_kg=20.0, demand_mg_kg_h=slip)
    with pytest.raises(ValueError, match="demand_mg_kg_h"):
        Water(name="tank", demand_mg_kg_h=slip)


def test_the_demand_is_the_sites_own() -> None:
    """No published rate is built in: it is a key of the settings, and twice the demand halves the time."""
    once, twice = (
        horizon.find_minutes(horizon.Draw(20.0, demand), oxygen_mg_l=6.0, limit_mg_l=3.0)
        for demand in (300.0, 600.0)
    )

    assert (once, twice) == (pytest.approx(30.0), pytest.approx(15.0))


def test_a_half_saturation_of_a_kilogram_is_refused() -> None:
    """A model page prints K_NH as 1.0 kg N/m3; it is 1.0 g/m3 (Henze et al. 1987, from memory).

    1.0 mg/L is taken, 1000 mg/L is refused: with it no filter would ever seem to work.
    """
    right = biofilter.judge_load(biofilter.Media(100.0, 0.6, 1.0), load_g_d=30.0)

    assert right.steady_mg_l == pytest.approx(1.0)
    with pytest.raises(OutOfRange, match="half-saturation"):
        biofilter.judge_load(biofilter.Media(100.0, 0.6, 1000.0), load_g_d=30.0)

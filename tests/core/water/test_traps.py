"""Slips found in print, each as a refusal or a proof that it is not made here."""

from __future__ import annotations

import pytest
from phreeqpython import PhreeqPython

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.water import ammonia, feed, horizon
from controller.core.water import filter as biofilter


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

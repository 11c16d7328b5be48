"""Light conversions, sums and the break-even against published factors and a standard spectrum."""

from __future__ import annotations

from math import pi, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core import light
from controller.core.light import Curtain, Prices
from controller.core.ranges import OutOfRange


@pytest.mark.parametrize(("lux", "ppfd"), [(54_000, 1000.0), (100_000, 1851.85), (20_000, 370.37)])
def test_lux_over_54_is_photon_flux(lux: float, ppfd: float) -> None:
    """Thimijan & Heins 1983, sun and sky: 54 lx per umol/m2/s."""
    assert light.convert_lux_to_ppfd(lux=lux) == pytest.approx(ppfd, abs=0.005)


def test_a_misprinted_table_is_not_matched() -> None:
    """A stored table prints 40,800 lx for 200 umol/m2/s; 10,800 is right."""
    assert light.convert_ppfd_to_lux(ppfd_umol_m2_s=200.0) == pytest.approx(10_800.0)


def test_the_standard_spectrum_is_met_within_the_budget() -> None:
    """ASTM G173-03 AM1.5 global: 1000.37 W/m2, 1977.9 umol/m2/s, 109 495 lx; daylight factors within 5 %."""
    assert light.convert_global_to_ppfd(global_w_m2=1000.37) == pytest.approx(1977.9, rel=0.05)
    assert light.convert_global_to_lux(global_w_m2=1000.37) == pytest.approx(109_495.0, rel=0.05)


@pytest.mark.parametrize(("w_m2", "ppfd", "klx"), [(50, 103, 5.6), (400, 823, 44.4), (800, 1645, 88.8)])
def test_radiation_is_converted_both_ways(w_m2: float, ppfd: float, klx: float) -> None:
    """0.45 x 4.57 umol/J (Jacovides et al. 2003; Thimijan & Heins 1983), worked out by hand."""
    assert light.convert_global_to_ppfd(global_w_m2=w_m2) == pytest.approx(ppfd, abs=0.6)
    assert light.convert_global_to_lux(global_w_m2=w_m2) == pytest.approx(klx * 1e3, abs=60)


@pytest.mark.parametrize(("ppfd", "hours", "mol"), [(200, 16, 11.52), (250, 12, 10.80)])
def test_steady_light_adds_up(ppfd: float, hours: float, mol: float) -> None:
    """PPFD x 3600 x hours / 1e6."""
    assert light.sum_steady_mol_m2(ppfd_umol_m2_s=ppfd, hours=hours) == pytest.approx(mol)


@pytest.mark.parametrize(("noon", "hours", "mol"), [(1000.0, 12.0, 27.502), (600.0, 14.0, 19.251)])
def test_a_clear_day_adds_up_to_its_integral(noon: float, hours: float, mol: float) -> None:
    """Half a sine in 10 000 slices by the midpoint rule, and the figures by hand."""
    slices = 10_000
    total = sum(noon * sin(pi * (i + 0.5) / slices) * hours * 3600 / slices for i in range(slices)) / 1e6
    found = light.sum_clear_day_mol_m2(noon_ppfd_umol_m2_s=noon, day_length_h=hours)

    assert found == pytest.approx(total, rel=1e-6)
    assert found == pytest.approx(mol, abs=1e-3)


def test_a_megajoule_is_two_moles() -> None:
    """1 MJ/m2 is 2.0565 mol/m2, and 20 MJ outside through 65 % of cover are 26.73."""
    assert light.sum_energy_mol_m2(global_mj_m2=1.0) == pytest.approx(2.0565)
    assert light.sum_energy_mol_m2(global_mj_m2=20.0) * 0.65 == pytest.approx(26.73, abs=0.005)


@pytest.mark.parametrize(
    ("curtain_share", "difference_c", "break_even"),
    [(0.6, 10.0, 152.0), (0.6, 20.0, 304.0), (0.8, 10.0, 304.0), (0.8, 20.0, 607.0)],
)
def test_equal_prices_break_even_by_hand(
    curtain_share: float, difference_c: float, break_even: float
) -> None:
    """4.25 W/m2/K saved, 70 % of light through the cover, heat and light equally dear."""
    found = light.find_break_even_w_m2(
        Curtain(4.25, 0.7, curtain_share), Prices(0.1, 0.1), inside_c=difference_c, outside_c=0.0
    )

    assert found == pytest.approx(break_even, abs=0.6)


@pytest.mark.parametrize(("curtain_share", "per_degree"), [(0.6, 11.8), (0.8, 23.5)])
def test_the_break_even_is_proportional_to_the_difference(curtain_share: float, per_degree: float) -> None:
    """Heat 0.067 and light 0.0864 per kWh: 11.8 or 23.5 W/m2 per degree, by hand."""
    curtain, prices = Curtain(4.25, 0.7, curtain_share), Prices(0.067, 0.0864)
    found = light.find_break_even_w_m2(curtain, prices, inside_c=18.0, outside_c=3.0)

    assert found / 15.0 == pytest.approx(per_degree, abs=0.05)


def test_no_heat_to_save_is_no_reason_to_stay_drawn() -> None:
    """Warmer outside than inside: the break-even is 0."""
    found = light.find_break_even_w_m2(
        Curtain(4.0, 0.7, 0.6), Prices(0.1, 0.1), inside_c=15.0, outside_c=20.0
    )

    assert found == 0.0


@given(st.floats(0, 2000))
def test_all_conversions_close(w_m2: float) -> None:
    """Radiation to lux to photons and back to radiation is the same radiation."""
    lux = light.convert_global_to_lux(global_w_m2=w_m2)
    ppfd = light.convert_lux_to_ppfd(lux=min(lux, light.LUX.high))

    assert light.convert_ppfd_to_global(ppfd_umol_m2_s=min(ppfd, light.PPFD_UMOL_M2_S.high)) == pytest.approx(
        w_m2
    )
    assert light.convert_lux_to_global(lux=min(lux, light.LUX.high)) == pytest.approx(w_m2)


@given(st.floats(-50, 50), st.floats(-50, 50), st.floats(-50, 50))
def test_colder_outside_never_lowers_the_break_even(inside_c: float, one: float, other: float) -> None:
    """The break-even rises as it gets colder outside."""
    cold, mild = sorted((one, other))
    curtain, prices = Curtain(4.25, 0.7, 0.6), Prices(0.067, 0.0864)

    assert light.find_break_even_w_m2(
        curtain, prices, inside_c=inside_c, outside_c=cold
    ) >= light.find_break_even_w_m2(curtain, prices, inside_c=inside_c, outside_c=mild)


@pytest.mark.parametrize("w_m2", [-1.0, 2000.1, float("inf"), float("nan")])
def test_impossible_light_is_refused(w_m2: float) -> None:
    """Negative and more than any flash beside a cloud are no light readings."""
    with pytest.raises(OutOfRange, match="global radiation"):
        light.convert_global_to_ppfd(global_w_m2=w_m2)


def test_a_curtain_that_takes_no_light_has_no_break_even() -> None:
    """With nothing lost the formula has no answer, and it is refused."""
    with pytest.raises(OutOfRange, match="light through the curtain"):
        light.find_break_even_w_m2(Curtain(4.0, 0.7, 1.0), Prices(0.1, 0.1), inside_c=18.0, outside_c=0.0)

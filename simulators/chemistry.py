"""Chemistry of dilute fresh water, as the simulated world reckons it; activity coefficients are left out."""

from math import exp, log, log10
from typing import NamedTuple

ATMOSPHERE_HPA = 1013.25
CO2_IN_AIR = 420e-6  # mole fraction in dry air
GAS_J_MOL_K = 8.314462618  # molar gas constant (CODATA 2018, exact)


class Carbonate(NamedTuple):
    """Constants of carbonate and water at one temperature.

    Attributes
    ----------
    first, second : float
        Dissociation of carbonic acid. [mol/L]
    water : float
        Ion product. [mol2/L2]
    co2_mol_l : float
        Carbon dioxide in balance with air at one atmosphere. [mol/L]
    """

    first: float
    second: float
    water: float
    co2_mol_l: float


def carbonate_at(water_c: float) -> Carbonate:
    """Constants after Plummer and Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040, 0 to 90 C.

    The ion product of water is the analytical expression in the public database of PHREEQC.

    Parameters
    ----------
    water_c : float
        Temperature. [C]
    """
    t = water_c + 273.15
    lg = log10(t)
    first = -356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * lg - 1684915.0 / t**2
    second = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * lg - 563713.9 / t**2
    henry = 108.3865 + 0.01985076 * t - 6919.53 / t - 40.45154 * lg + 669365.0 / t**2
    water = -283.9710 - 0.05069842 * t + 13323.0 / t + 102.24447 * lg - 1119669.0 / t**2
    return Carbonate(
        float(10.0**first), float(10.0**second), float(10.0**water), float(10.0**henry) * CO2_IN_AIR
    )


def solve_hydrogen(
    constants: Carbonate, *, alkalinity_eq_l: float, carbon_mol_l: float, guess: float
) -> float:
    """Hydrogen ion from alkalinity and total dissolved carbon [mol/L], above 0.

    Newton's method on the charge balance in the logarithm; the balance falls steadily with hydrogen, so there
    is one root, also where strong acid has used up the alkalinity.

    Parameters
    ----------
    constants : Carbonate
        Constants at the water's temperature.
    alkalinity_eq_l : float
        Of carbonate and hydroxide; negative in strong acid. [eq/L]
    carbon_mol_l : float
        All dissolved inorganic carbon, at least 0. [mol/L]
    guess : float
        Where to begin, above 0. [mol/L]
    """
    first, second, water, _ = constants
    product = first * second
    hydrogen = guess
    for _ in range(60):
        bottom = hydrogen * hydrogen + first * hydrogen + product
        single = carbon_mol_l * first * hydrogen / bottom
        double = carbon_mol_l * product / bottom
        hydroxide = water / hydrogen
        balance = single + 2.0 * double + hydroxide - hydrogen - alkalinity_eq_l
        free = carbon_mol_l - single - double
        # Derivative with respect to ln(hydrogen), the buffer capacity with its sign turned.
        slope = single * free + 4.0 * free * double + single * double
        slope = (slope / carbon_mol_l if carbon_mol_l > 0.0 else 0.0) + hydroxide + hydrogen
        step = balance / slope
        if step < 1e-5 and step > -1e-5:
            return hydrogen * (1.0 + step)
        hydrogen *= exp(min(2.0, max(-2.0, step)))
    return hydrogen


def bubbled_per_h(transfer_per_h: float, air_per_h: float, constants: Carbonate, water_c: float) -> float:
    """Gas transfer of carbon dioxide by bubbles that fill with it on their way up [1/h].

    Carbon dioxide is so soluble that a bubble is soon in balance with the water. In bubbles that rise through mixed
    water the gas approaches that balance exponentially: k' = G m (1 - exp(-k / (G m))), m being how much more of it
    air holds than water in balance (a balance of mass over the rising bubble; own derivation).

    Parameters
    ----------
    transfer_per_h : float
        Transfer by bubbles that never fill, at least 0. [1/h]
    air_per_h : float
        Air, per volume of water, above 0. [1/h]
    constants : Carbonate
        Constants at the water's temperature.
    water_c : float
        Temperature. [C]
    """
    in_air_mol_m3 = CO2_IN_AIR * ATMOSPHERE_HPA * 100.0 / (GAS_J_MOL_K * (water_c + 273.15))
    most = air_per_h * in_air_mol_m3 / (constants.co2_mol_l * 1000.0)
    return most * (1.0 - exp(-transfer_per_h / most))


def oxygen_mg_l(*, water_c: float, pressure_hpa: float) -> float:
    """Oxygen in fresh water in balance with moist air [mg/L].

    Benson and Krause 1984, Limnol. Oceanogr. 29:620-632, 0 to 40 C; with pressure the dry share of the air
    counts (theta of that paper, under 0.1 % here, left out).

    Parameters
    ----------
    water_c : float
        Temperature. [C]
    pressure_hpa : float
        Air pressure at the site. [hPa]
    """
    t = water_c + 273.15
    at_sea = exp(-139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.243800e10 / t**3 - 8.621949e11 / t**4)
    vapour = exp(11.8571 - 3840.70 / t - 216961.0 / t**2) * ATMOSPHERE_HPA
    return at_sea * (pressure_hpa - vapour) / (ATMOSPHERE_HPA - vapour)


def unionised_share(*, water_c: float, ph: float) -> float:
    """Share of total ammonia that is NH3 [1], by Emerson et al. 1975, J. Fish. Res. Board Can. 32:2379-2383.

    Parameters
    ----------
    water_c : float
        Temperature, 0 to 50. [C]
    ph : float
        pH. [1]
    """
    return 1.0 / (1.0 + exp((0.09018 + 2729.92 / (water_c + 273.15) - ph) * log(10.0)))

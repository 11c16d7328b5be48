"""What a body of water is held in, what grows in it, what comes in, and what is added up."""

from dataclasses import dataclass
from typing import NamedTuple

from simulators.air import saturation_pa, vapour_kg_m3

AIR_J_M3_K = 1206.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Basin:
    """The vessel.

    Attributes
    ----------
    full_m3, area_m2 : float
        Volume when full, and water surface.
    wall_w_k : float
        Heat through the walls, per K between water and air of the house. [W/K]
    film_w_m2_k : float
        Convection at the surface, which also sets evaporation (Lewis). [W/m2/K]
    open_share : float
        Share of the surface that is not covered, 0 to 1. [1]
    surface_per_h : float
        Gas transfer of the quiet surface at 20 C. [1/h]
    heater_w : float
        Most the water heater gives. [W]
    """

    full_m3: float = 4.0
    area_m2: float = 4.0
    wall_w_k: float = 60.0
    film_w_m2_k: float = 5.0
    open_share: float = 1.0
    surface_per_h: float = 0.05
    heater_w: float = 2000.0

    def lose(self, *, water_c: float, air_c: float, vapour_pa: float) -> tuple[float, float]:
        """Warmth and vapour given to the air of the house [W], [kg/s]; vapour is never taken up.

        Parameters
        ----------
        water_c, air_c : float
            Temperatures. [C]
        vapour_pa : float
            Vapour pressure of the air. [Pa]
        """
        film = self.film_w_m2_k * self.area_m2 * self.open_share
        dryness = vapour_kg_m3(saturation_pa(water_c) - vapour_pa, water_c)
        return (self.wall_w_k + film) * (water_c - air_c), max(0.0, film / AIR_J_M3_K * dryness)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What lives in it.

    Attributes
    ----------
    breath_mg_kg_h : float
        Oxygen use of fasting fish at 25 C, 100 to 150 (from memory). [mg/kg/h]
    breath_q10 : float
        Its factor per 10 C, 1.5 to 2.0 (from memory). [1]
    critical_mg_l : float
        Below this the fish can no longer breathe as they need: 0.6 to 0.9 for tilapia. [mg/L]
    meal_oxygen_g_g : float
        Oxygen a meal costs, over the hours after it; gives a surplus of 120 mg/kg/h after 1.5 % of the
        weight. [g/g]
    waste_oxygen_g_g : float
        Oxygen the waste of a meal takes from the water. [g/g]
    protein : float
        Protein in feed. [g/g]
    gut_h : float
        Ammonia and oxygen use peak this long after a meal, 4 to 6. [h]
    feed_per_gain : float
        Feed conversion. [g/g]
    excretion_eq_mol : float
        Alkalinity that comes with excreted ammonia: 1 by charge, 0 by engineering convention. [eq/mol]
    roots_m2, uptake_g_m2_d : float
        Plant area, and nitrate nitrogen it takes in full light. [m2], [g/m2/d]
    denitrified_g_d : float
        Nitrate turned to gas in sludge. [g N/d]
    """

    breath_mg_kg_h: float = 130.0
    breath_q10: float = 1.8
    critical_mg_l: float = 0.9
    meal_oxygen_g_g: float = 0.11
    waste_oxygen_g_g: float = 0.10
    protein: float = 0.32
    gut_h: float = 5.0
    feed_per_gain: float = 1.7
    excretion_eq_mol: float = 1.0
    roots_m2: float = 0.0
    uptake_g_m2_d: float = 0.6
    denitrified_g_d: float = 0.0

    def take_g(self, seconds: float, *, nitrate_mg_l: float, light_w_m2: float) -> float:
        """Nitrate nitrogen taken in a step [g]; half of the most at 150 W/m2, and at 1 mg/L (ours).

        Parameters
        ----------
        seconds : float
            Length of the step. [s]
        nitrate_mg_l : float
            Nitrate nitrogen in the water. [mg/L]
        light_w_m2 : float
            Global irradiance on the plants. [W/m2]
        """
        taken = self.roots_m2 * self.uptake_g_m2_d * light_w_m2 / (light_w_m2 + 150.0)
        return (taken + self.denitrified_g_d) * nitrate_mg_l / (nitrate_mg_l + 1.0) * seconds / 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What comes in with water from outside: concentrations and temperature."""

    oxygen_mg_l: float = 9.0
    nitrate_mg_l: float = 2.0
    alkalinity_mg_l: float = 80.0
    carbon_mol_m3: float = 1.7
    water_c: float = 10.0


@dataclass(slots=True)
class Ledger:
    """Sums since the start, positive into the water: nitrogen [g], oxygen [g], charge [eq], carbon [mol]."""

    nitrogen_g: float = 0.0
    oxygen_g: float = 0.0
    charge_eq: float = 0.0
    carbon_mol: float = 0.0


class Dissolved(NamedTuple):
    """Amounts that move with water, in the order and units in which a tank holds them.

    Attributes
    ----------
    oxygen_g, tan_g, nitrite_g, nitrate_g : float
        Oxygen, and nitrogen of each form. [g]
    alkalinity_eq, carbon_mol : float
        Alkalinity and dissolved inorganic carbon. [eq], [mol]
    """

    oxygen_g: float
    tan_g: float
    nitrite_g: float
    nitrate_g: float
    alkalinity_eq: float
    carbon_mol: float

"""A body of water with fish, plants and a film of bacteria.

Everything dissolved is held as an amount, so what comes and goes is added up in a ledger that must close.
Alkalinity is the charge balance of the strong ions: excreted ammonia adds one equivalent per mole, its
oxidation to nitrite takes two, nitrate taken up by roots or turned to gas gives one back. Engineering texts
leave out the first and so count 7.14 g of CaCO3 per g of nitrogen where the water loses half of that;
`Stock.excretion_eq_mol` = 0 gives their convention.
"""

from dataclasses import dataclass, field
from math import exp, log10

from simulators.basin import Basin, Dissolved, Ledger, Stock, Supply
from simulators.biofilter import Nitrifiers
from simulators.chemistry import (
    ATMOSPHERE_HPA,
    Carbonate,
    bubbled_per_h,
    carbonate_at,
    oxygen_mg_l,
    solve_hydrogen,
    unionised_share,
)
from simulators.gut import Gut

NITROGEN_G_MOL = 14.0067
CO2_G_MOL = 44.0095
CACO3_G_EQ = 50.0435
WATER_J_M3_K = 4.18e6
EVAPORATION_J_KG = 2.43e6
# Stoichiometry of nitrification without growth: 1.5 and 0.5 mol O2 per mol N (3.43 and 1.14 g/g).
AMMONIA_OXYGEN, NITRITE_OXYGEN = 1.5 * 31.998 / NITROGEN_G_MOL, 0.5 * 31.998 / NITROGEN_G_MOL
CO2_PER_OXYGEN_MOL_G = 1.0 / 31.998  # respiratory quotient 1
TAN_PER_PROTEIN = 0.092  # Timmons and Ebeling, Recirculating Aquaculture: 0.16 x 0.8 x 0.8 x 0.9
CO2_TRANSFER = 0.9  # gas transfer of carbon dioxide relative to oxygen (from memory)


@dataclass(slots=True, kw_only=True)
class Tank:
    """A well-mixed body of water.

    Attributes
    ----------
    basin, supply : Basin, Supply
        The vessel, and the water that can be let in.
    stock, filter : Stock, Nitrifiers
        How its fish and plants live, and its bacteria.
    fish_kg : float
        Live fish, 0 for a sump or a bed. Grows with feed. [kg]
    volume_m3, water_c : float
        Water held, and its temperature.
    oxygen_g, tan_g, nitrite_g, nitrate_g : float
        Amounts held; nitrogen as N. Concentrations are properties. [g]
    alkalinity_eq, carbon_mol : float
        Alkalinity and all dissolved inorganic carbon. [eq], [mol]
    aeration_per_h : float
        Gas transfer of the aerator at 20 C, 0 when it is off. Settable. [1/h]
    bubbles_per_h : float | None
        Air through the aerator, per volume of water; it fills with carbon dioxide on its way up, which bounds what
        it carries away (see `chemistry.bubbled_per_h`). None for so much that it never fills. Settable. [1/h]
    heat_set_c, heater_works : float, bool
        The heater holds the first as far as it can. Settable.
    leak_l_min, fill_l_min : float
        Loss through a hole, and water let in from the supply. Settable. [L/min]
    heat_to_air_w, vapour_to_air_kg_s : float
        Mean warmth and vapour given to the house in the last step. [W], [kg/s]
    heater_now_w : float
        Mean heat given by the heater in the last step. [W]
    ph : float
        pH after the last step. [1]
    gasping_s : float
        How long the oxygen has now been below what the fish need. [s]
    ledger : Ledger
        Sums of what came and went.
    respired_mol, outgassed_mol : float
        Carbon breathed into the water, and carbon given to the air, since the start. [mol]
    """

    basin: Basin = field(default_factory=Basin)
    stock: Stock = field(default_factory=Stock)
    fish_kg: float = 60.0
    filter: Nitrifiers = field(default_factory=lambda: Nitrifiers.mature(150.0))
    supply: Supply = field(default_factory=Supply)
    volume_m3: float = 4.0
    water_c: float = 22.0
    aeration_per_h: float = 3.0
    bubbles_per_h: float | None = None
    heat_set_c: float = 20.0
    heater_works: bool = True
    leak_l_min: float = 0.0
    fill_l_min: float = 0.0
    oxygen_g: float = field(init=False)
    tan_g: float = field(init=False)
    nitrite_g: float = field(init=False)
    nitrate_g: float = field(init=False)
    alkalinity_eq: float = field(init=False)
    carbon_mol: float = field(init=False)
    heat_to_air_w: float = field(default=0.0, init=False)
    vapour_to_air_kg_s: float = field(default=0.0, init=False)
    heater_now_w: float = field(default=0.0, init=False)
    ph: float = field(default=7.0, init=False)
    gasping_s: float = field(default=0.0, init=False)
    ledger: Ledger = field(default_factory=Ledger, init=False)
    _gut: Gut = field(default_factory=Gut, init=False)
    respired_mol: float = field(default=0.0, init=False)
    outgassed_mol: float = field(default=0.0, init=False)
    _hydrogen: float = field(default=1e-7, init=False)
    _constants: Carbonate = field(init=False)
    _constants_c: float = field(init=False)
    _saturation_mg_l: float = field(init=False)

    def __post_init__(self) -> None:
        self._constants = carbonate_at(self.water_c)
        self._constants_c = self.water_c
        self._saturation_mg_l = oxygen_mg_l(water_c=self.water_c, pressure_hpa=ATMOSPHERE_HPA)
        self.set_water(oxygen_mg_l=7.0, tan_mg_l=0.5, nitrite_mg_l=0.2, nitrate_mg_l=30.0)

    def set_water(
        self,
        *,
        oxygen_mg_l: float,
        tan_mg_l: float,
        nitrite_mg_l: float,
        nitrate_mg_l: float,
        alkalinity_mg_l: float = 60.0,
        ph: float = 7.0,
    ) -> None:
        """Fill the tank with water of a known test, and start a new ledger.

        Parameters
        ----------
        oxygen_mg_l, tan_mg_l, nitrite_mg_l, nitrate_mg_l : float
            Concentrations, nitrogen as N. [mg/L]
        alkalinity_mg_l : float
            As CaCO3, above 0. [mg/L]
        ph : float
            pH, 5 to 9. [1]
        """
        volume = self.volume_m3
        self.oxygen_g, self.tan_g = oxygen_mg_l * volume, tan_mg_l * volume
        self.nitrite_g, self.nitrate_g = nitrite_mg_l * volume, nitrate_mg_l * volume
        self.alkalinity_eq = alkalinity_mg_l / CACO3_G_EQ * volume
        first, second, water, _ = self._constants
        hydrogen = self._hydrogen = 10.0**-ph
        charge = alkalinity_mg_l / CACO3_G_EQ / 1000.0 - water / hydrogen + hydrogen
        bottom = hydrogen * hydrogen + first * hydrogen + first * second
        self.carbon_mol = charge * bottom / (first * hydrogen + 2.0 * first * second) * 1000.0 * volume
        self.ph = ph
        self.ledger = Ledger()

    @property
    def oxygen_mg_l(self) -> float:
        """Dissolved oxygen [mg/L]."""
        return self.oxygen_g / self.volume_m3

    @property
    def oxygen_percent(self) -> float:
        """Dissolved oxygen against saturation [%]."""
        return 100.0 * self.oxygen_mg_l / self._saturation_mg_l

    @property
    def tan_mg_l(self) -> float:
        """Total ammonia nitrogen [mg/L]."""
        return self.tan_g / self.volume_m3

    @property
    def unionised_mg_l(self) -> float:
        """Un-ionised ammonia as nitrogen [mg/L]."""
        return self.tan_mg_l * unionised_share(water_c=self.water_c, ph=self.ph)

    @property
    def nitrite_mg_l(self) -> float:
        """Nitrite nitrogen [mg/L]."""
        return self.nitrite_g / self.volume_m3

    @property
    def nitrate_mg_l(self) -> float:
        """Nitrate nitrogen [mg/L]."""
        return self.nitrate_g / self.volume_m3

    @property
    def alkalinity_mg_l(self) -> float:
        """Alkalinity as CaCO3 [mg/L]; negative in strong acid."""
        return self.alkalinity_eq / self.volume_m3 * CACO3_G_EQ

    @property
    def co2_mg_l(self) -> float:
        """Free carbon dioxide [mg/L]."""
        return self._free_mol_l() * 1000.0 * CO2_G_MOL

    @property
    def level_m(self) -> float:
        """Depth of the water [m]."""
        return self.volume_m3 / self.basin.area_m2

    @property
    def conductivity_ms_cm(self) -> float:
        """Conductivity at 25 C [mS/cm]: 0.1 per milliequivalent of cations (from memory)."""
        cations = (self.alkalinity_eq + (self.nitrate_g + self.nitrite_g) / NITROGEN_G_MOL) / self.volume_m3
        return 0.1 * (cations + 1.0)  # and 1 meq/L of chloride and sulphate

    def feed(self, grams: float) -> None:
        """Give the fish a meal, at least 0 [g]."""
        self._gut.eat(grams)
        self.fish_kg += grams / 1000.0 / self.stock.feed_per_gain

    def dose(self, *, base_eq: float, carbon_mol: float = 0.0) -> None:
        """Add base, or acid as a negative.

        Parameters
        ----------
        base_eq : float
            Strong base: 17.8 eq/kg of KOH, 27.0 of Ca(OH)2, 11.9 of NaHCO3. [eq]
        carbon_mol : float
            Carbon that comes with it, as many moles as equivalents for a hydrogencarbonate. [mol]
        """
        self.alkalinity_eq += base_eq
        self.carbon_mol += carbon_mol
        self.ledger.charge_eq += base_eq
        self.ledger.carbon_mol += carbon_mol

    def advance(
        self,
        seconds: float,
        *,
        air_c: float,
        vapour_pa: float = 1500.0,
        pressure_hpa: float = ATMOSPHERE_HPA,
        light_w_m2: float = 0.0,
    ) -> None:
        """Let time pass in the air of the house.

        Parameters
        ----------
        seconds : float
            Length of the step, above 0 and at most a few minutes. [s]
        air_c, vapour_pa, pressure_hpa : float
            Temperature, vapour pressure and pressure of the air over the water. [C], [Pa], [hPa]
        light_w_m2 : float
            Light on the plants. [W/m2]
        """
        stock, ledger = self.stock, self.ledger
        hours = seconds / 3600.0
        volume, water = self.volume_m3, self.water_c
        oxygen = self.oxygen_g / volume
        if abs(water - self._constants_c) > 0.05:
            self._constants, self._constants_c = carbonate_at(water), water
        saturated = self._saturation_mg_l = oxygen_mg_l(water_c=water, pressure_hpa=pressure_hpa)

        digested = self._gut.digest(hours / stock.gut_h)
        excreted = TAN_PER_PROTEIN * stock.protein * digested
        oxidised, nitrated = self.filter.advance(
            seconds,
            ammonia_g_m3=self.tan_g / volume,
            nitrite_g_m3=self.nitrite_g / volume,
            oxygen_g_m3=oxygen,
            water_c=water,
            ph=self.ph,
        )
        oxidised, nitrated = min(oxidised, self.tan_g), min(nitrated, self.nitrite_g)
        lost = stock.take_g(seconds, nitrate_mg_l=self.nitrate_g / volume, light_w_m2=light_w_m2)
        lost = min(lost, self.nitrate_g)
        self.tan_g += excreted - oxidised
        self.nitrite_g += oxidised - nitrated
        self.nitrate_g += nitrated - lost
        charge = (stock.excretion_eq_mol * excreted - 2.0 * oxidised + lost) / NITROGEN_G_MOL
        self.alkalinity_eq += charge
        ledger.nitrogen_g += excreted - lost
        ledger.charge_eq += charge

        # Oxygen: use is held during the step, exchange with the air is solved exactly.
        breathed = stock.breath_mg_kg_h * self.fish_kg * stock.breath_q10 ** ((water - 25.0) / 10.0) / 1000.0
        breathed = breathed * hours + stock.meal_oxygen_g_g * digested
        if oxygen < stock.critical_mg_l:
            breathed *= oxygen / stock.critical_mg_l
            self.gasping_s += seconds
        else:
            self.gasping_s = 0.0
        breathed += stock.waste_oxygen_g_g * digested
        used = breathed + AMMONIA_OXYGEN * oxidised + NITRITE_OXYGEN * nitrated
        transfer = (self.aeration_per_h + self.basin.surface_per_h) * hours * 1.024 ** (water - 20.0)
        kept = exp(-transfer)
        mean_kept = (1.0 - kept) / transfer if transfer > 0.0 else 1.0
        full, held = saturated * volume, self.oxygen_g
        after = full + (held - full) * kept - used * mean_kept
        if after < 0.0:  # they cannot use what is not there
            breathed *= max(0.0, 1.0 + after / (used * mean_kept))
            used += after / mean_kept
            after = 0.0
        self.oxygen_g = after
        ledger.oxygen_g += (full - held) * (1.0 - kept) + used * (1.0 - mean_kept) - used

        # Carbon: breath in, free carbon dioxide out to the air.
        made = breathed * CO2_PER_OXYGEN_MOL_G
        transfer = self._carbon_transfer(transfer, hours)
        kept = exp(-transfer)
        mean_kept = (1.0 - kept) / transfer if transfer > 0.0 else 1.0
        free = self._free_mol_l() * 1000.0 * volume
        air = self._constants.co2_mol_l * 1000.0 * volume * pressure_hpa / ATMOSPHERE_HPA
        change = (air - free) * (1.0 - kept) + made * mean_kept
        self.carbon_mol += change
        ledger.carbon_mol += change
        self.outgassed_mol += made - change
        self.respired_mol += made

        self._warm(seconds, air_c=air_c, vapour_pa=vapour_pa)
        if self.leak_l_min > 0.0 or self.fill_l_min > 0.0:
            self._flow(seconds)
        litres = self.volume_m3 * 1000.0
        self._hydrogen = solve_hydrogen(
            self._constants,
            alkalinity_eq_l=self.alkalinity_eq / litres,
            carbon_mol_l=self.carbon_mol / litres,
            guess=self._hydrogen,
        )
        self.ph = -log10(self._hydrogen)

    def _carbon_transfer(self, transfer: float, hours: float) -> float:
        """Exchange of carbon dioxide in a step of so many hours, where oxygen exchanges `transfer` [1]."""
        transfer *= CO2_TRANSFER
        if self.bubbles_per_h is None or self.aeration_per_h <= 0.0:
            return transfer
        still = transfer * self.basin.surface_per_h / (self.aeration_per_h + self.basin.surface_per_h)
        bubbled_h = bubbled_per_h(
            (transfer - still) / hours, self.bubbles_per_h, self._constants, self.water_c
        )
        return still + bubbled_h * hours

    def _free_mol_l(self) -> float:
        """Free carbon dioxide by the last pH [mol/L]."""
        first, second, _, _ = self._constants
        hydrogen = self._hydrogen
        square = hydrogen * hydrogen
        return self.carbon_mol / (self.volume_m3 * 1000.0) * square / (square + first * (hydrogen + second))

    def _warm(self, seconds: float, *, air_c: float, vapour_pa: float) -> None:
        basin, water = self.basin, self.water_c
        to_air, evaporated = basin.lose(water_c=water, air_c=air_c, vapour_pa=vapour_pa)
        held = WATER_J_M3_K * self.volume_m3
        free = water - (to_air + EVAPORATION_J_KG * evaporated) * seconds / held
        heat = 0.0
        if self.heater_works and free < self.heat_set_c:
            heat = min(basin.heater_w, (self.heat_set_c - free) * held / seconds)
        self.water_c = free + heat * seconds / held
        self.volume_m3 -= evaporated * seconds / 1000.0
        self.heater_now_w, self.heat_to_air_w, self.vapour_to_air_kg_s = heat, to_air, evaporated

    def _flow(self, seconds: float) -> None:
        """Let water out by the leak and in from the supply; what is over the brim spills."""
        supply, full = self.supply, self.basin.full_m3
        filled = self.fill_l_min * seconds / 60_000.0
        if filled > 0.0:
            gained = Dissolved(
                supply.oxygen_mg_l * filled,
                0.0,
                0.0,
                supply.nitrate_mg_l * filled,
                supply.alkalinity_mg_l / CACO3_G_EQ * filled,
                supply.carbon_mol_m3 * filled,
            )
            self.pour(filled, gained, water_c=supply.water_c)
        spilled = max(0.0, self.volume_m3 - full) if filled > 0.0 else 0.0
        # A tank never runs quite dry: the hole sits above the floor.
        self.draw(min(self.leak_l_min * seconds / 60_000.0 + spilled, self.volume_m3 - 0.02 * full))

    def pour(self, volume_m3: float, dissolved: Dissolved, *, water_c: float) -> None:
        """Pour water in.

        Parameters
        ----------
        volume_m3 : float
            How much, at least 0. [m3]
        dissolved : Dissolved
            What is in it.
        water_c : float
            Its temperature. [C]
        """
        self.water_c += (water_c - self.water_c) * volume_m3 / (self.volume_m3 + volume_m3)
        self.volume_m3 += volume_m3
        self._book(dissolved, 1.0)

    def draw(self, volume_m3: float) -> Dissolved:
        """Take water out, at most what is there; a volume of 0 or less takes nothing [m3]."""
        part = min(1.0, max(0.0, volume_m3 / self.volume_m3))
        taken = Dissolved(
            self.oxygen_g * part,
            self.tan_g * part,
            self.nitrite_g * part,
            self.nitrate_g * part,
            self.alkalinity_eq * part,
            self.carbon_mol * part,
        )
        self.volume_m3 -= self.volume_m3 * part
        self._book(taken, -1.0)
        return taken

    def _book(self, dissolved: Dissolved, sign: float) -> None:
        oxygen, tan, nitrite, nitrate, alkalinity, carbon = dissolved
        self.oxygen_g += sign * oxygen
        self.tan_g += sign * tan
        self.nitrite_g += sign * nitrite
        self.nitrate_g += sign * nitrate
        self.alkalinity_eq += sign * alkalinity
        self.carbon_mol += sign * carbon
        ledger = self.ledger
        ledger.oxygen_g += sign * oxygen
        ledger.nitrogen_g += sign * (tan + nitrite + nitrate)
        ledger.charge_eq += sign * alkalinity
        ledger.carbon_mol += sign * carbon

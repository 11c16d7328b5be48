"""The simulated greenhouse: air, floor and vapour under a cover, with a curtain that hardly saves until shut.

Three states after the reduced models of van Henten 1994 (thesis, Wageningen) and Vanthoor 2011 (thesis,
Wageningen, chapter 8): air temperature, floor temperature, vapour density. What a curtain saves, by its gap
and by the wind, is a fit to Vanthoor's fluxes through and past a screen (equation 8.41, glass, 18 C inside, 0
C outside), good to 2.3 points: a curtain 95 % drawn has lost a third of its saving. Fish water hands in its
warmth and its vapour.

Within a step the coefficients are held and air and vapour are solved exactly with them, so the balance of
energy closes to rounding at any step, and steps of a minute are as good as steps of a second.
"""

from dataclasses import dataclass, field
from math import exp

from simulators.air import VAPOUR_GAS_J_KG_K, saturation_pa, vapour_kg_m3
from simulators.sky import Weather

LATENT_J_KG = 2.45e6
AIR_J_M3_K = 1206.0
GAP_HALF, GAP_POWER = 0.0884, 1.15  # gap at which the curtain's saving is halved, and how sharply
FILM_W_M2_K = 8.0  # from air to the inner face of the cover (from memory)
CONDENSING_KG_J_K_PA = 6.4e-9  # Vanthoor 2011, Table 8.4
FULL_FLOW_AT_C = 4.0  # the vents are fully open this far above their set-point
DRYING_SHARE = 0.3  # so far vents open for moisture ten points above the limit (common practice, no source)
UMOL_PER_J = 2.0565  # light of sun and sky: 0.45 x 4.57 (Thimijan and Heins 1983, HortScience 18:818-822)


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """What the house is made of; per square metre of floor where it says m2.

    Attributes
    ----------
    floor_m2, height_m : float
        Floor area and mean height.
    cover_ratio : float
        Cover area over floor area. [1]
    air_j_m2_k : float
        Heat held by air, crop and fittings.
    floor_j_m2_k : float
        Heat held by the floor that takes part in a day.
    ground_w_m2_k, ground_c : float
        Conduction to the deep ground, and its temperature.
    cover_transmission, curtain_transmission : float
        Share of light passed by the cover, and by the drawn curtain. [1]
    floor_light : float
        Share of the light inside that warms the floor. [1]
    edge_gap : float
        Gap that stays when the curtain is drawn, as a share of the floor: 0 tight, 0.03 usual, 0.08 poor. [1]
    leak_per_h, leak_per_h_per_m_s : float
        Air changes with all shut in calm air, and more by the wind.
    crop : float
        Size of the crop, 1 full, 0 none. [1]
    heater_w_m2 : float
        Most the heater gives.
    vents_m_s : float
        Air the open vents let through.
    """

    floor_m2: float = 180.0
    height_m: float = 4.0
    cover_ratio: float = 2.161
    air_j_m2_k: float = 30_000.0
    floor_j_m2_k: float = 0.10 * 2300.0 * 880.0
    ground_w_m2_k: float = 1.7
    ground_c: float = 12.0
    cover_transmission: float = 0.65
    curtain_transmission: float = 0.60
    floor_light: float = 0.2
    edge_gap: float = 0.03
    leak_per_h: float = 0.5
    leak_per_h_per_m_s: float = 0.1
    crop: float = 1.0
    heater_w_m2: float = 250.0
    vents_m_s: float = 0.03


@dataclass(slots=True)
class Energy:
    """Where the house's energy went since the start [J/m2 of floor]; all entries are sums.

    Attributes
    ----------
    sun, heater, water : float
        Gained: from light, from the heater, and from fish water (warmth and vapour).
    cover, air, ground, drip : float
        Lost: through the cover, by air exchange (warmth and vapour), to the ground, by drip on the cover.
    """

    sun: float = 0.0
    heater: float = 0.0
    water: float = 0.0
    cover: float = 0.0
    air: float = 0.0
    ground: float = 0.0
    drip: float = 0.0

    def net(self) -> float:
        """Gained less lost [J/m2]."""
        return self.sun + self.heater + self.water - self.cover - self.air - self.ground - self.drip

    def turnover(self) -> float:
        """All that came and went [J/m2], to measure an imbalance by."""
        entries = (self.sun, self.heater, self.water, self.cover, self.air, self.ground, self.drip)
        return sum(abs(entry) for entry in entries)


def curtain_saving(*, drawn_percent: float, edge_gap: float, wind_m_s: float) -> float:
    """Share of the cover's heat loss that the curtain takes away [1].

    A fit to Vanthoor 2011, equation 8.41, within 2.3 points between 0 and 8 m/s. A curtain quite open is a
    parked bundle and takes nothing.

    Parameters
    ----------
    drawn_percent : float
        Position, 0 open to 100 drawn. [%]
    edge_gap : float
        Gap left when drawn, as a share of the floor. [1]
    wind_m_s : float
        Wind, at least 0. [m/s]
    """
    if drawn_percent <= 0.0:
        return 0.0
    tight = min(0.60, 0.455 + 0.017 * wind_m_s)
    gap: float = (1.0 - drawn_percent / 100.0 + edge_gap) / GAP_HALF
    worth: float = tight / (1.0 + gap**GAP_POWER)
    return worth


def cover_u_w_m2_k(wind_m_s: float) -> float:
    """Heat loss of the bare cover [W/m2 of cover per K], sky included: 6.1 at 4 m/s (fit to Vanthoor 2011).

    Parameters
    ----------
    wind_m_s : float
        Wind, at least 0. [m/s]
    """
    return 5.2 + 0.22 * wind_m_s


@dataclass(slots=True, kw_only=True)
class House:
    """The greenhouse.

    Attributes
    ----------
    build : Build
        What it is made of.
    air_c, floor_c : float
        Temperatures. [C]
    humidity_percent : float
        Relative humidity, 0 to 100; a property. [%]
    heat_set_c, vent_set_c : float
        The heater holds the first as far as it can; above the second the vents open. Settable. [C]
    dry_above_percent : float | None
        Above this humidity the vents open by `DRYING_SHARE` per ten points, to let moisture out; None for vents that
        follow the temperature alone. Settable. [%]
    heater_works, vents_work : bool
        A heater that gives nothing; vents that stay as they are. Settable.
    vents_m_s : float
        Air let through by the vents now; settable while `vents_work` is False. [m/s]
    heat_w_m2 : float
        Mean heat given by the heater in the last step. [W/m2 of floor]
    light_below_w_m2, light_above_w_m2 : float
        Global irradiance inside, below and above the curtain. [W/m2]
    energy : Energy
        The ledger.
    """

    build: Build = field(default_factory=Build)
    air_c: float = 18.0
    floor_c: float = 18.0
    start_humidity_percent: float = 80.0
    heat_set_c: float = 16.0
    vent_set_c: float = 24.0
    dry_above_percent: float | None = None
    heater_works: bool = True
    vents_work: bool = True
    vents_m_s: float = 0.0
    heat_w_m2: float = field(default=0.0, init=False)
    light_below_w_m2: float = field(default=0.0, init=False)
    light_above_w_m2: float = field(default=0.0, init=False)
    energy: Energy = field(default_factory=Energy, init=False)
    _vapour: float = field(init=False)
    _stored_at_start: float = field(init=False)

    def __post_init__(self) -> None:
        saturated = vapour_kg_m3(saturation_pa(self.air_c), self.air_c)
        self._vapour = saturated * self.start_humidity_percent / 100.0
        self._stored_at_start = self.stored_j_m2()

    @property
    def vapour_pa(self) -> float:
        """Vapour pressure inside [Pa]."""
        return self._vapour * VAPOUR_GAS_J_KG_K * (self.air_c + 273.15)

    @property
    def humidity_percent(self) -> float:
        """Relative humidity inside [%], 0 to 100."""
        return min(100.0, 100.0 * self.vapour_pa / saturation_pa(self.air_c))

    @property
    def photons_umol_m2_s(self) -> float:
        """Light at the canopy [umol m-2 s-1 of PAR], of sun and sky alone."""
        return self.light_below_w_m2 * UMOL_PER_J

    def stored_j_m2(self) -> float:
        """Heat held, against 0 C and dry air [J/m2]."""
        build = self.build
        warmth = build.air_j_m2_k * self.air_c + build.floor_j_m2_k * self.floor_c
        return warmth + LATENT_J_KG * build.height_m * self._vapour

    def imbalance(self) -> float:
        """Energy that the ledger cannot explain, over all that came and went [1]."""
        missing = self.stored_j_m2() - self._stored_at_start - self.energy.net()
        return abs(missing) / max(1.0, self.energy.turnover())

    def advance(  # noqa: PLR0915 - one coupled balance; cut in parts it would hide what is held during the step
        self,
        seconds: float,
        weather: Weather,
        *,
        drawn_percent: float,
        water_w_m2: float = 0.0,
        water_kg_m2_s: float = 0.0,
    ) -> None:
        """Let time pass under a weather and a curtain.

        Parameters
        ----------
        seconds : float
            Length of the step, above 0 and at most a few minutes. [s]
        weather : Weather
            The weather of the step.
        drawn_percent : float
            The curtain's true position, 0 open to 100 drawn. [%]
        water_w_m2, water_kg_m2_s : float
            Warmth and vapour given off by fish water, per floor area, positive into the air.
            Given in [W/m2] and [kg/m2/s].
        """
        build, energy = self.build, self.energy
        light, outdoor, outdoor_percent, wind, _ = weather
        air, floor, vapour = self.air_c, self.floor_c, self._vapour
        height = build.height_m

        self.light_above_w_m2 = above = light * build.cover_transmission
        sun = above * (1.0 - drawn_percent / 100.0 * (1.0 - build.curtain_transmission))
        self.light_below_w_m2 = sun
        if self.vents_work:
            wish = (air - self.vent_set_c) / FULL_FLOW_AT_C
            if self.dry_above_percent is not None:
                wish = max(wish, DRYING_SHARE * (self.humidity_percent - self.dry_above_percent) / 10.0)
            self.vents_m_s = build.vents_m_s * min(1.0, max(0.0, wish))
        flow = self.vents_m_s + (build.leak_per_h + build.leak_per_h_per_m_s * wind) / 3600.0 * height
        saving = curtain_saving(drawn_percent=drawn_percent, edge_gap=build.edge_gap, wind_m_s=wind)
        u_floor = cover_u_w_m2_k(wind) * (1.0 - saving) * build.cover_ratio

        # Vapour: transpiration (after de Graaf: light and dryness), exchange, condensation on the cover.
        kelvin = air + 273.15
        saturated = saturation_pa(air) / (VAPOUR_GAS_J_KG_K * kelvin)
        outside = vapour_kg_m3(saturation_pa(outdoor), outdoor) * outdoor_percent / 100.0
        to_cover = u_floor / build.cover_ratio / FILM_W_M2_K * (air - outdoor)
        cold = saturation_pa(air - to_cover) / (VAPOUR_GAS_J_KG_K * kelvin)
        wet = 0.0
        if vapour > cold:
            film = 1.86 * abs(to_cover) ** 0.33 * build.cover_ratio
            wet = CONDENSING_KG_J_K_PA * film * VAPOUR_GAS_J_KG_K * kelvin
        by_light = 0.45 * sun / LATENT_J_KG * build.crop
        by_dryness = 3e-4 * build.crop if saturated > vapour else 0.0
        loss = flow + by_dryness + wet
        rest = (by_light + water_kg_m2_s + by_dryness * saturated + flow * outside + wet * cold) / loss
        share = exp(-loss * seconds / height)
        end = rest + (vapour - rest) * share
        mean = rest + (vapour - rest) * (1.0 - share) * height / (loss * seconds)
        transpired = by_light + by_dryness * (saturated - mean)

        # Warmth of the air: exactly, with the floor held.
        gap = floor - air
        to_floor = 1.7 * gap**0.33 if gap > 0.0 else 1.3 * (-gap) ** 0.25
        outflow = u_floor + AIR_J_M3_K * flow
        loss = outflow + to_floor
        gain = (1.0 - build.floor_light) * sun + water_w_m2 + to_floor * floor + outflow * outdoor
        rest = (gain - LATENT_J_KG * transpired) / loss
        share = exp(-loss * seconds / build.air_j_m2_k)
        heat = 0.0
        if self.heater_works:
            free = rest + (air - rest) * share
            if free < self.heat_set_c:
                heat = min(build.heater_w_m2, (self.heat_set_c - free) * loss / (1.0 - share))
                rest += heat / loss
        self.heat_w_m2 = heat
        after = rest + (air - rest) * share
        mean_air = rest + (air - rest) * (1.0 - share) * build.air_j_m2_k / (loss * seconds)

        into_floor = to_floor * (mean_air - floor)
        into_ground = build.ground_w_m2_k * (floor - build.ground_c)
        warming = build.floor_light * sun + into_floor - into_ground
        self.floor_c = floor + warming * seconds / build.floor_j_m2_k

        # Fog: what the air cannot hold falls out of it and leaves its heat there.
        most = saturation_pa(after) / (VAPOUR_GAS_J_KG_K * (after + 273.15))
        if end > most:
            # Its heat lets the air hold more, so less falls: one Newton step along the saturation curve.
            slope = most * (17.625 * 243.04 / (243.04 + after) ** 2)
            fallen = (end - most) / (1.0 + slope * LATENT_J_KG * height / build.air_j_m2_k)
            end -= fallen
            after += LATENT_J_KG * height * fallen / build.air_j_m2_k
        self.air_c, self._vapour = after, end

        energy.sun += sun * seconds
        energy.heater += heat * seconds
        energy.water += (water_w_m2 + LATENT_J_KG * water_kg_m2_s) * seconds
        energy.cover += u_floor * (mean_air - outdoor) * seconds
        air_loss = AIR_J_M3_K * flow * (mean_air - outdoor) + LATENT_J_KG * flow * (mean - outside)
        energy.air += air_loss * seconds
        energy.ground += into_ground * seconds
        energy.drip += LATENT_J_KG * wet * (mean - cold) * seconds

"""The whole house as one thing: sky, air, two tanks, curtain and board, pumps, and the keeper's daily round.

It holds true values by name and knows nothing of Duskbell. Sensors turn them into readings in `instruments`;
what drives it through time is `clockwork` (virtual time) or `live` (real MQTT).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Final

from simulators.basin import Basin, Stock
from simulators.boards import RelayBoard, TargetBoard
from simulators.chance import stream
from simulators.chemistry import oxygen_mg_l
from simulators.house import Build, House
from simulators.motor import Curtain, Direction
from simulators.pump import circulate
from simulators.sky import Sky, Weather
from simulators.tank import Tank

MINUTE_S: Final = 60.0
DAY_MIN: Final = 24 * 60

MEALS_MIN: Final = (8 * 60, 12 * 60, 16 * 60)
"""When the fish are fed, in minutes of the site's standard day. [min]"""

MEAL_SHARE: Final = 0.003
"""A meal as a share of the fish's weight; three make 0.9 % a day (our choice for carp at 20 C). [kg/kg]"""

ROUND_MIN: Final = 8 * 60 + 10
"""When the keeper makes the round: top-up and alkalinity. [min]"""

ALKALINITY_WANTED_MG_L: Final = 30.0
"""The keeper doses up to this. [mg/L as CaCO3]"""

STOCK_KG: Final = (42.0, 38.0)
"""Fish in either tank; the settings of the site say 40. [kg]"""

WASTE_OXYGEN_G_G: Final = 0.3
"""Oxygen the waste of a meal takes where solids stay in the loop, 0.13 to 0.5 (from memory). [g/g]"""

GROWN: Final = 1.05
"""When they have grown past this share, the keeper takes some out on the round (our choice). [1]"""

NUTRIENT_MS_CM: Final = 1.8
NUTRIENT_PH: Final = 5.9
"""The mirrored line's solution as it is mixed (our choice within usual bands for leaf crops)."""


@dataclass(slots=True)
class Plant:
    """Pumps and mains: what people can lose."""

    mains: bool = True
    air_pump: bool = True
    water_pump: bool = True
    vents: bool = True
    aeration_per_h: float = 3.0
    bubbles_per_h: float = 1.0
    flow_l_min: float = 100.0
    clogged: float = 0.0

    @property
    def runs(self) -> bool:
        """Whether the loop's pump runs."""
        return self.mains and self.water_pump

    @property
    def loop_l_min(self) -> float:
        """Flow between the tanks [L/min]; none while the pump stands."""
        return self.flow_l_min * (1.0 - self.clogged) if self.runs else 0.0


@dataclass(slots=True)
class World:
    """The greenhouse of a run. `true` holds every value by name after each `advance`.

    `snows` is what a switch on the roof shows; `gale_m_s` is a storm over the wind of the sky [m/s].
    """

    seed: int
    sky: Sky
    travel_s: float = 300.0
    curtain: Curtain = field(init=False)
    board: TargetBoard | RelayBoard = field(init=False)
    house: House = field(init=False)
    tanks: tuple[Tank, ...] = field(init=False)
    plant: Plant = field(default_factory=Plant)
    keeper_comes: bool = True
    snows: bool = False
    gale_m_s: float = 0.0
    weather: Weather = field(default_factory=lambda: Weather(0.0, 10.0, 80.0, 2.0, 1013.25))
    true: dict[str, float] = field(default_factory=dict)
    _mix: random.Random = field(init=False)
    _line: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        self._mix = stream(self.seed, "line")
        self.curtain = Curtain(draw_s=self.travel_s, open_s=self.travel_s * 0.97)
        self.board = TargetBoard(self.curtain, longest_run_s=self.travel_s * 1.5)
        self.house = House(
            build=Build(heater_w_m2=180.0), heat_set_c=15.0, vent_set_c=23.0, dry_above_percent=85.0
        )
        basin = Basin(full_m3=4.0, area_m2=3.2, heater_w=2500.0)
        stock = Stock(roots_m2=35.0, waste_oxygen_g_g=WASTE_OXYGEN_G_G)
        self.tanks = tuple(Tank(basin=basin, stock=stock, fish_kg=kg, heat_set_c=20.0) for kg in STOCK_KG)
        for tank in self.tanks:
            tank.set_water(
                oxygen_mg_l=7.5, tan_mg_l=0.4, nitrite_mg_l=0.1, nitrate_mg_l=40.0,
                alkalinity_mg_l=ALKALINITY_WANTED_MG_L, ph=7.3,
            )  # fmt: skip

    def advance(self, utc_ms: int, minute_of_day: int) -> None:
        """Let one minute pass that ends at an instant.

        Parameters
        ----------
        utc_ms : int
            End of the minute. [ms]
        minute_of_day : int
            Minute of the site's standard day, for meals and the round, 0 to 1439. [min]
        """
        plant = self.plant
        weather = self.weather = self.sky.at(utc_ms - 30_000)
        if self.gale_m_s > weather.wind_m_s:
            weather = self.weather = weather._replace(wind_m_s=self.gale_m_s)
        house = self.house
        given_w = sum(tank.heat_to_air_w for tank in self.tanks)
        vapour = sum(tank.vapour_to_air_kg_s for tank in self.tanks)
        floor = house.build.floor_m2
        house.heater_works = plant.mains
        house.vents_work = plant.mains and plant.vents
        house.advance(
            MINUTE_S,
            weather,
            drawn_percent=self.curtain.drawn_percent,
            water_w_m2=given_w / floor,
            water_kg_m2_s=vapour / floor,
        )
        aerated = plant.mains and plant.air_pump
        for tank, stock_kg in zip(self.tanks, STOCK_KG, strict=True):
            tank.aeration_per_h = plant.aeration_per_h if aerated else 0.0
            tank.bubbles_per_h = plant.bubbles_per_h
            tank.heater_works = plant.mains
            if self.keeper_comes:
                self._keep(tank, minute_of_day, stock_kg)
            tank.advance(
                MINUTE_S,
                air_c=house.air_c,
                vapour_pa=house.vapour_pa,
                pressure_hpa=weather.pressure_hpa,
                light_w_m2=house.light_below_w_m2,
            )
        if plant.runs:
            circulate(*self.tanks, seconds=MINUTE_S, flow_m3_h=plant.loop_l_min * 0.06)
        self._fill_true(minute_of_day)

    def command(
        self, run: str, drawn_percent: float, run_s: float, *, now_ms: int, not_after_ms: int
    ) -> None:
        """Give the board a command in the words of its kind: `run` is draw, open or stop."""
        board = self.board
        if isinstance(board, RelayBoard):
            way = {"draw": Direction.DRAW, "open": Direction.OPEN, "stop": Direction.REST}[run]
            board.command(way, run_s=run_s, now_ms=now_ms, not_after_ms=not_after_ms)
        elif run == "stop":
            board.stop()
        else:
            board.command(drawn_percent, now_ms=now_ms, not_after_ms=not_after_ms)

    def _keep(self, tank: Tank, minute: int, stock_kg: float) -> None:
        """Feed, harvest, top up and dose as the keeper does on the round."""
        if minute in MEALS_MIN:
            tank.feed(tank.fish_kg * 1000.0 * MEAL_SHARE)
        if minute == ROUND_MIN:
            missing = ALKALINITY_WANTED_MG_L - tank.alkalinity_mg_l
            if tank.fish_kg > GROWN * stock_kg:
                tank.fish_kg = stock_kg
            if missing > 0.0:
                moles = missing / 50.0435 * tank.volume_m3
                tank.dose(base_eq=moles, carbon_mol=moles)
        if tank.leak_l_min <= 0.0 and tank.volume_m3 < 0.9 * tank.basin.full_m3:
            # So low somebody looks in between, and stays until it is up again.
            tank.fill_l_min = 20.0
        elif ROUND_MIN <= minute < ROUND_MIN + 120 and tank.volume_m3 < tank.basin.full_m3:
            tank.fill_l_min = 5.0
        else:
            tank.fill_l_min = 0.0

    def _fill_true(self, minute: int) -> None:
        """Write down every true value."""
        house, weather, plant, true = self.house, self.weather, self.plant, self.true
        true["light outside"] = weather.global_w_m2
        true["temperature outside"] = weather.outdoor_c
        true["wind"] = weather.wind_m_s
        true["temperature inside"] = house.air_c
        true["humidity inside"] = house.humidity_percent
        true["light below"] = house.light_below_w_m2
        true["oxygen in air"] = oxygen_mg_l(water_c=house.air_c, pressure_hpa=weather.pressure_hpa)
        for number, tank in enumerate(self.tanks, start=1):
            true[f"oxygen {number}"] = tank.oxygen_mg_l
            true[f"temperature {number}"] = tank.water_c
            true[f"ph {number}"] = tank.ph
            true[f"level {number}"] = tank.level_m * 100.0
        count = len(self.tanks)
        true["ph loop"] = sum(tank.ph for tank in self.tanks) / count + 0.05
        true["conductivity loop"] = sum(tank.conductivity_ms_cm for tank in self.tanks) / count
        if minute == ROUND_MIN:
            self._line = self._mix.gauss(0.0, 0.02)
        true["conductivity line"] = NUTRIENT_MS_CM + self._line
        true["ph line"] = NUTRIENT_PH + self._line
        true["flow"] = plant.loop_l_min
        true["air pump"] = 1.0 if plant.mains and plant.air_pump else 0.0
        true["snow"] = 1.0 if self.snows else 0.0
        true["mains"] = 1.0 if plant.mains else 0.0

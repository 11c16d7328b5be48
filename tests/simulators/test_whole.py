"""All parts driven together as the package's docstring says: one world, one seed, closed books."""

from pathlib import Path
from statistics import fmean

import pytest
from hash_seeds import print_under_hash_seeds

from simulators.basin import Basin, Stock
from simulators.boards import TargetBoard
from simulators.house import House
from simulators.motor import Curtain
from simulators.pump import circulate
from simulators.sensors import mild_light, mild_oxygen
from simulators.sky import SyntheticSky
from simulators.tank import CACO3_G_EQ, Tank

NEW_YEAR_2025_MS = 1_735_689_600_000
KEPT_ALKALINITY_MG_L = 60.0


class World:
    """A house with a stocked tank, a raft bed, a curtain that is drawn at dusk, and a keeper who doses daily."""

    def __init__(self, seed: int) -> None:
        self.sky = SyntheticSky(seed, latitude_deg=54.0, longitude_deg=-1.0)
        self.house = House()
        self.board = TargetBoard(Curtain())
        self.fish = Tank(volume_m3=8.0, basin=Basin(full_m3=8.0, area_m2=8.0, wall_w_k=100.0))
        bed = Basin(full_m3=18.0, area_m2=60.0, open_share=0.1, wall_w_k=120.0)
        plants = Stock(roots_m2=60.0)
        self.rafts = Tank(volume_m3=18.0, basin=bed, fish_kg=0.0, stock=plants, aeration_per_h=1.0)
        self.light = mild_light(seed, "light")
        self.oxygen = mild_oxygen(seed, "oxygen")
        self.minute = 0

    def advance(self) -> tuple[float | None, float | None]:
        """Let a minute pass; answer with what two sensors send."""
        now_ms = NEW_YEAR_2025_MS + self.minute * 60_000
        weather = self.sky.at(now_ms)
        target = 100.0 if weather.global_w_m2 < 10.0 else 0.0
        if self.minute % 60 == 0:
            self.board.command(target, now_ms=now_ms, not_after_ms=now_ms)
        self.board.advance(60.0)
        if self.minute % 720 == 480:
            self.fish.feed(200.0)
        waters = (self.fish, self.rafts)
        house = self.house
        if self.minute % 1440 == 600:
            for water in waters:
                short = max(0.0, KEPT_ALKALINITY_MG_L - water.alkalinity_mg_l)
                water.dose(base_eq=short / CACO3_G_EQ * water.volume_m3)
        for water in waters:
            water.advance(
                60.0,
                air_c=house.air_c,
                vapour_pa=house.vapour_pa,
                pressure_hpa=weather.pressure_hpa,
                light_w_m2=house.light_below_w_m2,
            )
            water.fill_l_min = 5.0 if water.volume_m3 < 0.98 * water.basin.full_m3 else 0.0
        circulate(*waters, seconds=60.0, flow_m3_h=6.0)
        floor_m2 = house.build.floor_m2
        house.advance(
            60.0,
            weather,
            drawn_percent=self.board.curtain.drawn_percent,
            water_w_m2=sum(water.heat_to_air_w for water in waters) / floor_m2,
            water_kg_m2_s=sum(water.vapour_to_air_kg_s for water in waters) / floor_m2,
        )
        self.minute += 1
        minute_of_day = self.minute % 1440
        return (
            self.light.advance(60.0, weather.global_w_m2, minute_of_day=minute_of_day),
            self.oxygen.advance(60.0, self.fish.oxygen_mg_l),
        )


@pytest.mark.slow
def test_two_winter_months_stay_sensible_and_in_balance() -> None:
    """A kept house lives: warm, wet enough, fish breathing, filter working, and every book closed.

    Ranges of water after FAO 589 (Somerville et al. 2014), chapter 3: for fish pH 6 to 8.5, for fish, plants and
    bacteria together 18 to 30 C, ammonia and nitrite nitrogen below 1 mg/L, oxygen above 5 mg/L.
    """
    world = World(21)
    holdings = [sum((tank.tan_g, tank.nitrite_g, tank.nitrate_g)) for tank in (world.fish, world.rafts)]
    air: list[float] = []
    for minute in range(60 * 1440):
        world.advance()
        tank = world.fish
        air.append(world.house.air_c)
        if minute > 1440:
            assert tank.oxygen_mg_l > 5.0
            assert tank.tan_mg_l < 1.0
            assert tank.nitrite_mg_l < 1.0
            assert 6.0 < tank.ph < 8.5
            assert 18.0 < tank.water_c < 30.0

    assert world.house.imbalance() < 1e-3
    assert min(air) > 12.0
    assert max(air) < 35.0
    assert 15.0 < fmean(air) < 22.0
    assert 40 < world.board.curtain.starts <= 200
    for tank, before in zip((world.fish, world.rafts), holdings, strict=True):
        gained = tank.tan_g + tank.nitrite_g + tank.nitrate_g - before
        assert gained == pytest.approx(tank.ledger.nitrogen_g, rel=1e-6, abs=1e-6)


PROGRAM = """
import sys
sys.path.insert(0, sys.argv[1])
from test_whole import World
world = World(5)
for _ in range(3 * 1440):
    print(world.advance(), world.house.air_c, world.fish.ph, world.board.report())
"""


@pytest.mark.slow
def test_the_whole_world_does_not_depend_on_the_hash_seed() -> None:
    """Two interpreters with different hash seeds live the same three days to the last digit."""
    days = print_under_hash_seeds(PROGRAM, str(Path(__file__).parent))

    assert len(days) == 1

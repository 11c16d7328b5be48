"""What a run came to, in numbers."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulators.world import World


@dataclass(slots=True)
class Tally:
    """What a run came to. Energy in kWh/m2 of floor, light in mol/m2, times in minutes."""

    minutes: int = 0
    turns: int = 0
    moves: int = 0
    messages: int = 0
    refused_messages: int = 0
    answers: int = 0
    restarts: int = 0
    alarms: dict[str, int] = field(default_factory=dict)
    oxygen_least_mg_l: float = 99.0
    air_least_c: float = 99.0
    air_most_c: float = -99.0
    canopy_mol_m2: float = 0.0
    heat_kwh_m2: float = 0.0

    def measure(self, world: World) -> None:
        """Add a minute of a world."""
        self.minutes += 1
        oxygen = min(tank.oxygen_mg_l for tank in world.tanks)
        self.oxygen_least_mg_l = min(self.oxygen_least_mg_l, oxygen)
        house = world.house
        air = house.air_c
        self.air_least_c = min(self.air_least_c, air)
        self.air_most_c = max(self.air_most_c, air)
        self.canopy_mol_m2 += house.photons_umol_m2_s * 60e-6
        self.heat_kwh_m2 += house.heat_w_m2 / 60_000.0

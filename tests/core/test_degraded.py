"""Degraded modes of a curtain: each is said in words, and none lets it go to and fro."""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import Final

import pytest
from makers import House, make_curtain, make_plan, make_sensor

from controller.core.plan.curtain import HoldHeat, LightCeiling
from controller.core.plan.economics import Economics
from controller.core.plan.sensor import Mounted
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import MoveCurtain, Run

WARM: Final = {"house_air": 24.0, "outside_air": 22.0}
PLAIN: Final[dict[str, object]] = {"light_ceiling": LightCeiling(), "hold_heat": HoldHeat()}
PRICES: Final[dict[str, object]] = {"light_ceiling": None, "hold_heat": None, "economics": Economics()}


def make_house(rules: dict[str, object]) -> House:
    """Make a house with these rules, its curtain open, under a high sun and a clear sky of 800 W/m2."""
    sensors = (
        make_sensor("roof light", Quantity.LIGHT, "W/m2", mounted=Mounted.OUTSIDE),
        make_sensor("house air", Quantity.TEMPERATURE, "C"),
        make_sensor("outside air", Quantity.TEMPERATURE, "C"),
    )
    plan = make_plan(sensor=sensors, curtain=(make_curtain(**rules),), alarm=())
    return House(plan).sky(50.0, 800.0).report(0.0)


def live(house: House, lights: list[float | None]) -> tuple[list[tuple[float, float]], list[str]]:
    """Live through a light a minute (None: silence); moves as (minute, position), and all lines of the record."""
    begun = house.now
    moves: list[tuple[float, float]] = []
    notes: list[str] = []
    for light in lights:
        words = WARM if light is None else WARM | {"roof_light": light}
        for speaks in (True, False):
            if speaks:
                house.read(**words)
            else:
                house.wait(1.0)
            notes += house.notes
            moved = [each for each in house.moves if each.run is not Run.STOP]
            moves += [((house.now - begun) / MINUTE_MS, each.drawn_percent) for each in moved]
            if moved:
                notes += house.obey().notes
    return moves, notes


def turns(moves: list[tuple[float, float]], here: float = 0.0) -> list[float]:
    """Minutes from each move to the next the other way."""
    path = [(0.0, here), *moves]
    ways = [(at, goal > before) for (_, before), (at, goal) in pairwise(path)]
    return [after - at for (at, way), (after, other) in pairwise(ways) if way != other]


def spoil(kind: str, hours: int) -> list[float | None]:
    """Make an hour of good bright light, and then hours of a bad sensor."""
    dice = random.Random(11)  # noqa: S311 - faults, no secrets
    bright = [700.0 + minute % 5 for minute in range(60)]
    bad: dict[str, list[float | None]] = {
        "lost": [None] * (60 * hours),
        "stuck": [704.0] * (60 * hours),
        "spikes": [3000.0 if dice.random() < 0.2 else 700.0 + minute % 5 for minute in range(60 * hours)],
        "no number": [math.nan if minute % 3 else 700.0 + minute % 5 for minute in range(60 * hours)],
        "gaps": [None if minute // 20 % 2 else 700.0 + minute % 5 for minute in range(60 * hours)],
        "covered": [2.0 + minute % 2 * 0.1 for minute in range(60 * hours)],
        "beyond the sun": [2500.0 + minute % 5 for minute in range(60 * hours)],
        "flicker": [900.0 if minute % 2 else 100.0 for minute in range(60 * hours)],
    }
    return [*bright, *bad[kind]]


WORDS: Final = {
    "lost": "silent for more than",
    "stuck": "has stood at 704 W/m2",
    "spikes": "outside what is possible",
    "no number": "",
    "gaps": "silent for more than",
    "covered": "covered?",
    "beyond the sun": "outside what is possible",
    "flicker": "",
}


@pytest.mark.parametrize("rules", [PLAIN, PRICES], ids=["plain", "prices"])
@pytest.mark.parametrize("kind", WORDS)
def test_a_bad_light_sensor_is_said_and_never_makes_it_oscillate(kind: str, rules: dict[str, object]) -> None:
    """Six hours of each fault: few moves, no turn within ten minutes, and the record says what is wrong."""
    house = make_house(rules)
    moves, notes = live(house, spoil(kind, 6))

    assert len(moves) <= 7, moves
    assert all(each >= 10.0 for each in turns(moves)), moves
    assert any("roof light" in note and WORDS[kind] in note for note in notes), notes


@pytest.mark.parametrize("rules", [PLAIN, PRICES], ids=["plain", "prices"])
def test_without_a_sensor_the_almanac_stands_in_and_the_reason_says_so(rules: dict[str, object]) -> None:
    """Two hours of silence under a clear sky of 800 W/m2: judged by the almanac, in words."""
    house = make_house(rules)
    live(house, spoil("lost", 2))
    view = house.state.views["roof"]

    assert view.light_is_reckoned
    assert view.light_w_m2 is not None


@pytest.mark.parametrize("rules", [PLAIN, PRICES], ids=["plain", "prices"])
def test_without_clock_and_light_it_stays_and_says_that_nothing_is_known(rules: dict[str, object]) -> None:
    """No sun and no light: no move at all, and the rule names it."""
    house = make_house(rules)
    live(house, spoil("lost", 0))
    house.utc_trusted = False
    first, _ = live(house, [None] * 60)
    moves, _ = live(house, [None] * 180)

    assert len(first) <= 1
    assert moves == []
    assert house.rule == "nothing known"


@pytest.mark.parametrize("rules", [PLAIN, PRICES], ids=["plain", "prices"])
@pytest.mark.parametrize("jump_min", [-90, 90, 60 * 24 * 400])
def test_a_clock_that_jumps_moves_nothing_to_and_fro(jump_min: int, rules: dict[str, object]) -> None:
    """The board's clock jumps for an hour and comes back: at most a move for each, none within ten minutes."""
    house = make_house(rules)
    lights: list[float | None] = [700.0 + minute % 5 for minute in range(60)]
    moves, _ = live(house, lights)
    house.utc_ms += jump_min * MINUTE_MS
    away, _ = live(house, lights)
    house.utc_ms -= jump_min * MINUTE_MS
    back, _ = live(house, lights)
    shifted = [
        *moves,
        *((at + 60.0, goal) for at, goal in away),
        *((at + 120.0, goal) for at, goal in back),
    ]

    assert len(away) + len(back) <= 2
    assert all(each >= 10.0 for each in turns(shifted))


def test_a_week_of_dry_run_says_what_it_would_do_and_moves_nothing() -> None:
    """Seven days in dry run: the record says each move that it would make, with the same reasons as a real one."""
    house = make_house(PLAIN | {"dry_run": True})
    commands: list[MoveCurtain] = []
    would: list[str] = []
    for _ in range(7):
        for light in (100.0, 800.0, 300.0):
            for minute in range(40):
                house.read(**WARM, roof_light=light + minute % 5)
                commands += house.moves
                would += [note for note in house.notes if "would run" in note]
                if house.moves:
                    house.obey()
                house.wait(1.0)
                commands += house.moves
                would += [note for note in house.notes if "would run" in note]
                if house.moves:
                    house.obey()

    assert len(would) == len(commands)
    assert len(would) >= 7
    assert all("too much light" in note or "nothing asks for it" in note for note in would)

"""Our own decisions over a span: the real controller, turned minute by minute as a replay turns it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from controller.core.plan.curtain import Curtain, HoldHeat, LightCeiling
from controller.core.plan.economics import Economics
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Mounted, Sensor
from controller.core.plan.site import Site
from controller.core.units import Quantity
from controller.core.vocabulary import Sample
from controller.edges.almanac import almanac_cached
from controller.replay import Replay
from simulators.bench.climate import DAY_MINUTES, MINUTE_MS, NAMES, ZONES
from simulators.years import read_station

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from controller.core.sky.almanac import Almanac
    from simulators.bench.climate import Minutes
    from simulators.bench.costs import Costs

LIGHT, OUTSIDE, CURTAIN = "outdoor light", "outdoor temperature", "main"
ANSWER_AFTER_MIN: Final = 5.0


class Run(NamedTuple):
    """What the controller did.

    Attributes
    ----------
    drawn_percent : numpy.ndarray
        Where the curtain was sent, by the minute, as if it were there at once. [%]
    reasons : tuple of (int, str, str)
        For each move its instant, the rule and the sentence. [ms]
    sensor_notes : tuple of (int, str, str)
        What was told of sensors: instant, sensor and sentence. [ms]
    """

    drawn_percent: NDArray[np.float64]
    reasons: tuple[tuple[int, str, str], ...]
    sensor_notes: tuple[tuple[int, str, str], ...] = ()


def make_plan(weather: Minutes, costs: Costs, **tables: object) -> Plan:
    """Make the settings of a house at the station, with outdoor light and temperature and one curtain."""
    record = read_station(weather.station)
    name = NAMES[weather.station]
    site = Site(
        name=name,
        id=name,
        latitude_deg=record.latitude_deg,
        longitude_deg=record.longitude_deg,
        elevation_m=record.elevation_m,
        time_zone=ZONES[weather.station],
    )
    sensors = (
        Sensor(
            name=LIGHT, quantity=Quantity.LIGHT, unit="W/m2", topic="bench/light", mounted=Mounted.OUTSIDE
        ),
        Sensor(name=OUTSIDE, quantity=Quantity.TEMPERATURE, unit="C", topic="bench/temperature"),
    )
    words: dict[str, object] = {
        "name": CURTAIN,
        "light_sensor": LIGHT,
        "outside_temperature": OUTSIDE,
        "command_topic": "bench/curtain/command",
        "report_topic": "bench/curtain/report",
        "transmission": costs.curtain_share,
        "cover_transmission": costs.cover_share,
    }
    return Plan(site=site, sensor=sensors, curtain=(Curtain.model_validate(words | tables),))


def plain_tables(costs: Costs) -> dict[str, object]:
    """Set the plain rules, as they come, to the house's set-point."""
    return {"light_ceiling": LightCeiling(), "hold_heat": HoldHeat(inside_below_c=costs.day_c)}


def balance_tables(costs: Costs) -> dict[str, object]:
    """Tell the controller the very costs it is scored by."""
    return {
        "economics": Economics(
            light_ceiling_umol_m2_s=costs.ceiling_umol_m2_s,
            light_harm_per_mol=costs.harm_per_mol,
            light_worth_per_mol=costs.worth_per_mol,
            heat_price_per_kwh=costs.heat_per_kwh,
            move_cost=costs.move,
            day_set_point_c=costs.day_c,
            night_set_point_c=costs.night_c,
            open_u_w_m2_k=costs.u_open,
            drawn_u_w_m2_k=costs.u_drawn,
            sun_heat_share=costs.sun_share,
        )
    }


def find_almanac(weather: Minutes, cache_dir: Path | None) -> Almanac:
    """Have the sun reckoned for the span, and for a day on both sides."""
    record = read_station(weather.station)
    return almanac_cached(
        latitude_deg=record.latitude_deg,
        longitude_deg=record.longitude_deg,
        elevation_m=record.elevation_m,
        start_utc_ms=weather.start_utc_ms - DAY_MINUTES * MINUTE_MS,
        days=len(weather.light_w_m2) // DAY_MINUTES + 2,
        cache_dir=cache_dir,
    )


def run(weather: Minutes, plan: Plan, almanac: Almanac) -> Run:
    """Turn the controller over the span; each minute's mean reaches it when the minute is over; NaN is silence."""
    replay = Replay(
        plan, almanac=almanac, start_utc_ms=weather.start_utc_ms, answer_after_min=ANSWER_AFTER_MIN
    )
    at = weather.start_utc_ms
    for light, outside in zip(weather.light_w_m2.tolist(), weather.outside_c.tolist(), strict=True):
        at += MINUTE_MS
        heard = () if math.isnan(light) else (Sample(LIGHT, light),)
        replay.take(at, (*heard, Sample(OUTSIDE, outside)))
    minutes = len(weather.light_w_m2)
    drawn = np.zeros(minutes)
    moves = replay.outcome.positions[1:]
    for move in moves:
        drawn[-(-(move.utc_ms - weather.start_utc_ms) // MINUTE_MS) :] = move.drawn_percent
    return Run(
        drawn,
        tuple((move.utc_ms, move.rule, move.reason) for move in moves),
        tuple(replay.outcome.sensor_notes),
    )

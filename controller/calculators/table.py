"""The table of the calculators: each with its options and one worked line, which a test executes."""

from __future__ import annotations

from typing import Final

from controller.calculators.answer import Calculator, Option
from controller.calculators.balance import (
    reckon_cooling,
    reckon_feed,
    reckon_filter,
    reckon_horizon,
    reckon_level,
    reckon_nitrate,
)
from controller.calculators.chemistry import reckon_ammonia, reckon_base, reckon_carbonate, reckon_oxygen
from controller.calculators.house import reckon_break_even, reckon_dew_point, reckon_light_sum


def _need(name: str, text: str) -> Option:
    return Option(name, text, required=True)


_PH: Final = _need("ph", "pH of the water")
_WATER_C: Final = _need("temperature-c", "water temperature")
_ALKALINITY: Final = _need("alkalinity-mg-l", "alkalinity as calcium carbonate")

CALCULATORS: Final[tuple[Calculator, ...]] = (
    Calculator(
        "ammonia",
        "un-ionised ammonia from total ammonia, both as nitrogen",
        "--total-ammonia-mg-l 1 --ph 8 --temperature-c 24",
        "0.05017 mg/L",
        (
            _need("total-ammonia-mg-l", "total ammonia, as nitrogen unless --basis says otherwise"),
            _PH,
            _WATER_C,
            Option("basis", "what the kit weighs it as: N, NH3 or NH4 (default N)", is_word=True),
        ),
        reckon_ammonia,
    ),
    Calculator(
        "oxygen",
        "oxygen at saturation, and how full the water is",
        "--temperature-c 28 --elevation-m 1000 --oxygen-mg-l 5",
        "6.909 mg/L",
        (
            _WATER_C,
            Option("elevation-m", "height above sea level; a barometer is better"),
            Option("pressure-hpa", "air pressure at the site"),
            Option("salinity-g-kg", "salinity (default 0)", default=0.0),
            Option("oxygen-mg-l", "oxygen now, for the percentage"),
        ),
        reckon_oxygen,
    ),
    Calculator(
        "carbonate",
        "carbon dioxide from pH and alkalinity",
        "--ph 7 --alkalinity-mg-l 50 --temperature-c 28",
        "9.542 mg/L",
        (_PH, _ALKALINITY, _WATER_C),
        reckon_carbonate,
    ),
    Calculator(
        "base",
        "grams of a base that raise alkalinity, in safe doses",
        "--raise-alkalinity-mg-l 30 --volume-l 1000 --chemical KOH --assay-percent 85",
        "39.57 g",
        (
            _need("raise-alkalinity-mg-l", "rise wanted, as calcium carbonate"),
            _need("volume-l", "water in the whole loop"),
            Option("chemical", "formula or name, such as KOH or 'slaked lime'", required=True, is_word=True),
            Option("assay-percent", "share of the base in the product (default 100)", default=100.0),
            Option("ph", "pH before, for the doses"),
            Option("alkalinity-mg-l", "alkalinity before, for the doses"),
            Option("temperature-c", "water temperature, for the doses"),
            Option("total-ammonia-mg-l", "total ammonia as nitrogen, for the hazard"),
        ),
        reckon_base,
    ),
    Calculator(
        "feed",
        "ammonia, oxygen and alkalinity from a day's feed",
        "--feed-kg-d 1 --protein-percent 32",
        "29.44 g/d",
        (
            _need("feed-kg-d", "feed given in a day"),
            _need("protein-percent", "crude protein of the feed"),
            Option("area-m2", "growing area, for the feeding ratio"),
        ),
        reckon_feed,
    ),
    Calculator(
        "horizon",
        "minutes until oxygen reaches a limit with aeration lost",
        "--oxygen-mg-l 6 --limit-mg-l 3 --fish-kg-m3 20 --demand-mg-kg-h 300",
        "30 min",
        (
            _need("oxygen-mg-l", "oxygen now"),
            _need("limit-mg-l", "oxygen at which harm begins"),
            _need("fish-kg-m3", "fish per volume of the water they share"),
            _need("demand-mg-kg-h", "oxygen that a kilogram of fish uses; a site's own figure"),
            Option("water-mg-l-h", "oxygen that filter and wastes use (default 0)", default=0.0),
            Option("exchange-per-h", "gas exchange through the surface (default 0)", default=0.0),
            Option("temperature-c", "water temperature, with an exchange"),
            Option("elevation-m", "height above sea level, with an exchange (default 0)", default=0.0),
        ),
        reckon_horizon,
    ),
    Calculator(
        "cooling",
        "hours until a tank reaches a temperature, unheated or heated",
        "--volume-l 1000 --loss-w-k 40 --start-c 28 --ambient-c 12 --target-c 20",
        "20.07 h",
        (
            _need("volume-l", "water in the tank"),
            _need("loss-w-k", "heat lost per kelvin of difference; fit it from a night's log"),
            _need("start-c", "water temperature now"),
            _need("ambient-c", "temperature of the surroundings"),
            _need("target-c", "water temperature asked for"),
            Option("heater-w", "heating that is on all the while (default 0)", default=0.0),
        ),
        reckon_cooling,
    ),
    Calculator(
        "nitrate",
        "nitrate at which gains and losses balance, as nitrogen",
        "--made-g-d 20 --taken-up-g-d 15 --exchange-m3-d 0.1 --inflow-mg-l 2",
        "52 mg/L",
        (
            _need("made-g-d", "nitrate nitrogen made in a day"),
            _need("taken-up-g-d", "nitrate nitrogen that plants take in a day"),
            _need("exchange-m3-d", "water let out and topped up in a day"),
            Option("inflow-mg-l", "nitrate of the top-up water (default 0)", default=0.0),
            Option("volume-m3", "water in the loop, for the half-life"),
            Option("now-mg-l", "nitrate now, for a change of water in one go"),
            Option("wanted-mg-l", "nitrate wanted, for a change of water in one go"),
        ),
        reckon_nitrate,
    ),
    Calculator(
        "level",
        "water lost from a fall of level",
        "--fall-mm 3 --surface-m2 10 --time-h 24",
        "30 L",
        (
            _need("fall-mm", "fall of the level, positive downwards"),
            _need("surface-m2", "water surface that fell"),
            _need("time-h", "how long it took"),
            Option("volume-l", "water in the loop, for the share and the verdict"),
            Option("usual-l-h", "usual loss at this time of day, for the verdict"),
            Option("flow-l-min", "flow, for the turnover"),
        ),
        reckon_level,
    ),
    Calculator(
        "filter",
        "ammonia at which the filter keeps up with the load",
        "--load-g-d 30 --area-m2 100 --highest-g-m2-d 0.6 --half-mg-l 1",
        "1 mg/L",
        (
            _need("load-g-d", "ammonia nitrogen to be removed in a day"),
            _need("area-m2", "wetted area of the media"),
            _need("highest-g-m2-d", "highest removal; warm water 0.2 to 1.0"),
            _need("half-mg-l", "total ammonia at which half of that is removed; 1 to 2 for a film"),
        ),
        reckon_filter,
    ),
    Calculator(
        "dew-point",
        "dew point and how dry the air is",
        "--temperature-c 20 --humidity-percent 50",
        "9.261 C",
        (_need("temperature-c", "air temperature"), _need("humidity-percent", "relative humidity")),
        reckon_dew_point,
    ),
    Calculator(
        "light-sum",
        "light sum of a spell of light",
        "--lux 10800 --hours 16",
        "11.52 mol/m2",
        (
            Option("ppfd-umol-m2-s", "photon flux"),
            Option("lux", "illuminance of daylight"),
            Option("global-w-m2", "global radiation"),
            _need("hours", "how long it lasts"),
            Option("clear-day", "take the light as noon of a day shaped as half a sine", is_flag=True),
        ),
        reckon_light_sum,
    ),
    Calculator(
        "break-even",
        "outside light below which a drawn curtain pays",
        "--heat-saved-w-m2-k 4.25 --inside-c 18 --outside-c 8 --cover-share 0.7 --curtain-share 0.6 "
        "--heat-price-per-kwh 0.067 --light-price-per-kwh 0.0864",
        "117.7 W/m2",
        (
            _need("heat-saved-w-m2-k", "heat saved per floor area and kelvin"),
            _need("inside-c", "air temperature inside"),
            _need("outside-c", "air temperature outside"),
            _need("cover-share", "share of light that passes the cover, 0 to 1"),
            _need("curtain-share", "share of that light that passes the drawn curtain, 0 to 1"),
            _need("heat-price-per-kwh", "price of heat"),
            _need("light-price-per-kwh", "worth of global radiation inside, in the same currency"),
        ),
        reckon_break_even,
    ),
)

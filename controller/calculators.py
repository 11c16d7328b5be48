"""The calculators behind `duskbell reckon`: options in, an `Answer` out; pure, and printing nothing.

One function a calculator. The table `CALCULATORS` at the end names each with its options and one worked line,
which a test executes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from controller.core import air, light
from controller.core.water import (
    ammonia,
    base,
    carbonate,
    cooling,
    feed,
    horizon,
    level,
    nitrate,
    oxygen,
)
from controller.core.water import (
    filter as biofilter,
)

Detail: TypeAlias = float | int | str | bool | list[str] | None


class OptionsDisagree(ValueError):  # noqa: N818 - it says what the options do, for a person to read
    """Options that are each fine and do not go together; the text says why."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a calculator says.

    Attributes
    ----------
    value
        The number asked for [unit]; None when there is none, and `nothing` then says why.
    unit
        Unit of `value`.
    what
        The number's name in a sentence.
    source
        Where the formula is from.
    also
        Secondary values by name, unit last in the name.
    nothing
        What to say when `value` is None.
    """

    value: float | None
    unit: str
    what: str
    source: str
    also: Mapping[str, Detail] = field(default_factory=dict)
    nothing: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """The options as they came: numbers by name without the dashes, None for one left out."""

    numbers: Mapping[str, float | None]
    words: Mapping[str, str] = field(default_factory=dict)

    def need(self, name: str) -> float:
        """Hand out a number that the parser has made sure of."""
        number = self.numbers[name]
        assert number is not None, f"{name} is required, so the parser has seen to it"
        return number

    def find(self, name: str) -> float | None:
        """Hand out a number, or None when it was left out."""
        return self.numbers[name]

    def all_or_none(self, *names: str) -> bool:
        """Say whether a group of options was given; a part of a group is an error."""
        missing = [name for name in names if self.numbers[name] is None]
        if missing and len(missing) < len(names):
            wanted = ", ".join(f"--{name}" for name in missing)
            raise OptionsDisagree(f"with the options given, {wanted} must be given as well")
        return not missing


@dataclass(frozen=True, slots=True)
class Option:
    """An option that takes a number or, with `is_word`, a word; or, with `is_flag`, nothing."""

    name: str
    text: str
    required: bool = False
    default: float | None = None
    is_word: bool = False
    is_flag: bool = False


@dataclass(frozen=True, slots=True)
class Calculator:
    """A calculator and how to call it.

    Attributes
    ----------
    name
        Name on the command line.
    text
        What it answers, in one line.
    worked
        Options of a worked line.
    worked_answer
        What the worked line answers, as printed.
    options
        The options it takes.
    compute
        The calculation.
    """

    name: str
    text: str
    worked: str
    worked_answer: str
    options: tuple[Option, ...]
    compute: Callable[[Given], Answer]


def reckon_ammonia(given: Given) -> Answer:
    """Reckon un-ionised ammonia."""
    ph, temperature_c = given.need("ph"), given.need("temperature-c")
    fraction = ammonia.unionised_fraction(ph=ph, temperature_c=temperature_c)
    unionised = ammonia.find_unionised_mg_l(
        total_ammonia_mg_l=given.need("total-ammonia-mg-l"), ph=ph, temperature_c=temperature_c
    )
    as_nh3 = ammonia.from_nitrogen_mg_l(ammonia.Species.AMMONIA, nitrogen_mg_l=unionised)
    return Answer(
        unionised,
        "mg/L",
        "un-ionised ammonia, as nitrogen",
        ammonia.SOURCE,
        {
            "fraction": fraction,
            "unionised_as_nh3_mg_l": as_nh3,
            "note": "zero salinity: 2 to 15 % high, on the safe side, at 0.5 to 2 mS/cm",
        },
    )


def reckon_oxygen(given: Given) -> Answer:
    """Reckon oxygen at saturation, and the percentage of it when oxygen is given."""
    elevation_m, pressure_hpa = given.find("elevation-m"), given.find("pressure-hpa")
    if elevation_m is not None and pressure_hpa is not None:
        raise OptionsDisagree("give --elevation-m or --pressure-hpa, not both")
    if elevation_m is not None:
        pressure_hpa = oxygen.find_pressure_hpa(elevation_m=elevation_m)
    elif pressure_hpa is None:
        pressure_hpa = oxygen.ATMOSPHERE_HPA
    temperature_c, salinity_g_kg = given.need("temperature-c"), given.need("salinity-g-kg")
    also: dict[str, Detail] = {"pressure_hpa": pressure_hpa}
    now = given.find("oxygen-mg-l")
    if now is not None:
        also["percent"] = oxygen.find_percent(
            oxygen_mg_l=now,
            temperature_c=temperature_c,
            pressure_hpa=pressure_hpa,
            salinity_g_kg=salinity_g_kg,
        )
    full = oxygen.find_saturation_mg_l(
        temperature_c=temperature_c, pressure_hpa=pressure_hpa, salinity_g_kg=salinity_g_kg
    )
    return Answer(full, "mg/L", "oxygen at saturation", oxygen.SOURCE, also)


def reckon_carbonate(given: Given) -> Answer:
    """Reckon carbon dioxide from pH and alkalinity."""
    ph, alkalinity_mg_l = given.need("ph"), given.need("alkalinity-mg-l")
    temperature_c = given.need("temperature-c")
    gas = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    carbon = carbonate.find_carbon_mmol_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    return Answer(
        gas,
        "mg/L",
        "carbon dioxide",
        carbonate.SOURCE,
        {
            "pk1": carbonate.find_constants(temperature_c=temperature_c).pk1,
            "inorganic_carbon_mmol_l": carbon,
            "note": "pH 0.3 lower at the same alkalinity is this doubled: aeration lost, no call for base",
        },
    )


def reckon_base(given: Given) -> Answer:
    """Reckon the grams of a base, the doses to split it into, and the ammonia hazard."""
    name = given.words["chemical"]
    chemical = base.find_chemical(name)
    if chemical is None:
        known = ", ".join(traits.formula for traits in base.TRAITS.values())
        raise OptionsDisagree(f"no base is called {name[:40]!r}; known are {known}, and their names")
    traits = base.TRAITS[chemical]
    rise_mg_l = given.need("raise-alkalinity-mg-l")
    grams = base.find_grams(
        chemical,
        raise_alkalinity_mg_l=rise_mg_l,
        volume_l=given.need("volume-l"),
        assay_percent=given.need("assay-percent"),
    )
    also: dict[str, Detail] = dict.fromkeys(
        (
            "doses",
            "grams_each",
            "ph_rise_each",
            "settled_ph",
            "ph_all_at_once",
            "unionised_before_mg_l",
            "unionised_after_mg_l",
            "unionised_all_at_once_mg_l",
            "unionised_times",
        )
    )
    also |= {"chemical": chemical.value, "formula": traits.formula}
    safety = [*base.SAFETY, traits.caution] if traits.caution else list(base.SAFETY)
    total_mg_l = given.find("total-ammonia-mg-l")
    if given.all_or_none("ph", "temperature-c", "alkalinity-mg-l"):
        water = base.Water(given.need("ph"), given.need("alkalinity-mg-l"), given.need("temperature-c"))
        plan = base.plan_doses(chemical, water, raise_alkalinity_mg_l=rise_mg_l, grams=grams)
        also |= {
            "doses": plan.doses,
            "grams_each": plan.grams_each,
            "ph_rise_each": plan.ph_rise_each,
            "settled_ph": plan.settled_ph,
            "ph_all_at_once": plan.ph_at_once,
        }
        safety.append("Give the next dose only when pH has come back; otherwise reckon anew.")
        if total_mg_l is not None:
            hazard = base.find_hazard(water, plan, total_ammonia_mg_l=total_mg_l)
            also |= {
                "unionised_before_mg_l": hazard.before_mg_l,
                "unionised_after_mg_l": hazard.after_mg_l,
                "unionised_all_at_once_mg_l": hazard.at_once_mg_l,
                "unionised_times": hazard.times,
            }
    elif total_mg_l is not None:
        raise OptionsDisagree("--total-ammonia-mg-l needs --ph, --temperature-c and --alkalinity-mg-l")
    else:
        safety.append("Split it so that no dose raises pH by more than 0.2; give --ph, --temperature-c and")
        safety[-1] += " --alkalinity-mg-l to have the doses reckoned."
    also["safety"] = safety
    return Answer(grams, "g", f"of {chemical.value} ({traits.formula})", base.SOURCE, also)


def reckon_feed(given: Given) -> Answer:
    """Reckon what a day's feed puts into and takes out of the water."""
    feed_kg_d, protein_percent = given.need("feed-kg-d"), given.need("protein-percent")
    made = feed.find_ammonia_g_d(feed_kg_d=feed_kg_d, protein_percent=protein_percent)
    also: dict[str, Detail] = {
        "measured_low_g_d": feed.find_ammonia_low_g_d(feed_kg_d=feed_kg_d, protein_percent=protein_percent),
        "fish_oxygen_g_d": feed.find_fish_oxygen_g_d(feed_kg_d=feed_kg_d),
        "system_oxygen_g_d": feed.find_system_oxygen_g_d(feed_kg_d=feed_kg_d),
        "filter_oxygen_g_d": feed.find_filter_oxygen_g_d(ammonia_g_d=made),
        "alkalinity_use_g_d": feed.find_alkalinity_use_g_d(ammonia_g_d=made),
        "raft_area_low_m2": feed.find_raft_area_m2(feed_kg_d=feed_kg_d, ratio_g_m2_d=100.0),
        "raft_area_high_m2": feed.find_raft_area_m2(feed_kg_d=feed_kg_d, ratio_g_m2_d=60.0),
    }
    area_m2 = given.find("area-m2")
    if area_m2 is not None:
        also["ratio_g_m2_d"] = feed.find_feeding_ratio_g_m2_d(feed_kg_d=feed_kg_d, area_m2=area_m2)
    return Answer(made, "g/d", "total ammonia, as nitrogen", feed.SOURCE, also)


def reckon_horizon(given: Given) -> Answer:
    """Reckon the minutes until oxygen reaches a limit with aeration lost."""
    saturation_mg_l = 0.0
    exchange_per_h = given.need("exchange-per-h")
    temperature_c = given.find("temperature-c")
    if exchange_per_h != 0.0:
        if temperature_c is None:
            raise OptionsDisagree("--exchange-per-h needs --temperature-c, for the oxygen at saturation")
        pressure_hpa = oxygen.find_pressure_hpa(elevation_m=given.need("elevation-m"))
        saturation_mg_l = oxygen.find_saturation_mg_l(temperature_c=temperature_c, pressure_hpa=pressure_hpa)
    draw = horizon.Draw(
        given.need("fish-kg-m3"),
        given.need("demand-mg-kg-h"),
        given.need("water-mg-l-h"),
        exchange_per_h,
        saturation_mg_l,
    )
    minutes = horizon.find_minutes(
        draw, oxygen_mg_l=given.need("oxygen-mg-l"), limit_mg_l=given.need("limit-mg-l")
    )
    return Answer(
        minutes,
        "min",
        "until the limit with aeration lost",
        horizon.SOURCE,
        {"use_mg_l_h": horizon.find_use_mg_l_h(draw), "basis": horizon.Basis.WORST_CASE.value},
        "never: the surface gives more than is used",
    )


def reckon_cooling(given: Given) -> Answer:
    """Reckon how long an unheated tank takes to a temperature."""
    volume_l, loss_w_k = given.need("volume-l"), given.need("loss-w-k")
    start_c, ambient_c = given.need("start-c"), given.need("ambient-c")
    hours = cooling.find_hours(
        start_c=start_c,
        ambient_c=ambient_c,
        target_c=given.need("target-c"),
        volume_l=volume_l,
        loss_w_k=loss_w_k,
    )
    also: dict[str, Detail] = {
        "time_constant_h": cooling.find_time_constant_h(volume_l=volume_l, loss_w_k=loss_w_k),
        "first_rate_c_h": cooling.find_first_rate_c_h(
            start_c=start_c, ambient_c=ambient_c, volume_l=volume_l, loss_w_k=loss_w_k
        ),
        "holding_w": cooling.find_holding_w(hold_c=start_c, ambient_c=ambient_c, loss_w_k=loss_w_k),
        "warming_1_c_h_w": cooling.find_warming_w(volume_l=volume_l, rate_c_h=1.0),
    }
    nothing = "never: the surroundings do not bring it there"
    return Answer(hours, "h", "until the target, unheated", cooling.SOURCE, also, nothing)


def reckon_nitrate(given: Given) -> Answer:
    """Reckon the nitrate at which gains and losses balance."""
    exchange_m3_d, inflow_mg_l = given.need("exchange-m3-d"), given.need("inflow-mg-l")
    steady = nitrate.find_steady_mg_l(
        made_g_d=given.need("made-g-d"),
        taken_up_g_d=given.need("taken-up-g-d"),
        exchange_m3_d=exchange_m3_d,
        inflow_mg_l=inflow_mg_l,
    )
    also: dict[str, Detail] = {
        "as_nitrate_mg_l": ammonia.from_nitrogen_mg_l(ammonia.Species.NITRATE, nitrogen_mg_l=steady)
    }
    volume_m3 = given.find("volume-m3")
    if volume_m3 is not None:
        also["half_life_d"] = nitrate.find_half_life_d(exchange_m3_d=exchange_m3_d, volume_m3=volume_m3)
    if given.all_or_none("now-mg-l", "wanted-mg-l"):
        also["change_percent"] = nitrate.find_exchange_percent(
            now_mg_l=given.need("now-mg-l"), wanted_mg_l=given.need("wanted-mg-l"), fresh_mg_l=inflow_mg_l
        )
    return Answer(steady, "mg/L", "nitrate when steady, as nitrogen", nitrate.SOURCE, also)


def reckon_level(given: Given) -> Answer:
    """Reckon the water lost from a fall of level."""
    loss = level.find_loss(
        fall_mm=given.need("fall-mm"), surface_m2=given.need("surface-m2"), time_h=given.need("time-h")
    )
    also: dict[str, Detail] = {"rate_l_min": loss.rate_l_min, "rate_l_d": loss.rate_l_min * 1440.0}
    volume_l, flow_l_min = given.find("volume-l"), given.find("flow-l-min")
    if volume_l is not None:
        also["percent_h"] = level.find_loss_percent_h(loss, volume_l=volume_l)
        also["looks_like"] = level.judge_loss(
            loss, volume_l=volume_l, usual_l_h=given.find("usual-l-h")
        ).value
    if flow_l_min is not None:
        if volume_l is None:
            raise OptionsDisagree("--flow-l-min needs --volume-l, for the turnover")
        also["turnover_min"] = level.find_turnover_min(volume_l=volume_l, flow_l_min=flow_l_min)
    return Answer(loss.litres, "L", "lost", level.SOURCE, also)


def reckon_filter(given: Given) -> Answer:
    """Reckon the ammonia at which the filter keeps up with the load."""
    media = biofilter.Media(given.need("area-m2"), given.need("highest-g-m2-d"), given.need("half-mg-l"))
    standing = biofilter.judge_load(media, load_g_d=given.need("load-g-d"))
    also: dict[str, Detail] = {
        "load_percent": standing.load_percent,
        "capacity_g_d": biofilter.find_capacity_g_d(media),
        "overloaded": standing.overloaded,
    }
    nothing = "no steady value: the filter is overloaded and ammonia goes on rising"
    what = "total ammonia when steady, as nitrogen"
    return Answer(standing.steady_mg_l, "mg/L", what, biofilter.SOURCE, also, nothing)


def reckon_dew_point(given: Given) -> Answer:
    """Reckon the dew point and the two deficits."""
    t, rh = given.need("temperature-c"), given.need("humidity-percent")
    also: dict[str, Detail] = {
        "vapour_deficit_kpa": air.find_vapour_deficit_kpa(temperature_c=t, humidity_percent=rh),
        "humidity_deficit_g_m3": air.find_humidity_deficit_g_m3(temperature_c=t, humidity_percent=rh),
    }
    dew_c = air.find_dew_point_c(temperature_c=t, humidity_percent=rh)
    return Answer(dew_c, "C", "dew point", air.SOURCE, also)


def reckon_light_sum(given: Given) -> Answer:
    """Reckon the light sum of a spell of light."""
    ppfd, lux, global_w_m2 = given.find("ppfd-umol-m2-s"), given.find("lux"), given.find("global-w-m2")
    if sum(light_given is not None for light_given in (ppfd, lux, global_w_m2)) != 1:
        raise OptionsDisagree("give one of --ppfd-umol-m2-s, --lux and --global-w-m2")
    if lux is not None:
        ppfd = light.convert_lux_to_ppfd(lux=lux)
    elif global_w_m2 is not None:
        ppfd = light.convert_global_to_ppfd(global_w_m2=global_w_m2)
    assert ppfd is not None, "one of the three was given"
    hours = given.need("hours")
    if "clear-day" in given.words:
        total = light.sum_clear_day_mol_m2(noon_ppfd_umol_m2_s=ppfd, day_length_h=hours)
    else:
        total = light.sum_steady_mol_m2(ppfd_umol_m2_s=ppfd, hours=hours)
    also: dict[str, Detail] = {
        "ppfd_umol_m2_s": ppfd,
        "lux": light.convert_ppfd_to_lux(ppfd_umol_m2_s=ppfd),
        "global_w_m2": light.convert_ppfd_to_global(ppfd_umol_m2_s=ppfd),
        "note": "daylight, within about 10 %; under lamps 25 to 50 % off",
    }
    return Answer(total, "mol/m2", "light sum", light.SOURCE, also)


def reckon_break_even(given: Given) -> Answer:
    """Reckon the outside light below which a drawn curtain pays."""
    curtain = light.Curtain(
        given.need("heat-saved-w-m2-k"), given.need("cover-share"), given.need("curtain-share")
    )
    prices = light.Prices(given.need("heat-price-per-kwh"), given.need("light-price-per-kwh"))
    inside_c, outside_c = given.need("inside-c"), given.need("outside-c")
    value = light.find_break_even_w_m2(curtain, prices, inside_c=inside_c, outside_c=outside_c)
    also: dict[str, Detail] = {
        "difference_c": inside_c - outside_c,
        "per_degree_w_m2": light.find_break_even_w_m2(curtain, prices, inside_c=1.0, outside_c=0.0),
    }
    what = "outside, below which a drawn curtain pays"
    return Answer(value, "W/m2", what, light.BREAK_EVEN_SOURCE, also)


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
        (_need("total-ammonia-mg-l", "total ammonia as nitrogen"), _PH, _WATER_C),
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
        "hours until an unheated tank reaches a temperature",
        "--volume-l 1000 --loss-w-k 40 --start-c 28 --ambient-c 12 --target-c 20",
        "20.07 h",
        (
            _need("volume-l", "water in the tank"),
            _need("loss-w-k", "heat lost per kelvin of difference; fit it from a night's log"),
            _need("start-c", "water temperature now"),
            _need("ambient-c", "temperature of the surroundings"),
            _need("target-c", "water temperature asked for"),
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

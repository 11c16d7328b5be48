"""Calculators of the house: moisture of the air, sums of light, and when a drawn curtain pays."""

from __future__ import annotations

from controller.calculators.answer import Answer, Detail, Given, OptionsDisagree
from controller.core import air, light


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

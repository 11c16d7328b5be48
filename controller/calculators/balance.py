"""Calculators of what comes and goes in a tank: feed, oxygen, heat, nitrate, water, and what the filter bears."""

from __future__ import annotations

from controller.calculators.answer import Answer, Detail, Given, OptionsDisagree
from controller.core.water import ammonia, cooling, feed, horizon, level, nitrate, oxygen
from controller.core.water import filter as biofilter


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
        "never: the surface gives more than is used" if exchange_per_h else "never: nothing uses oxygen",
    )


def reckon_cooling(given: Given) -> Answer:
    """Reckon how long an unheated tank takes to a temperature."""
    volume_l, loss_w_k = given.need("volume-l"), given.need("loss-w-k")
    start_c, ambient_c = given.need("start-c"), given.need("ambient-c")
    target_c, heater_w = given.need("target-c"), given.need("heater-w")
    hours = cooling.find_hours(
        start_c=start_c,
        ambient_c=ambient_c,
        target_c=target_c,
        volume_l=volume_l,
        loss_w_k=loss_w_k,
        heater_w=heater_w,
    )
    balance_c = cooling.find_balance_c(ambient_c=ambient_c, loss_w_k=loss_w_k, heater_w=heater_w)
    also: dict[str, Detail] = {
        "time_constant_h": cooling.find_time_constant_h(volume_l=volume_l, loss_w_k=loss_w_k),
        "first_rate_c_h": cooling.find_first_rate_c_h(
            start_c=start_c, ambient_c=ambient_c, volume_l=volume_l, loss_w_k=loss_w_k, heater_w=heater_w
        ),
        "balance_c": balance_c,
        "holding_start_w": cooling.find_holding_w(hold_c=start_c, ambient_c=ambient_c, loss_w_k=loss_w_k),
        "holding_target_w": cooling.find_holding_w(hold_c=target_c, ambient_c=ambient_c, loss_w_k=loss_w_k),
        "warming_1_c_h_w": cooling.find_warming_w(volume_l=volume_l, rate_c_h=1.0),
    }
    heated = f"with {heater_w:g} W of heating" if heater_w else "unheated"
    nothing = (
        f"never: {heated} the water goes from {start_c:g} towards {balance_c:.4g} C, not to {target_c:g}"
    )
    return Answer(hours, "h", f"until the target, {heated}", cooling.SOURCE, also, nothing)


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
        if loss.litres > level.VOLUME_L.check(volume_l):
            raise OptionsDisagree(
                f"--fall-mm on --surface-m2 is {loss.litres:.4g} L lost, more than the {volume_l:.4g} L "
                "of --volume-l"
            )
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
    if standing.load_percent < 100.0:
        nothing += f" past {biofilter.AMMONIA_MG_L.high:g} mg/L"
    what = "total ammonia when steady, as nitrogen"
    return Answer(standing.steady_mg_l, "mg/L", what, biofilter.SOURCE, also, nothing)

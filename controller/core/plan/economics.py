"""What light, heat and a move of the curtain are worth at this site: the scales the curtain is weighed on.

All money is in one currency, whichever; sums are per square metre of floor.
"""

from __future__ import annotations

from controller.core.plan.part import Part, key


class Economics(Part):
    """The site's economics. Every default is a starting point with its source, or our choice."""

    # Our choice: between 200 to 300, best for lettuce (Horticulturae 2020, 6(1):7), and half of full sun, about
    # 1000, where the photosynthesis of most high-light crops is near its most (Runkle 2008).
    light_ceiling_umol_m2_s: float = key(
        650.0, "Light at the canopy above which it harms.", unit="umol/m2/s", ge=50, le=2500
    )
    # Our choice: three times the worth of useful light.
    light_harm_per_mol: float = key(
        0.035, "Cost of light above the ceiling, per mol of photons.", unit="per mol", ge=0, le=100
    )
    # 1.00 for a kilogram of tomato, a kilogram from 42 MJ of light inside (common practice, no source) at 2.0565
    # umol/J: 86.4 mol.
    light_worth_per_mol: float = key(
        0.0116, "Worth of useful light, per mol of photons.", unit="per mol", ge=0, le=100
    )
    heat_price_per_kwh: float = key(0.067, "Price of heat (our choice).", unit="per kWh", ge=0, le=100)
    # Our choice: 0.05 for the wear of a drive that serves 100 m2.
    move_cost: float = key(
        0.0005, "Cost of one move of the curtain, per m2 of floor.", unit="per m2", gt=0, le=100
    )
    day_set_point_c: float = key(18.0, "Heating set-point by day (our choice).", unit="C", ge=-10, le=40)
    night_set_point_c: float = key(16.0, "Heating set-point at night (our choice).", unit="C", ge=-10, le=40)
    # 142.7 W/m2 at 18 K, single glass, 4 m/s (Vanthoor 2011, thesis, Wageningen, ch. 8, solved).
    open_u_w_m2_k: float = key(
        7.93, "Heat lost with the curtain open, per m2 of floor and degree.", unit="W/m2/K", ge=0, le=50
    )
    # Glass with a film curtain to glass alone is 0.606 at 4 m/s (Mihara & Hayashi 1979, J. Agric. Meteorol.
    # 35:13-19).
    drawn_u_w_m2_k: float = key(
        4.80, "Heat lost with it drawn, per m2 of floor and degree.", unit="W/m2/K", ge=0, le=50
    )
    sun_heat_share: float = key(
        0.4, "Share of the sun below the curtain that replaces heating (our choice).", ge=0, le=1
    )
    # Leafy crops at least 12 (Plants 2024, 13(5):652); lettuce 17, the best of 8 to 22 (Horticulturae 2020, 6(1):7).
    day_light_low_mol_m2: float = key(
        12.0, "Low end of the day's light at the canopy.", unit="mol/m2/d", ge=0, le=100
    )
    day_light_high_mol_m2: float = key(
        17.0, "High end of the day's light at the canopy.", unit="mol/m2/d", ge=0, le=100
    )
    beyond_band_worth: float = key(
        1.0,
        "Share of its worth that light keeps on a day that will reach the high end; all of it up to the low end.",
        ge=0,
        le=1,
    )
    moves_wanted_per_day: float = key(
        6.8, "Moves a day, over the weeks, above which a move grows dearer.", unit="moves/d", ge=2, le=200
    )
    open_above_w_m2: float = key(
        300.0,
        "Outside light above which heat never keeps it drawn, at any price.",
        unit="W/m2",
        ge=50,
        le=1000,
    )
    latest_after_sunrise_min: float = key(
        90.0, "How long after sunrise that begins to hold.", unit="min", ge=0, le=600
    )

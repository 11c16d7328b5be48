"""A curtain: its motor, its rules and their numbers."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.economics import Economics
from controller.core.plan.part import REQUIRED, Part, key
from controller.core.plan.zone import Zone


class Actuator(Enum):
    """What the motor board understands."""

    TARGET = "target"
    RELAYS = "relays"


class LightCeiling(Part):
    """Draw when there is too much light."""

    draw_above_w_m2: float = key(
        600.0, "Outside light above which the curtain is drawn.", unit="W/m2", ge=50, le=1500
    )
    open_below_w_m2: float = key(
        500.0, "Outside light below which it is opened again.", unit="W/m2", ge=20, le=1500
    )
    draw_delay_min: float = key(5.0, "How long it must stay above.", unit="min", ge=0, le=240)
    open_delay_min: float = key(15.0, "How long it must stay below.", unit="min", ge=0, le=240)
    filter_min: float = key(3.0, "Time constant that smooths the light.", unit="min", ge=0, le=60)
    drawn_percent: float = key(100.0, "How far it is drawn for shade.", unit="%", ge=5, le=100)


class HoldHeat(Part):
    """Draw to hold heat, by sun height at night and by light in the day."""

    inside_below_c: float = key(
        20.0, "Heat is wanted while the inside is colder than this.", unit="C", ge=0, le=40
    )
    least_difference_c: float = key(
        5.0, "Least inside-outside difference that makes it worth a move.", unit="C", ge=0, le=40
    )
    night_below_deg: float = key(
        2.0, "Sun height under which it is night for the curtain.", unit="deg", ge=-18, le=20
    )
    low_light_below_w_m2: float = key(
        20.0, "Outside light under which the day is too dark to pay for heat.", unit="W/m2", ge=0, le=300
    )
    open_least_w_m2: float = key(50.0, "Lowest light that opens it again.", unit="W/m2", ge=0, le=500)
    open_most_w_m2: float = key(
        150.0, "Light that opens it again however cold it is.", unit="W/m2", ge=0, le=500
    )
    open_per_degree_w_m2: float = key(
        8.0, "Light asked for, for each degree of inside-outside difference.", unit="W/m2 per C", ge=0, le=50
    )
    draw_delay_min: float = key(10.0, "How long the wish must last before drawing.", unit="min", ge=0, le=240)
    open_delay_min: float = key(5.0, "How long the light must last before opening.", unit="min", ge=0, le=240)
    latest_after_sunrise_min: float = key(
        90.0, "Latest opening after sunrise, whatever the heat says.", unit="min", ge=0, le=600
    )


class StormAndSnow(Part):
    """Where it goes before snow and in a storm, and the sensors that tell of them; people can say so too."""

    # Drawn: wind raises the loss of heat through the cover (Mihara & Hayashi 1979, J. Agric. Meteorol. 35:13-19).
    storm_drawn_percent: float = key(
        100.0, "Where it goes in a storm: 100 drawn for heat, 0 open.", unit="%", ge=0, le=100
    )
    wind_sensor: str = key("", "Sensor of the wind outside, if there is one.")
    storm_above_m_s: float = key(
        15.0, "Wind above which it is a storm (our choice).", unit="m/s", ge=3, le=60
    )
    calm_below_m_s: float = key(12.0, "Wind below which the storm is over.", unit="m/s", ge=1, le=60)
    snow_sensor: str = key("", "Switch that is on in snow, if there is one; it opens then.")
    begin_after_min: float = key(2.0, "How long storm or snow must last to count.", unit="min", ge=0, le=60)
    end_after_min: float = key(30.0, "How long it must be over to be over.", unit="min", ge=0, le=600)


class TooHot(Part):
    """Against heat under it: shade in the light, open in the dark."""

    above_c: float = key(30.0, "Inside air above which it is too hot.", unit="C", ge=10, le=50)
    hysteresis_c: float = key(2.0, "How far it must cool to be over.", unit="C", ge=0.2, le=10)
    delay_min: float = key(5.0, "How long it must last, and be over.", unit="min", ge=0, le=120)
    shade_above_w_m2: float = key(
        300.0, "Outside light above which shade helps; with less it is opened.", unit="W/m2", ge=20, le=1500
    )
    drawn_percent: float = key(
        100.0, "How far it is drawn for shade; 0 for a curtain that holds heat more.", unit="%", ge=0, le=100
    )


class TooCold(Part):
    """Against cold under it: drawn, where it is colder outside."""

    below_c: float = key(8.0, "Inside air below which it is too cold.", unit="C", ge=-10, le=30)
    hysteresis_c: float = key(1.0, "How far it must warm to be over.", unit="C", ge=0.2, le=10)
    delay_min: float = key(5.0, "How long it must last, and be over.", unit="min", ge=0, le=120)
    light_below_w_m2: float = key(
        300.0, "Outside light from which the sun warms better than the curtain.", unit="W/m2", ge=20, le=1500
    )


class HumidityGap(Part):
    """A narrow gap for a time, to let moisture out while it is drawn for heat."""

    humidity_sensor: str = key(REQUIRED, "Sensor of the humidity under it.")
    surface_temperature: str = key(
        "", "Sensor of the surface that gets wet first; the air itself is judged if absent."
    )
    above_percent: float = key(90.0, "Humidity above which a gap is opened.", unit="%", ge=50, le=100)
    dew_margin_below_c: float = key(
        1.0, "Margin to the dew point below which a gap is opened.", unit="C", ge=0, le=5
    )
    delay_min: float = key(5.0, "How long it must be so.", unit="min", ge=0, le=120)
    # Drawn means to 1 %: less than 1.5 % is no gap. 2 % costs 7 of 54 points of the saving, 5 % 18 (Vanthoor 2011).
    gap_percent: float = key(2.0, "Width of the gap.", unit="%", ge=1.5, le=3)
    open_min: float = key(15.0, "How long it stays open.", unit="min", ge=3, le=60)
    pause_min: float = key(45.0, "How long it then stays drawn at least.", unit="min", ge=5, le=600)
    most_per_day: int = key(6, "Gaps a day; each counts as one move.", ge=1, le=50)


class StagedOpening(Part):
    """Opening in small steps, so that the cold air above does not fall on the crop at once."""

    difference_above_c: float = key(
        8.0, "Inside-outside difference above which it opens in steps.", unit="C", ge=0, le=40
    )
    first_step_percent: float = key(4.0, "First step, from drawn.", unit="%", ge=2, le=20)
    first_wait_min: float = key(7.0, "Wait after the first step.", unit="min", ge=0, le=60)
    step_percent: float = key(10.0, "Each further step.", unit="%", ge=5, le=50)
    wait_min: float = key(4.0, "Wait after each further step.", unit="min", ge=0, le=60)


class LightSum(Part):
    """Shade only what would exceed the day's light that the crop wants."""

    crop: str = key("", "Whose band it is, for the reasons.", max_length=30)
    # Leafy crops at least 12 (Plants 2024, 13(5):652); lettuce 17, the best of 8 to 22 (Horticulturae 2020, 6(1):7).
    low_mol_m2: float = key(12.0, "Low end of the day's light at the canopy.", unit="mol/m2/d", ge=1, le=100)
    high_mol_m2: float = key(
        17.0, "High end of the day's light at the canopy.", unit="mol/m2/d", ge=1, le=100
    )
    drawn_percent: float = key(100.0, "How far it is drawn for shade.", unit="%", ge=5, le=100)
    draw_delay_min: float = key(10.0, "How long the wish must last before drawing.", unit="min", ge=0, le=240)
    open_delay_min: float = key(20.0, "How long it must be over before opening.", unit="min", ge=0, le=240)


class Curtain(Part):
    """One curtain with its motor."""

    name: str = key(REQUIRED, "Name, as staff say it.", max_length=30)
    light_sensor: str = key(REQUIRED, "Light sensor that steers it.")
    inside_temperature: str = key("", "Sensor of the air under it; needed to hold heat.")
    outside_temperature: str = key("", "Sensor of the air outside; needed to hold heat.")
    second_light_sensor: str = key(
        "", "Light sensor above or below it, to learn what cover and curtain let through; it steers nothing."
    )
    actuator: Actuator = key(
        Actuator.TARGET, "What the board takes: target (a position) or relays (draw, open)."
    )
    command_topic: str = key(REQUIRED, "Topic the board listens to.", max_length=200)
    report_topic: str = key(REQUIRED, "Topic the board reports on.", max_length=200)
    travel_time_s: float = key(300.0, "Time from open to drawn.", unit="s", ge=5, le=3600)
    running_time_ceiling: float = key(1.2, "Longest run, as a multiple of the travel time.", ge=1.05, le=2)
    has_limit_report: bool = key(True, "Whether the board reports its end switches.")
    dwell_min: float = key(20.0, "Rest between two moves for comfort rules.", unit="min", ge=0, le=240)
    rest_before_reversal_s: float = key(10.0, "Rest before the motor turns round.", unit="s", ge=2, le=600)
    smallest_move_percent: float = key(5.0, "Moves smaller than this are not made.", unit="%", ge=0.5, le=50)
    moves_per_day: int = key(20, "Moves a day for comfort rules; then it stays where it is.", ge=2, le=200)
    duty_s_per_hour: float = key(1200.0, "Longest motor time in any hour.", unit="s", ge=30, le=3600)
    report_within_s: float = key(15.0, "Wait for the board's word that it moves.", unit="s", ge=1, le=300)
    stalled_after_s: float | None = key(
        None,
        "A running motor that has not moved the curtain for this long has jammed; 15 % of the travel time, at "
        "least 20 s, if absent.",
        unit="s",
        ge=5,
        le=3600,
    )
    command_life_s: float = key(
        10.0, "Age at which a command that has not reached the board is dead.", unit="s", ge=1, le=300
    )
    transmission: float = key(0.6, "Share of light the drawn curtain lets through.", gt=0, le=1)
    cover_transmission: float = key(0.65, "Share of light the house's cover lets through.", gt=0, le=1)
    dry_run: bool = key(False, "Only say what it would do.")
    ruling_zone: str = key(
        "", "Zone whose band rules; needed with two or more zones. The others are told of.", max_length=30
    )
    light_ceiling: LightCeiling | None = key(None, "Table of the rule against too much light.")
    hold_heat: HoldHeat | None = key(None, "Table of the rules that hold heat.")
    economics: Economics | None = key(
        None,
        "Table of what light, heat and a move are worth; with it they decide in place of the two tables above "
        "and of the day's light sum.",
    )
    storm_and_snow: StormAndSnow | None = key(None, "Table of where it goes in storm and snow.")
    too_hot: TooHot | None = key(None, "Table of the rule against heat under it.")
    too_cold: TooCold | None = key(None, "Table of the rule against cold under it.")
    humidity_gap: HumidityGap | None = key(None, "Table of the gap that lets moisture out.")
    staged_opening: StagedOpening | None = key(None, "Table of opening in small steps into cold air.")
    light_sum: LightSum | None = key(None, "Table of the day's light that its crop wants.")
    zone: tuple[Zone, ...] = key(
        (),
        "Tables of its zones, where crops want different light; their bands take the place of its one band.",
    )

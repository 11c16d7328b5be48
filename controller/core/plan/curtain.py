"""A curtain: its motor, its rules and their numbers."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.economics import Economics
from controller.core.plan.part import REQUIRED, Part, key


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


class Curtain(Part):
    """One curtain with its motor."""

    name: str = key(REQUIRED, "Name, as staff say it.", max_length=30)
    light_sensor: str = key(REQUIRED, "Light sensor that steers it.")
    inside_temperature: str = key("", "Sensor of the air under it; needed to hold heat.")
    outside_temperature: str = key("", "Sensor of the air outside; needed to hold heat.")
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
    moves_per_day: int = key(14, "Moves a day for comfort rules; then it stays where it is.", ge=2, le=200)
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
    light_ceiling: LightCeiling | None = key(None, "Table of the rule against too much light.")
    hold_heat: HoldHeat | None = key(None, "Table of the rules that hold heat.")
    economics: Economics | None = key(
        None,
        "Table of what light, heat and a move are worth; with it they decide in place of the two tables above.",
    )

"""The reason for a position, in one sentence that a student understands."""

from __future__ import annotations

from controller.core.curtain.drive import Drive
from controller.core.curtain.wishes import Rule, Wish
from controller.core.curtain.zones import tell_clash


def _number(value: float | str | None, unit: str, digits: int = 0) -> str:
    """Write a figure with its unit, or say that it is not known."""
    if not isinstance(value, (int, float)):
        return "unknown"
    return f"{value:.{digits}f} {unit}"


def explain(wish: Wish) -> str:
    """Say why a wish wants what it wants: the rule, the numbers and the limit, and who is worse off by it."""
    text = _explain_light(wish)
    return text if wish.clash is None else f"{text}; {tell_clash(wish.clash)}"


def _explain_light(wish: Wish) -> str:
    """Say what the rule says, and by what the light was multiplied."""
    if wish.light_factor == 1.0:
        return _explain_pace(wish)
    shown = 100.0 / wish.light_factor
    return (
        f"{_explain_pace(wish)}; light counted {wish.light_factor:.2f} times what its sensor reads, as it shows "
        f"{shown:.0f} % of what it used to under clear skies"
    )


def _explain_pace(wish: Wish) -> str:
    """Say whether it opens in steps, or what its rule says."""
    if wish.steps is None:
        return _explain_rule(wish)
    difference, limit, target, wait_min = wish.steps
    when = f" in {wait_min:.0f} min" if wait_min else ""
    return (
        f"opening in small steps, as it is {_number(difference, 'C', 1)} colder outside, limit {limit:g} C: next to "
        f"{target:.0f} % drawn{when}"
    )


def _explain_rule(wish: Wish) -> str:
    """Say what the rule of a wish says."""
    n = wish.numbers
    match wish.rule:
        case Rule.LOCKED_OUT | Rule.FAULT | Rule.MANUAL_HOLD:
            return _explain_hand(wish.rule, n)
        case Rule.STORM_AND_SNOW:
            return _explain_weather(n)
        case Rule.TOO_HOT | Rule.TOO_COLD:
            return _explain_extreme(wish.rule, n)
        case Rule.HUMIDITY_GAP:
            return _explain_gap(n)
        case Rule.LIGHT_SUM:
            return _explain_sum(n)
        case Rule.BALANCE:
            return _explain_balance(n)
        case Rule.LIGHT_CEILING:
            return _explain_ceiling(n)
        case Rule.HOLD_HEAT_NIGHT | Rule.HOLD_HEAT_DARK:
            return _explain_heat(wish.rule, n)
        case Rule.NOTHING_KNOWN:
            return "neither light nor sun is known: it stays where it is"
        case Rule.SETTLING:
            return f"it has just begun to look and stays where it is for another {_number(n[0], 'min')}"
        case Rule.OPEN:
            return f"nothing asks for it to be drawn: light {_number(n[0], 'W/m2')}, sun at {_number(n[1], 'deg', 1)}"


def _explain_hand(rule: Rule, n: tuple[float | str | None, ...]) -> str:
    """Say whose hand it waits for, or follows."""
    if rule is Rule.LOCKED_OUT:
        return f"the selector at the motor stands on {n[0]}: only the hand there moves it"
    if rule is Rule.FAULT:
        return f"stopped until a person has looked: {n[0]}"
    return f"{n[0]} wants it so, for another {_number(n[1], 'min')}"


def _explain_ceiling(n: tuple[float | str | None, ...]) -> str:
    """Say how much light there is, for how long, and the limit."""
    whose = " (reckoned from the clear sky, as no light sensor can be trusted)" if n[3] else ""
    light, limit, lasted = _number(n[0], "W/m2"), _number(n[1], "W/m2"), _number(n[2], "min")
    if isinstance(n[0], float) and isinstance(n[1], float) and n[0] > n[1] and n[2]:
        return f"too much light: {light} outside{whose}, above the limit of {limit} for {lasted}"
    return f"light not low enough for long enough to open: {light} outside{whose}, limit {limit}"


def _explain_heat(rule: Rule, n: tuple[float | str | None, ...]) -> str:
    """Say why heat is held, and which light opens."""
    if rule is Rule.HOLD_HEAT_NIGHT:
        begins = f"night, sun at {_number(n[0], 'deg', 1)}, and heat is wanted"
    else:
        begins = f"only {_number(n[0], 'W/m2')} outside and heat is wanted"
    return (
        f"{begins}: inside {_number(n[1], 'C', 1)}, outside {_number(n[2], 'C', 1)}; "
        f"opens at {_number(n[3], 'W/m2')}"
    )


def _explain_extreme(rule: Rule, n: tuple[float | str | None, ...]) -> str:
    """Say how hot or cold it is, the limit, and when it is over."""
    inside, limit, over = _number(n[0], "C", 1), _number(n[1], "C", 1), _number(n[2], "C", 1)
    if rule is Rule.TOO_COLD:
        return f"too cold: inside {inside}, limit {limit}, over above {over}, outside {_number(n[3], 'C', 1)}"
    light, helps = _number(n[3], "W/m2"), _number(n[4], "W/m2")
    return (
        f"too hot: inside {inside}, limit {limit}, over below {over}; {light} outside, shade helps above {helps}, so "
        f"it is {'shaded' if n[5] else 'opened'}"
    )


def _explain_sum(n: tuple[float | str | None, ...]) -> str:
    """Say what the day would bring, what the crop wants, and which light is too much."""
    expected, light, limit = _number(n[0], "mol/m2", 1), _number(n[2], "W/m2"), _number(n[3], "W/m2")
    high = f"the high end{f' of {n[4]}' if n[4] else ''}, {_number(n[1], 'mol/m2', 1)}"
    if n[3] is None:
        return f"shaded for the day's light, of which {expected} are to be expected now, not above {high}: opens soon"
    return f"the day would bring {expected} to the canopy, above {high}: shaded above {limit}, now {light} outside"


def _explain_weather(n: tuple[float | str | None, ...]) -> str:
    """Say who says storm or snow, and until when it counts."""
    weather, person, left_h, wind, limit = n
    if person:
        return f"{person} says {weather}, for another {_number(left_h, 'h', 1)}"
    if wind is None and limit is None:
        return f"the sensor says {weather}"
    return f"{weather}: wind {_number(wind, 'm/s', 1)}, over below {_number(limit, 'm/s', 1)}"


def _explain_gap(n: tuple[float | str | None, ...]) -> str:
    """Say how moist it is, and how long the gap has left."""
    humidity, most, margin, least, gap, left_min = n
    seen = (
        f"humidity {_number(humidity, '%')}, limit {_number(most, '%')}, margin to the dew point "
        f"{_number(margin, 'C', 1)}, limit {_number(least, 'C', 1)}"
    )
    if isinstance(left_min, float) and left_min > 0.0:
        width = _number(gap, "%", 1)
        return f"moist air under a curtain drawn for heat: a gap of {width} for {left_min:.0f} min, {seen}"
    return f"the gap has had its time and is drawn again: {seen}"


def _explain_balance(n: tuple[float | str | None, ...]) -> str:
    """Say what the weighing of the last minute came to, in prices of a move."""
    (
        best,
        regret,
        gain,
        light,
        canopy,
        ceiling,
        outside_c,
        open_above,
        reckoned,
        horizon_min,
        enough,
        least_gain,
    ) = n
    ahead = _number(horizon_min, "min")
    whose = " (reckoned from the clear sky, as no light sensor can be trusted)" if reckoned else ""
    seen = (
        f"{_number(light, 'W/m2')} outside{whose}, {_number(canopy, 'umol/m2/s')} at an open canopy, "
        f"ceiling {_number(ceiling, 'umol/m2/s')}, air outside {_number(outside_c, 'C', 1)}"
    )
    if open_above is not None:
        return f"useful light above the limit of {_number(open_above, 'W/m2')}, so no heat keeps it drawn: {seen}"
    if not isinstance(best, float) or not isinstance(regret, float) or not isinstance(gain, float):
        limit = _number(least_gain, "times the price of a move", 1)
        return f"no other position would gain the limit of {limit} in the next {ahead}: {seen}"
    return (
        f"against {best:.0f} % drawn, staying has cost {regret:.1f} times the price of a move and would cost "
        f"{gain:.1f} times in the next {ahead}, limit {_number(enough, 'for the product', 2)}: {seen}"
    )


def describe_position(drive: Drive) -> str:
    """Say where the curtain is, in words."""
    if drive.drawn_percent is None:
        return f"position unknown ({drive.doubt})" if drive.doubt else "position unknown"
    if drive.drawn_percent <= 1.0:
        return "open"
    if drive.drawn_percent >= 99.0:
        return "drawn"
    return f"{drive.drawn_percent:.0f} % drawn"

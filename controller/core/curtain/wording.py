"""The reason for a position, in one sentence that a student understands."""

from __future__ import annotations

from controller.core.curtain.balance import ENOUGH
from controller.core.curtain.drive import Drive
from controller.core.curtain.wishes import Rule, Wish


def _number(value: float | str | None, unit: str, digits: int = 0) -> str:
    """Write a figure with its unit, or say that it is not known."""
    if not isinstance(value, (int, float)):
        return "unknown"
    return f"{value:.{digits}f} {unit}"


def explain(wish: Wish) -> str:
    """Say why a wish wants what it wants: the rule, the numbers and the limit."""
    n = wish.numbers
    match wish.rule:
        case Rule.LOCKED_OUT:
            return f"the selector at the motor stands on {n[0]}: only the hand there moves it"
        case Rule.FAULT:
            return f"stopped until a person has looked: {n[0]}"
        case Rule.MANUAL_HOLD:
            return f"{n[0]} wants it so, for another {_number(n[1], 'min')}"
        case Rule.BALANCE:
            return _explain_balance(n)
        case Rule.LIGHT_CEILING:
            whose = " (reckoned from the clear sky, as no light sensor can be trusted)" if n[3] else ""
            light, limit, lasted = _number(n[0], "W/m2"), _number(n[1], "W/m2"), _number(n[2], "min")
            if isinstance(n[0], float) and isinstance(n[1], float) and n[0] > n[1] and n[2]:
                return f"too much light: {light} outside{whose}, above the limit of {limit} for {lasted}"
            return f"light not low enough for long enough to open: {light} outside{whose}, limit {limit}"
        case Rule.HOLD_HEAT_NIGHT:
            return (
                f"night, sun at {_number(n[0], 'deg', 1)}, and heat is wanted: inside {_number(n[1], 'C', 1)}, "
                f"outside {_number(n[2], 'C', 1)}; opens at {_number(n[3], 'W/m2')}"
            )
        case Rule.HOLD_HEAT_DARK:
            return (
                f"only {_number(n[0], 'W/m2')} outside and heat is wanted: inside {_number(n[1], 'C', 1)}, "
                f"outside {_number(n[2], 'C', 1)}; opens at {_number(n[3], 'W/m2')}"
            )
        case Rule.NOTHING_KNOWN:
            return "neither light nor sun is known: it stays where it is"
        case Rule.SETTLING:
            return f"it has just begun to look and stays where it is for another {_number(n[0], 'min')}"
        case Rule.OPEN:
            return f"nothing asks for it to be drawn: light {_number(n[0], 'W/m2')}, sun at {_number(n[1], 'deg', 1)}"


def _explain_balance(n: tuple[float | str | None, ...]) -> str:
    """Say what the weighing of the last minute came to, in prices of a move."""
    best, regret, gain, light, canopy, ceiling, outside_c, open_above, reckoned, horizon_min = n
    ahead = _number(horizon_min, "min")
    whose = " (reckoned from the clear sky, as no light sensor can be trusted)" if reckoned else ""
    seen = (
        f"{_number(light, 'W/m2')} outside{whose}, {_number(canopy, 'umol/m2/s')} at an open canopy, "
        f"ceiling {_number(ceiling, 'umol/m2/s')}, air outside {_number(outside_c, 'C', 1)}"
    )
    if open_above is not None:
        return f"useful light above the limit of {_number(open_above, 'W/m2')}, so no heat keeps it drawn: {seen}"
    if not isinstance(best, float) or not isinstance(regret, float) or not isinstance(gain, float):
        return f"no other position would gain the price of a move, the limit, in the next {ahead}: {seen}"
    return (
        f"against {best:.0f} % drawn, staying has cost {regret:.1f} times the price of a move and would cost "
        f"{gain:.1f} times in the next {ahead}, limit {ENOUGH:.1f} for the product: {seen}"
    )


def describe_position(drive: Drive) -> str:
    """Say where the curtain is, in words."""
    if drive.drawn_percent is None:
        return "position unknown"
    if drive.drawn_percent <= 1.0:
        return "open"
    if drive.drawn_percent >= 99.0:
        return "drawn"
    return f"{drive.drawn_percent:.0f} % drawn"

"""What is looked at before a person may silence an alarm or reset it: who it is, for how long, and what there is to do.

The socket says which account asks, and accounts are often shared; so a name from the list of people is needed,
as it is for an answer.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.wording import span_words
from controller.core.plan.alarm import Response
from controller.core.silence import granted_min
from controller.core.units import MINUTE_MS, HouseMs

NAME_LETTERS_MOST = 40
"""So much of an unknown name is said back."""


class SilenceRefused(ValueError):  # noqa: N818 - it is read aloud to the person who asked
    """A person's wish is refused; the text says why, and what would be taken."""


def name_person(person: str, known: Iterable[str]) -> str:
    """Return the name of who asks, if it is among the people `known`.

    Raises
    ------
    SilenceRefused
        It is nobody's name, such as that of an account.
    """
    name, people = person.strip(), tuple(known)
    if name not in people:
        said = name[:NAME_LETTERS_MOST] or "nobody"
        text = f"{said} is not among the people of the settings: {', '.join(people)}; say who you are with --person"
        raise SilenceRefused(text)
    return name


def check_shelf(name: str, alarm: Alarm, response: Response, *, asked_min: float, now: HouseMs) -> None:
    """Refuse a shelf for no time, and one that lets an alarm be silent for longer than it is shelved already.

    A shelf that could be renewed before its end would have no end. Once it has ended, and the alarm has sounded if
    it is still wrong, it may be shelved anew. `asked_min` in [min].

    Raises
    ------
    SilenceRefused
        With what is wrong.
    """
    if not isfinite(asked_min) or asked_min <= 0:
        raise SilenceRefused(f"an alarm is shelved for more than 0 minutes, not for {asked_min:g}")
    left_min = (alarm.shelved_until_ms - now) / MINUTE_MS
    if alarm.phase is Phase.SHELVED and granted_min(response, asked_min) > left_min:
        text = (
            f"{name} is shelved for {span_words(left_min)} more, and a shelf cannot be made longer; when it has ended "
            "the alarm may be shelved anew"
        )
        raise SilenceRefused(text)


def check_reset(name: str, alarm: Alarm) -> None:
    """Refuse a reset where there is nothing latched, or nobody has answered yet.

    Raises
    ------
    SilenceRefused
        With what is to be done instead.
    """
    if alarm.phase is Phase.LATCHED_UNACKNOWLEDGED:
        raise SilenceRefused(
            f"{name} is latched and nobody has answered it; acknowledge it first, then reset it"
        )
    if alarm.phase is not Phase.LATCHED_ACKNOWLEDGED:
        raise SilenceRefused(f"{name} is not latched (it is {alarm.phase.value}); there is nothing to reset")

"""What can be broken between an alarm and a person, one thing at a time, for as long as an incident lasts."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from controller.core.units import HOUR_MS, MINUTE_MS
from simulators.faults.catalogue import CATALOGUE
from simulators.faults.kind import Cast
from simulators.memory import Awaits, Doom, Moment

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

WAYS: Final = ("email", "text")
"""The ways of the demo site."""

Break = Callable[["Clockwork", Cast], None]


def _way(way: str, key: str, value: object) -> Break:
    """Make a breakage of one figure of a whole way."""
    return lambda run, _: setattr(run.staff.path(way), key, value)


def _down(way: str) -> Break:
    return lambda run, _: setattr(
        run.staff.path(way), "down_ms", ((run.now_utc_ms, run.now_utc_ms + 9 * HOUR_MS),)
    )


def _hang(way: str) -> Break:
    def begin(run: Clockwork, cast: Cast) -> None:
        run.staff.path(way).holds_when_down = True
        _down(way)(run, cast)

    return begin


def _person(key: str) -> Break:
    """Make a breakage of one person: a flat battery, or an automatic reply."""

    def begin(run: Clockwork, cast: Cast) -> None:
        person = cast.dice.choice(sorted(run.staff.people))
        setattr(run.staff.people[person], key, ((run.now_utc_ms, run.now_utc_ms + 9 * HOUR_MS),))

    return begin


def _dead_address(run: Clockwork, cast: Cast) -> None:
    person = cast.dice.choice(run.plan.person)
    for way in WAYS:
        run.staff.path(way).dead_addresses |= {person.email, person.phone} - {""}


def _deaf(run: Clockwork, cast: Cast) -> None:
    """Let one person never answer."""
    run.staff.people[cast.dice.choice(sorted(run.staff.people))].answers = 0.0


def _power(moment: Moment) -> Break:
    """Make a loss of power in the turn of the next message, for up to six minutes."""

    def begin(run: Clockwork, cast: Cast) -> None:
        run.memory.doom = Doom(moment, Awaits.MESSAGE, cast.dice.randrange(5_000, 6 * MINUTE_MS))

    return begin


def _twice(run: Clockwork, _: Cast) -> None:
    for way in WAYS:
        run.staff.path(way).doubled = 1.0


def _disk(run: Clockwork, cast: Cast) -> None:
    del run
    CATALOGUE["disk full"].begin(cast)


BROKEN: Final[dict[str, Break]] = {
    "mail server down": _down("email"),
    "modem down": _down("text"),
    "mail comes hours late": _hang("email"),
    "texts come hours late": _hang("text"),
    "every mail vanishes": _way("email", "lost", 1.0),
    "every text vanishes": _way("text", "lost", 1.0),
    "mail server busy": _way("email", "busy", 0.9),
    "modem busy": _way("text", "busy", 0.9),
    "everything comes twice": _twice,
    "one person's addresses dead": _dead_address,
    "one phone flat": _person("flat_ms"),
    "one person out of office": _person("away_ms"),
    "one person never answers": _deaf,
    "power lost before a call is remembered": _power(Moment.BEFORE_COMMIT),
    "power lost before a call is sent": _power(Moment.AFTER_COMMIT),
    "power lost while calls are sent": _power(Moment.WHILE_ACTING),
    "disk full": _disk,
}
"""The one thing that is broken, by name."""

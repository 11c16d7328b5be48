"""The keeper's morning at the page: notes are read and answered, and every third day test kits are entered.

A note calls nobody, so that it stands until somebody looks; what no sensor shows is read by eye and entered by hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from random import Random
from typing import TYPE_CHECKING, Final

from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response
from controller.core.units import Basis, Quantity
from controller.core.vocabulary import AnswerGiven, ValueEntered
from simulators.chance import stream

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

WAITING: Final = frozenset({Phase.UNACKNOWLEDGED, Phase.RETURNED})
DAY_MS: Final = 86_400_000
ROUND_MS: Final = (8 * 60 + 30) * 60_000
"""When the keeper comes to the page, into the UTC day. [ms]"""

TEST_EVERY_DAYS: Final = 3
KIT_ERROR: Final = 0.15
"""Standard deviation of a colour kit read by eye, as a share of the value (20 to 30 % at worst, from memory)."""


def plan_rounds(run: Clockwork) -> None:
    """Put the keeper's mornings on a run's agenda; the first one tests the water."""
    kits = stream(run.seed, "kits")
    days = count()

    def come() -> None:
        day = next(days)
        if run.world.keeper_comes:
            if day % TEST_EVERY_DAYS == 0:
                for event in use_kits(run, kits):
                    run.turn(event)
            for code in read_notes(run):
                run.turn(AnswerGiven(code, run.plan.person[0].name, "page"))
        run.later(run.now_utc_ms + DAY_MS, come)

    run.later(run.start_utc_ms + (ROUND_MS - run.start_utc_ms) % DAY_MS, come)


def read_notes(run: Clockwork) -> tuple[str, ...]:
    """Read the codes of the notes that wait for an answer, as the page shows them."""
    notes = {entry.name for entry in run.entries if entry.response is Response.NOTE}
    return tuple(
        alarm.code
        for name, alarm in run.engine.state.durable.alarms.items()
        if name in notes and alarm.phase in WAITING and alarm.code
    )


def use_kits(run: Clockwork, kits: Random) -> Iterator[ValueEntered]:
    """Let the keeper test both tanks with colour kits, as far as the settings know of them."""
    entered = {sensor.name for sensor in run.plan.sensor if sensor.entered}
    for number, tank in enumerate(run.world.tanks, start=1):
        for quantity, true, basis in (
            (Quantity.TOTAL_AMMONIA, tank.tan_mg_l, Basis.NITROGEN),
            (Quantity.ALKALINITY, tank.alkalinity_mg_l, Basis.ITSELF),
        ):
            value = max(true * (1.0 + kits.gauss(0.0, KIT_ERROR)), 0.0)
            name = f"tank {number} {quantity.value}"
            if name in entered:
                yield ValueEntered(name, round(value, 3), "keeper", basis)

"""What is remembered of the chain from an alarm to a person: proofs, test calls, how often people were called.

A path is one person by one way. It is proven by a delivery report, or by an answer with the code of a test
call that went that way alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from controller.core.signals.sense import NEVER
from controller.core.units import HOUR_MS, MINUTE_MS, HouseMs

FLOOD_WINDOW_MS: Final = 10 * MINUTE_MS
"""More than so many alarms within this is a flood (ten minutes: EEMUA 191). [ms]"""

FLOOD_ENDS: Final = 5
"""A flood is over when fewer alarms than this came within the window (five: EEMUA 191)."""

CALLS_WINDOW_MS: Final = 12 * HOUR_MS
"""Over how long the calls of a person are counted: one stretch of duty (our choice). [ms]"""

ONE_CALL_MS: Final = 30 * MINUTE_MS
"""Alarms that follow within this are one call: the person is up already (our choice). [ms]"""

TESTS_MOST: Final = 60
"""Test calls waiting at once: ten people by six ways."""


@dataclass(frozen=True, slots=True)
class TestCall:
    """A test call that waits for its answer until `due_ms`, and then is late; it was `reminded` so many times."""

    __test__ = False  # its name makes pytest look for tests in it

    person: str
    way: str
    code: str
    sent_ms: HouseMs
    due_ms: HouseMs
    reminded: int = 0

    def reminder_ms(self, times: int) -> HouseMs:
        """Return when it is sent again, if that is done so many times, evenly spread [ms]; NEVER when no more."""
        if self.reminded >= times:
            return NEVER
        return self.sent_ms + (self.due_ms - self.sent_ms) * (self.reminded + 1) // (times + 1)


@dataclass(frozen=True, slots=True)
class DayTally:
    """What happened since the last daily digest."""

    emergencies: int = 0
    today: int = 0
    notes: int = 0
    messages: int = 0
    answers: int = 0


@dataclass(frozen=True, slots=True)
class Chain:
    """What is remembered. `proven_ms` is by path, `calls_ms` by person, `raised_ms` of the last ten minutes.

    `flood_told_ms` is when the flood was last told of, -1 if it was not yet.
    `test_day` and `digest_day` are the local days on which these were last done, in days since 1970-01-01.
    """

    tests: tuple[TestCall, ...] = ()
    unreached: tuple[str, ...] = ()
    proven_ms: Mapping[str, HouseMs] = field(default_factory=dict)
    calls_ms: Mapping[str, tuple[HouseMs, ...]] = field(default_factory=dict)
    raised_ms: tuple[HouseMs, ...] = ()
    flood: bool = False
    flood_told_ms: HouseMs = -1
    test_day: int = -1
    digest_day: int = -1
    tally: DayTally = DayTally()


def path_name(person: str, way: str) -> str:
    """Return the name of the path to a person by a way."""
    return f"{person} by {way}"


def count_raise(chain: Chain, now: HouseMs, flood_alarms: int) -> Chain:
    """Take note that an alarm has begun to sound; a flood begins when there were too many."""
    raised = (*(at for at in chain.raised_ms if now - at < FLOOD_WINDOW_MS), now)[-2 * flood_alarms - 10 :]
    return replace(chain, raised_ms=raised, flood=chain.flood or len(raised) > flood_alarms)


def let_flood_end(chain: Chain, now: HouseMs) -> Chain:
    """End a flood when few alarms have come for ten minutes."""
    if not chain.flood:
        return chain
    raised = tuple(at for at in chain.raised_ms if now - at < FLOOD_WINDOW_MS)
    return (
        replace(chain, raised_ms=raised, flood=False, flood_told_ms=-1) if len(raised) < FLOOD_ENDS else chain
    )


def flood_ends_ms(chain: Chain) -> HouseMs:
    """Return when a flood is over if no alarm comes any more [ms]."""
    rank = max(len(chain.raised_ms) - FLOOD_ENDS, 0)
    return chain.raised_ms[rank] + FLOOD_WINDOW_MS if chain.raised_ms else 0


def count_call(chain: Chain, person: str, now: HouseMs) -> Chain:
    """Count that a person is called, unless it belongs to the call they were just given."""
    calls = tuple(at for at in chain.calls_ms.get(person, ()) if now - at < CALLS_WINDOW_MS)
    if not calls or now - calls[-1] >= ONE_CALL_MS:
        calls = (*calls, now)
    return replace(chain, calls_ms={**chain.calls_ms, person: calls})


def is_tired(chain: Chain, person: str, now: HouseMs, calls_most: int) -> bool:
    """Tell whether a person has been called so often that somebody else should be called first."""
    calls = [at for at in chain.calls_ms.get(person, ()) if now - at < CALLS_WINDOW_MS]
    if calls and now - calls[-1] < ONE_CALL_MS:
        return False  # they are up already
    return calls_most > 0 and len(calls) >= calls_most


def relieve(
    chain: Chain, people: Sequence[str], everybody: Iterable[str], now: HouseMs, calls_most: int
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Replace those who are tired by the next who are not; return who is called, and who for whom.

    Where nobody rested is left, the tired are called: sleep is worth less than fish.
    """
    rested = [
        person
        for person in everybody
        if person not in people and not is_tired(chain, person, now, calls_most)
    ]
    called: list[str] = []
    swaps: list[tuple[str, str]] = []
    for person in people:
        if is_tired(chain, person, now, calls_most) and rested:
            swaps.append((person, rested[0]))
            called.append(rested.pop(0))
        else:
            called.append(person)
    return tuple(dict.fromkeys(called)), tuple(swaps)


def prove(chain: Chain, person: str, way: str, now: HouseMs) -> Chain:
    """Take note that a path works."""
    return replace(chain, proven_ms={**chain.proven_ms, path_name(person, way): now})


def expect_paths(chain: Chain, paths: Iterable[str], now: HouseMs) -> Chain:
    """Begin to count for paths that are new; forget those that are gone."""
    wanted = tuple(paths)
    if chain.proven_ms.keys() == set(wanted):
        return chain
    return replace(chain, proven_ms={path: chain.proven_ms.get(path, now) for path in wanted})


def take_test_answer(chain: Chain, code: str, now: HouseMs) -> tuple[Chain, TestCall | None]:
    """Take the answer to a test call: its path is proven and the person is reached; late answers count too."""
    test = next((test for test in chain.tests if test.code == code), None)
    if test is None:
        return chain, None
    chain = prove(chain, test.person, test.way, now)
    return replace(
        chain,
        tests=tuple(other for other in chain.tests if other is not test),
        unreached=tuple(person for person in chain.unreached if person != test.person),
    ), test


def mark_unreached(chain: Chain, now: HouseMs) -> Chain:
    """Name those none of whose test calls was answered in time. The calls stay open: late is better than never."""
    late = {test.person for test in chain.tests if test.due_ms <= now}
    sent = {person: min(test.sent_ms for test in chain.tests if test.person == person) for person in late}
    missed = tuple(
        person
        for person in dict.fromkeys(test.person for test in chain.tests)
        if person in late
        and person not in chain.unreached
        and not any(
            at > sent[person] for path, at in chain.proven_ms.items() if path.startswith(f"{person} by ")
        )
    )
    return replace(chain, unreached=(*chain.unreached, *missed)) if missed else chain

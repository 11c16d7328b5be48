"""One alarm's memory, and whether its condition is true."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from hashlib import blake2s
from typing import Final

from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.signals.sense import NEVER, Sense
from controller.core.units import HouseMs, UtcMs
from controller.core.vocabulary import Trust


class Truth(Enum):
    """Whether a condition is true. Unknown is never normal: it neither raises nor clears."""

    TRUE = "true"
    FALSE = "false"
    BETWEEN = "between limit and deadband"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Alarm:
    """What is remembered of one entry of the master alarm list. Times on the house axis unless named utc.

    `true_ms` is since when the condition has been true (or None), `over_ms` since when it has been over.
    `rung` is the next step of the call list, counted from `ladder_ms`; `turn_of_list` how often the list has
    come to its end; `failures` how many messages in a row the world refused; `called_ms` when somebody was
    last called, `reached_ms` the last call that reached somebody. `lapsed_by` had it, and it sounded
    again; `out_by` took it out of service, with what stands in its place in `replacement`. `told` names who was
    called for this occurrence, `heard` the paths by which a call was taken, `missed` those by which none was.
    """

    phase: Phase = Phase.NORMAL
    occurrence: int = 0
    code: str = ""
    true_ms: HouseMs | None = None
    over_ms: HouseMs | None = None
    raised_ms: HouseMs = 0
    raised_utc_ms: UtcMs = 0
    detail: str = ""
    answered_by: str = ""
    answered_utc_ms: UtcMs = 0
    again_ms: HouseMs = NEVER
    shelved_until_ms: HouseMs = NEVER
    rung: int = 0
    turn_of_list: int = 0
    ladder_ms: HouseMs = 0
    failures: int = 0
    called_ms: HouseMs = -1
    reached_ms: HouseMs = -1
    lapsed_by: str = ""
    out_by: str = ""
    replacement: str = ""
    next_call_ms: HouseMs = NEVER
    told: tuple[str, ...] = ()
    heard: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()
    due_ms: HouseMs = NEVER


CODES: Final = 9000
"""Codes of four digits that do not begin with 0."""

FEISTEL_ROUNDS: Final = 8
"""Four are enough for a permutation that nobody can tell from chance by asking; eight for so small a one."""

QUIET: Final = Alarm()
"""An alarm that has never sounded."""


def judge_condition(entry: AlarmEntry, sense: Sense | None, trouble: str | None) -> Truth:
    """Judge whether the entry's condition is true now.

    High and low are true past the limit and over only past limit and deadband. A value that cannot be
    trusted never makes a limit over; that the sensor cannot be trusted is for the entries of kind missing and
    doubtful to say.
    """
    kind = entry.kind
    if kind is Kind.FAULT:
        return Truth.FALSE if trouble is None else Truth.TRUE
    if sense is None:
        return Truth.UNKNOWN
    trust = sense.trust
    if kind is Kind.MISSING:
        if trust is Trust.MISSING and sense.stale_ms < NEVER:
            # It has not spoken since the start, and its time to speak has not run out.
            return Truth.UNKNOWN
        return Truth.TRUE if trust is Trust.STALE or trust is Trust.MISSING else Truth.FALSE
    if kind is Kind.DOUBTFUL:
        if trust is Trust.DOUBTFUL:
            return Truth.TRUE
        return Truth.FALSE if trust is Trust.GOOD else Truth.UNKNOWN
    if sense.value is None or trust is Trust.STALE or trust is Trust.MISSING:
        return Truth.UNKNOWN
    truth = _judge_value(entry, sense.value, sense.rate_per_min)
    if trust is Trust.GOOD:
        return truth
    # A doubted value that could be true may raise an alarm, as the worse of two readings would; it never ends
    # one. What lies outside the possible has no last value and raises nothing.
    worse = truth is Truth.TRUE and kind is not Kind.RATE and sense.last is not None
    return Truth.TRUE if worse else Truth.UNKNOWN


def _judge_value(entry: AlarmEntry, value: float, rate_per_min: float) -> Truth:
    """Judge a value against the entry's switch position or limit."""
    if entry.kind is Kind.SWITCH:
        return Truth.TRUE if (value >= 0.5) is (entry.alarm_when == "on") else Truth.FALSE
    limit = entry.limit
    if limit is None:
        return Truth.UNKNOWN
    measured = rate_per_min if entry.kind is Kind.RATE else value
    rising = entry.kind is Kind.HIGH or (entry.kind is Kind.RATE and limit > 0)
    past = measured - limit if rising else limit - measured
    if past > 0.0:
        return Truth.TRUE
    return Truth.BETWEEN if past > -entry.deadband else Truth.FALSE


def make_code(occurrence: int, salt: str = "") -> str:
    """Make the four-digit code of an occurrence.

    No code comes twice in 9000 alarms. With a secret `salt` nobody who has seen codes can tell the next: the
    occurrence goes through a Feistel network over 14 bits keyed by it (a permutation whatever the key; Luby and
    Rackoff 1988, SIAM J. Comput. 17:373-386), again and again until it falls among the codes (cycle walking;
    Black and Rogaway 2002, CT-RSA, LNCS 2271:114-130). Without one a prime that does not divide 9000 permutes
    them, so that a neighbour's code is no slip of a finger away.
    """
    place = occurrence % CODES
    if not salt:
        return str(1000 + (place * 7919 + 3210) % CODES)
    key = salt.encode("utf-8")[:64]
    place = _shuffle(place, key)
    while place >= CODES:
        place = _shuffle(place, key)
    return str(1000 + place)


def _shuffle(place: int, key: bytes) -> int:
    """Permute the numbers of 14 bits by a key."""
    left, right = place >> 7, place & 0x7F
    for turn in range(FEISTEL_ROUNDS):
        mixed = blake2s(bytes((turn, right)), key=key[:32], salt=key[32:40], digest_size=1).digest()[0]
        left, right = right, left ^ (mixed & 0x7F)
    return left << 7 | right

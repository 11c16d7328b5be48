"""The life of an alarm, as one total table.

States and transitions follow ANSI/ISA-18.2 and IEC 62682: active and answered are two independent facts;
an alarm that has returned to normal still waits for its answer; shelved, suppressed and out-of-service
alarms go on being judged, only their sounding stops; a latched alarm leaves by a reset alone.
"""

from __future__ import annotations

from enum import Enum
from typing import Final


class Phase(Enum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Trigger(Enum):
    """What can happen to it."""

    RAISE = "has lasted long enough to sound"
    RETURN = "has been over for long enough"
    RETURN_LATCHED = "is over, and its entry latches"
    ACKNOWLEDGE = "a named person answers"
    SOUND_AGAIN = "was answered and is still wrong"
    RESET = "a named person resets the latch"
    SHELVE = "a named person shelves it"
    SUPPRESS = "its cause is already sounding"
    TAKE_OUT = "taken out of service by two persons"
    RELEASE_NORMAL = "shelf, suppression or service ends, condition over"
    RELEASE_ACTIVE = "shelf, suppression or service ends, condition still true"


_N, _U, _A, _R = Phase.NORMAL, Phase.UNACKNOWLEDGED, Phase.ACKNOWLEDGED, Phase.RETURNED
_LU, _LA = Phase.LATCHED_UNACKNOWLEDGED, Phase.LATCHED_ACKNOWLEDGED
_SH, _SU, _OS = Phase.SHELVED, Phase.SUPPRESSED, Phase.OUT_OF_SERVICE
_COLUMNS = tuple(Trigger)


def _row(*cells: Phase) -> dict[Trigger, Phase]:
    """Make a row from its cells, in the order of `Trigger`."""
    return dict(zip(_COLUMNS, cells, strict=True))


TABLE: Final[dict[Phase, dict[Trigger, Phase]]] = {
    #          RAISE RETURN R_LATCH ACK AGAIN RESET SHELVE SUPPR OUT  REL_N REL_A
    _N: _row(_U, _N, _N, _N, _N, _N, _SH, _SU, _OS, _N, _N),
    _U: _row(_U, _R, _LU, _A, _U, _U, _SH, _SU, _OS, _U, _U),
    _A: _row(_A, _N, _LA, _A, _U, _A, _SH, _SU, _OS, _A, _A),
    # True again before anyone answered: the same occurrence goes on.
    _R: _row(_U, _R, _R, _N, _R, _R, _SH, _SU, _OS, _R, _R),
    # A latch is left by a reset alone: no shelf and no cause may let it slip away.
    _LU: _row(_U, _LU, _LU, _LA, _LU, _LU, _LU, _LU, _OS, _LU, _LU),
    # True again after the answer is a new occurrence: the old answer does not count for it.
    _LA: _row(_U, _LA, _LA, _LA, _LA, _N, _LA, _LA, _OS, _LA, _LA),
    # While silenced, nothing but the end of the silence leads out.
    _SH: _row(_SH, _SH, _SH, _SH, _SH, _SH, _SH, _SH, _OS, _N, _U),
    _SU: _row(_SU, _SU, _SU, _SU, _SU, _SU, _SH, _SU, _OS, _N, _U),
    _OS: _row(_OS, _OS, _OS, _OS, _OS, _OS, _OS, _OS, _OS, _N, _U),
}

assert set(TABLE) == set(Phase), "every phase has a row"

SOUNDING: Final = frozenset({_U, _R, _LU})
"""The phases in which people are being called."""

PAST: Final = frozenset({_R, _LU})
"""The phases in which the condition is over and nobody has answered."""

ACTIVE: Final = frozenset({_U, _A})
"""The phases in which the condition is true."""

SILENCED: Final = frozenset({_SH, _SU, _OS})
"""The phases in which nobody is called, whatever the condition."""


def follow(phase: Phase, trigger: Trigger) -> Phase:
    """Follow the table: the one place where the phase of an alarm changes."""
    return TABLE[phase][trigger]


def print_table() -> str:
    """Write the table as Markdown, for the documentation."""
    head = "| from \\ on | " + " | ".join(trigger.value for trigger in Trigger) + " |"
    rule = "|---" * (len(Trigger) + 1) + "|"
    rows = [
        f"| **{phase.value}** | " + " | ".join("" if to is phase else to.value for to in row.values()) + " |"
        for phase, row in TABLE.items()
    ]
    return "\n".join([head, rule, *rows])

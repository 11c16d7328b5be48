"""Ways a message travels: each delays, and may lose, double or refuse.

A path is asked to carry a message at an instant and answers at once with what it will have done: whether it
was accepted, and when it arrives, as often as it does. The caller puts the arrivals into its own time.
"""

import random
from dataclasses import dataclass, field
from enum import Enum
from math import log

from simulators.chance import stream


class Rejection(Enum):
    """Why a path did not accept a message."""

    DOWN = "down"
    BUSY = "busy"
    BAD_ADDRESS = "bad address"


@dataclass(frozen=True, slots=True)
class Carried:
    """What a path did with a message.

    Attributes
    ----------
    rejection : Rejection | None
        Why it was not accepted; None when it was.
    arrivals_ms : tuple[int, ...]
        When it arrives, in order: empty when lost, two or more when doubled. [ms]
    """

    rejection: Rejection | None
    arrivals_ms: tuple[int, ...] = ()


@dataclass(slots=True, kw_only=True)
class Path:
    """One way for messages.

    Attributes
    ----------
    seed, name : int, str
        The run's seed, and a name unique in the run.
    median_s : float
        Half of the messages arrive within this, above 0. [s]
    spread : float
        Standard deviation of the logarithm of the delay; 1 makes one in forty take seven times the median.
        [1]
    lost, doubled, busy : float
        Shares of messages that vanish after being accepted, arrive twice, or are refused for the moment. [1]
    down_ms : tuple[tuple[int, int], ...]
        Outages, each from the first instant to just before the second. Settable. [ms]
    holds_when_down : bool
        Accept in an outage and deliver when it ends, as a mail queue does, instead of refusing.
    dead_addresses : frozenset[str]
        Addresses that are always refused.
    """

    seed: int
    name: str
    median_s: float = 4.0
    spread: float = 0.8
    lost: float = 0.01
    doubled: float = 0.005
    busy: float = 0.005
    down_ms: tuple[tuple[int, int], ...] = ()
    holds_when_down: bool = False
    dead_addresses: frozenset[str] = frozenset()
    _draws: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._draws = stream(self.seed, f"path/{self.name}")

    def carry(self, *, now_ms: int, address: str) -> Carried:
        """Take a message at an instant, and tell what becomes of it.

        Parameters
        ----------
        now_ms : int
            Instant. [ms]
        address : str
            Where it is to go.
        """
        draws = self._draws
        # Every message draws the same number of times, so one refusal leaves the later ones as they were.
        luck = [draws.random() for _ in range(3)]
        delays_s = [draws.lognormvariate(log(self.median_s), self.spread) for _ in range(2)]
        if address in self.dead_addresses:
            return Carried(Rejection.BAD_ADDRESS)
        leaves_ms = now_ms
        for start_ms, end_ms in self.down_ms:
            if start_ms <= leaves_ms < end_ms:
                if not self.holds_when_down:
                    return Carried(Rejection.DOWN)
                leaves_ms = end_ms
        if luck[0] < self.busy:
            return Carried(Rejection.BUSY)
        if luck[1] < self.lost:
            return Carried(None)
        copies = 2 if luck[2] < self.doubled else 1
        return Carried(None, tuple(sorted(leaves_ms + round(1000 * delay) for delay in delays_s[:copies])))

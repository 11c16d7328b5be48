"""People who are called: they sleep, overlook, answer late, mistype, and let their batteries run flat.

A person is given a message at an instant and answers at once with all that will follow from it: when the
phone shows it, and what is sent back and when. The caller puts these into its own time. Times of day are the
person's own, by a fixed offset from UTC.

How long people take is ours: no published figures were found for a school's staff. Awake, half answer within
the median; asleep, a message wakes them with the share `wakes`, or waits for the morning.
"""

import random
import re
from dataclasses import dataclass, field
from enum import Enum

from simulators.chance import stream

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
# A code stands out in a message: four to eight capitals and digits with at least one digit among them.
CODE = r"\b(?=[A-Z0-9]*[0-9])[A-Z0-9]{4,8}\b"
# Neighbours on a phone's keys, by which people mistype.
SLIPS = str.maketrans("0123456789", "9214365870")


class Happening(Enum):
    """What comes of a message."""

    SHOWN = "shown"
    ANSWERED = "answered"
    AUTOMATIC = "automatic"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens at a person's phone.

    Attributes
    ----------
    at_ms : int
        When. [ms]
    person : str
        Whose phone.
    happening : Happening
        What happens.
    text : str
        What is sent back; empty for a message that is only shown.
    """

    at_ms: int
    person: str
    happening: Happening
    text: str = ""


@dataclass(slots=True, kw_only=True)
class Person:
    """One person with a phone.

    Attributes
    ----------
    seed, name : int, str
        The run's seed, and a name unique in the run.
    utc_offset_min : int
        The person's clock against UTC. [min]
    median_awake_min, median_woken_min : float
        Half answer within this, awake and woken, above 0. [min]
    spread : float
        Standard deviation of the logarithm of these times. [1]
    asleep_h, awake_h : float
        When the person falls asleep and wakes, hours of the own day, 0 to 24. [h]
    wakes : float
        Share of messages that wake the person. [1]
    busy_h : tuple[tuple[float, float], ...]
        Lessons and meetings: a message waits for the end unless it is the third within an hour. [h]
    answers : float
        Share of messages seen that are answered at all. [1]
    mistypes, forgets_code : float
        Shares of answers with a digit wrong in the code, and with no code. [1]
    corrects : float
        Share of spoilt answers followed by a right one. [1]
    flat_ms, away_ms : tuple[tuple[int, int], ...]
        When the battery is flat, and when an automatic reply is on and the person does not look. Settable.
        [ms]
    away_text : str
        The automatic reply.
    code_pattern : str
        Regular expression that finds the code in a message; the last match counts.
    phrases : tuple[str, ...]
        How the person answers; `{code}` stands for the code.
    """

    seed: int
    name: str
    utc_offset_min: int = 0
    median_awake_min: float = 4.0
    median_woken_min: float = 7.0
    spread: float = 0.9
    asleep_h: float = 23.0
    awake_h: float = 6.5
    wakes: float = 0.75
    busy_h: tuple[tuple[float, float], ...] = ()
    answers: float = 0.92
    mistypes: float = 0.05
    forgets_code: float = 0.05
    corrects: float = 0.6
    flat_ms: tuple[tuple[int, int], ...] = ()
    away_ms: tuple[tuple[int, int], ...] = ()
    away_text: str = "Automatic reply: I am out of the office and will read your message when I return."
    code_pattern: str = CODE
    phrases: tuple[str, ...] = ("{code}", "{code} on my way", "ok {code}", "  {code}\n", "Thanks! {code}.")
    _draws: random.Random = field(init=False)
    _recent_ms: list[int] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self._draws = stream(self.seed, f"person/{self.name}")

    def receive(self, *, now_ms: int, text: str) -> tuple[Event, ...]:
        """Take a message at the instant it reaches the phone, and tell all that follows, in order.

        Parameters
        ----------
        now_ms : int
            Instant. [ms]
        text : str
            The message.
        """
        draws = self._draws
        # Every message draws the same number of times, so one answer more leaves the later ones as they were.
        luck = [draws.random() for _ in range(5)]
        haste = draws.lognormvariate(0.0, self.spread)
        phrase = draws.choice(self.phrases)
        second_min = draws.uniform(0.5, 6.0)

        shown_ms = _after(self.flat_ms, now_ms)
        events = [Event(shown_ms, self.name, Happening.SHOWN)]
        away_until_ms = _after(self.away_ms, shown_ms)
        if away_until_ms > shown_ms:
            at_ms = shown_ms + 5_000
            return (*events, Event(at_ms, self.name, Happening.AUTOMATIC, self.away_text))
        seen_ms, median_min = self._look(shown_ms, woken=luck[0] < self.wakes)
        if luck[1] >= self.answers:
            return tuple(events)
        answered_ms = _after(self.flat_ms, seen_ms + round(60_000 * median_min * haste))
        code = self._find_code(text)
        spoilt = self._spoil(code, mistyped=luck[2] < self.mistypes, forgotten=luck[3] < self.forgets_code)
        reply = phrase.format(code=spoilt)
        events.append(Event(answered_ms, self.name, Happening.ANSWERED, reply))
        if spoilt != code and luck[4] < self.corrects:
            again_ms = _after(self.flat_ms, answered_ms + round(60_000 * second_min))
            events.append(Event(again_ms, self.name, Happening.ANSWERED, code))
        return tuple(events)

    def asleep(self, at_ms: int) -> bool:
        """Tell whether the person sleeps at an instant [ms]."""
        return _within(self._hour(at_ms), self.asleep_h, self.awake_h)

    def _hour(self, at_ms: int) -> float:
        return (at_ms + self.utc_offset_min * 60_000) % DAY_MS / HOUR_MS

    def _look(self, shown_ms: int, *, woken: bool) -> tuple[int, float]:
        """When the person sees the message, and the median from there to the answer [ms], [min]."""
        self._recent_ms = [at for at in self._recent_ms if shown_ms - at < HOUR_MS][-9:]
        self._recent_ms.append(shown_ms)
        hour = self._hour(shown_ms)
        if self.asleep(shown_ms):
            if woken:
                return shown_ms, self.median_woken_min
            return shown_ms + round(HOUR_MS * ((self.awake_h - hour) % 24.0)), self.median_awake_min
        for start_h, end_h in self.busy_h:
            if start_h <= hour < end_h and len(self._recent_ms) < 3:
                return shown_ms + round(HOUR_MS * (end_h - hour)), self.median_awake_min
        return shown_ms, self.median_awake_min

    def _find_code(self, text: str) -> str:
        found = re.findall(self.code_pattern, text)
        return str(found[-1]) if found else ""

    def _spoil(self, code: str, *, mistyped: bool, forgotten: bool) -> str:
        """Write the code as the person types it: without it, with its last digit wrong, or right."""
        if forgotten:
            return "ok"
        if not mistyped:
            return code
        place = max((i for i, sign in enumerate(code) if sign.isdigit()), default=None)
        if place is None:
            return code[::-1]
        return code[:place] + code[place].translate(SLIPS) + code[place + 1 :]


def _within(hour: float, start_h: float, end_h: float) -> bool:
    """Tell whether an hour lies in a span of the day that may cross midnight."""
    return start_h <= hour < end_h if start_h <= end_h else hour >= start_h or hour < end_h


def _after(spans_ms: tuple[tuple[int, int], ...], at_ms: int) -> int:
    """Find the first instant at or after one that lies in none of the spans, which are in order [ms]."""
    for start_ms, end_ms in spans_ms:
        if start_ms <= at_ms < end_ms:
            at_ms = end_ms
    return at_ms

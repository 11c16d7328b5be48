"""What a scenario expects, each as one table of its file, judged against what a witness has written down.

Every expectation looks at a span of the run, `from_min` to `to_min`; without them, at the whole of it.

- `alarm = NAME`: it begins to sound in the span; with `times_most`, not more often.
- `quiet = NAME` (or "*" for all that call people): it does not begin to sound in the span.
- `over = NAME`: it ends in the span.
- `called = PERSON`: a message to this person, with `text` in it if given, goes out in the span.
- `uncalled = PERSON`: none does.
- `answered = NAME`: its call is answered in the span; `unanswered = NAME`: it is not.
- `rule = RULE`: this rule of the curtain is written down in the span.
- `drawn_least`, `drawn_most`: the curtain is, all through the span, at least or at most so far drawn [%].
- `moves_most`, `moves_least`: so many runs in the span.
- `refused = SENSOR`: messages of this sensor are refused, at least `times_least` (1) often.
- `restarts_least`: so many starts of the daemon after the first.
- `oxygen_least`: the true oxygen never falls below this [mg/L].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from simulators.witness import Seen, Witness

KINDS: Final = (
    "alarm", "quiet", "over", "called", "uncalled", "answered", "unanswered", "rule", "drawn_least",
    "drawn_most", "moves_most", "moves_least", "refused", "restarts_least", "oxygen_least",
)  # fmt: skip
"""What can be expected; exactly one of them names a table."""

DETAILS: Final = frozenset({"from_min", "to_min", "times_most", "times_least", "text"})


@dataclass(frozen=True, slots=True)
class Expectation:
    """One thing that must be so."""

    kind: str
    wanted: str | float
    from_min: float
    to_min: float
    times_least: int
    times_most: int | None
    text: str

    def judge(self, witness: Witness) -> str:
        """Return what is wrong, or nothing."""
        told = f"{self.kind} = {self.wanted} between minute {self.from_min:g} and {self.to_min:g}"
        match self.kind:
            case "alarm":
                return self._count(witness.alarms, told)
            case "over":
                return self._count(witness.overs, told)
            case "answered":
                return self._count(witness.answers, told)
            case "rule":
                return self._count(witness.rules, told)
            case "refused":
                return self._count(witness.refusals, told)
            case "quiet":
                return self._none(witness.alarms, told)
            case "unanswered":
                return self._none(witness.answers, told)
            case "called" | "uncalled":
                return self._judge_calls(witness, told)
            case "drawn_least" | "drawn_most" | "oxygen_least":
                return self._judge_minutes(witness, told)
            case _:
                return self._judge_counts(witness, told)

    def _within(self, seen: list[Seen]) -> list[Seen]:
        return [each for each in seen if self.from_min <= each.at_min <= self.to_min]

    def _named(self, seen: list[Seen]) -> list[Seen]:
        return [
            each for each in self._within(seen) if self.wanted in {each.about, "*"} and self.text in each.text
        ]

    def _count(self, seen: list[Seen], told: str) -> str:
        found = len(self._named(seen))
        if found < self.times_least or (self.times_most is not None and found > self.times_most):
            return f"{told}: {found} times"
        return ""

    def _none(self, seen: list[Seen], told: str) -> str:
        found = self._named(seen)
        return f"{told}: {found[0].text} at minute {found[0].at_min:.1f}" if found else ""

    def _judge_calls(self, witness: Witness, told: str) -> str:
        calls = [
            each
            for each in self._within(witness.calls)
            if each.text.startswith(f"{self.wanted}: ") and self.text in each.text
        ]
        if self.kind == "uncalled":
            return f"{told}: {calls[0].text.splitlines()[0]}" if calls else ""
        return "" if calls else f"{told}: nothing"

    def _judge_minutes(self, witness: Witness, told: str) -> str:
        first, last = int(self.from_min), int(min(self.to_min, len(witness.minutes)))
        bound = float(self.wanted)
        span = witness.minutes[first:last]
        if not span:
            return f"{told}: the run is shorter"
        if self.kind == "oxygen_least":
            least = min(minute.oxygen_mg_l for minute in span)
            return f"{told}: {least:.2f} mg/L" if least < bound else ""
        drawn = [minute.drawn_percent for minute in span]
        if self.kind == "drawn_least":
            return f"{told}: {min(drawn):.0f} %" if min(drawn) < bound else ""
        return f"{told}: {max(drawn):.0f} %" if max(drawn) > bound else ""

    def _judge_counts(self, witness: Witness, told: str) -> str:
        count = float(self.wanted)
        if self.kind == "restarts_least":
            found = len(self._within(witness.starts[1:]))
            return f"{told}: {found}" if found < count else ""
        found = len(self._within(witness.moves))
        wrong = found > count if self.kind == "moves_most" else found < count
        return f"{told}: {found}" if wrong else ""


def read_expectation(table: Mapping[str, Any]) -> Expectation:
    """Read one table.

    Raises
    ------
    ValueError
        It names nothing that can be expected, or several things, or a detail that means nothing.
    """
    kinds = [kind for kind in KINDS if kind in table]
    strange = set(table) - DETAILS - set(kinds)
    if len(kinds) != 1 or strange:
        raise ValueError(f"an expectation names one of {', '.join(KINDS)} and known details: {dict(table)}")
    most = table.get("times_most")
    return Expectation(
        kinds[0],
        table[kinds[0]],
        float(table.get("from_min", 0.0)),
        float(table.get("to_min", 1e9)),
        int(table.get("times_least", 1)),
        None if most is None else int(most),
        str(table.get("text", "")),
    )

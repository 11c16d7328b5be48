"""Which message a delivery report speaks of, and which messages nothing is heard of.

The network's reference has eight bits, so it comes again after 256 messages; with the recipient, and the time
where both fit, it still names the message.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from controller.core.units import UtcMs
from controller.core.vocabulary import EffectFailed, Event, MessageDelivered
from controller.edges.notify.pdu import Fate, Report

AWAITED_MAX: Final = 300
"""Messages whose report is awaited: a little more than there are references."""

KEPT_ON_S: Final = 600.0
"""So long past its validity a report may still come. [s]"""

_DIGITS_ALIKE: Final = 8  # a report may name the recipient in the national form


@dataclass(eq=False, slots=True)
class _Sent:
    """A message the network has taken, with the references of its parts that are not yet delivered."""

    effect_id: str
    number: str
    references: set[int]
    sent_utc_ms: UtcMs
    due_s: float
    forget_s: float
    told: bool = field(default=False)


class Reports:
    """The messages under way. One thread only; times are monotonic, in seconds.

    Parameters
    ----------
    wait_s
        Without a word for so long a message counts as failed, though it may arrive yet. [s]
    valid_s
        So long the network keeps trying. [s]
    """

    def __init__(self, *, wait_s: float, valid_s: float) -> None:
        self._wait_s = wait_s
        self._valid_s = valid_s
        self._sent: list[_Sent] = []

    def __len__(self) -> int:
        """Count the messages under way."""
        return len(self._sent)

    def await_report(
        self, effect_id: str, number: str, references: set[int], *, sent_utc_ms: UtcMs, now_s: float
    ) -> None:
        """Remember a message that the network has taken."""
        del self._sent[: max(0, len(self._sent) - AWAITED_MAX + 1)]
        self._sent.append(
            _Sent(
                effect_id, number, set(references), sent_utc_ms, now_s + self._wait_s,
                now_s + self._valid_s + KEPT_ON_S,
            )
        )  # fmt: skip

    def take(self, report: Report) -> Event | None:
        """Take a report in; give what it means, if it ends a message or changes what is known of it."""
        candidates = [
            sent
            for sent in self._sent
            if report.reference in sent.references and _is_same_number(sent.number, report.recipient)
        ]
        if not candidates:
            return None
        sent = min(candidates, key=lambda each: _apart_ms(each, report))
        match report.fate:
            case Fate.TRYING:
                return None
            case Fate.DELIVERED:
                sent.references.discard(report.reference)
                if sent.references:
                    return None
                self._sent.remove(sent)
                return MessageDelivered(sent.effect_id)
            case _:
                self._sent.remove(sent)
                told = f"{report.fate.value} (status {report.status})"
                return None if sent.told else EffectFailed(sent.effect_id, f"not delivered: {told}")

    def take_overdue(self, now_s: float) -> list[Event]:
        """Give the messages nothing was heard of in time, once each; forget what is past all hope."""
        self._sent = [sent for sent in self._sent if sent.forget_s > now_s]
        overdue: list[Event] = []
        for sent in self._sent:
            if sent.due_s <= now_s and not sent.told:
                sent.told = True
                wait_min = f"{self._wait_s / 60:.3g}"
                overdue.append(
                    EffectFailed(
                        sent.effect_id, f"no word of its delivery for {wait_min} min; it may arrive yet"
                    )
                )
        return overdue


def _is_same_number(number: str, recipient: str) -> bool:
    """Compare a number with a report's, which may be in the national form."""
    ours, theirs = number.lstrip("+"), recipient.lstrip("+0")
    if recipient.startswith("+") or len(theirs) < _DIGITS_ALIKE:
        return ours == theirs
    return ours.endswith(theirs)


def _apart_ms(sent: _Sent, report: Report) -> int:
    """Tell how far apart [ms] the times of sending are, ours and the network's."""
    return 0 if report.sent_utc_ms is None else abs(sent.sent_utc_ms - report.sent_utc_ms)

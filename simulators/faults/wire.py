"""Faults on the wire: hostile bytes, floods, old and doubled messages, wrong clocks, a lost broker."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterable
from typing import Final

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import TroubleSeen
from controller.edges.rate_cap import RateCap
from simulators.clockwork import BROKER_NOTICED_MS
from simulators.faults.kind import Cast, Kind, Mend
from simulators.link import Mangle, Message

HOSTILE: Final = (
    b"",
    b"nan",
    b"1e999",
    b"-Infinity",
    b"true",
    b"0x10",
    b"12 C",
    "٣".encode(),
    b"\xff\xfe\x00",
    b"{" * 3000,
    b"[" * 3000 + b"]" * 3000,
    b'{"temperature":1,"temperature":2}',
    b'{"temperature":{"a":[1,2,{"b":null}]}}',
    b"9" * 5000,
    b"\x00" * 100_000,
    b'[{"n":"line-a/ph","v":1e400}]',
    b"\x9f" * 2000,
    b"\xbf\xbf\xbf",
)
"""What a broken or hostile sender may send."""

FLOOD_MESSAGES: Final = 120
"""Copies of each message in a flood, all at once: a hundred times and more what is usual."""


def _mangle(make: Callable[[Cast], Mangle], *choices: str) -> Callable[[Cast], Mend]:
    """Make a fault of something that happens to one sensor's messages."""

    def begin(cast: Cast) -> Mend:
        link = cast.run.link
        topic = link.topic_of(cast.sensor(*choices))
        link.mangles[topic] = make(cast)

        def mend() -> None:
            link.mangles.pop(topic, None)

        return mend

    return begin


def _hostile(cast: Cast) -> Mangle:
    """Put bytes that nobody should send in the place of every message."""
    return lambda message: (message._replace(payload=cast.dice.choice(HOSTILE)),)


def _noisy(cast: Cast) -> Mangle:
    """Change single bytes of every message."""

    def mangle(message: Message) -> Iterable[Message]:
        spoilt = bytearray(message.payload)
        spoilt[cast.dice.randrange(len(spoilt))] = cast.dice.randrange(256)
        return (message._replace(payload=bytes(spoilt)),)

    return mangle


def _flood(cast: Cast) -> Mangle:
    """Send every message a hundred times, past the cap that the daemon's edge puts on a topic."""
    cap = RateCap()
    run = cast.run

    def mangle(message: Message) -> Iterable[Message]:
        house_ms = run.clocks.house_ms(run.now_utc_ms)
        return [message for _ in range(FLOOD_MESSAGES) if cap.admit(message.topic, house_ms)]

    return mangle


def _double(cast: Cast) -> Mangle:
    """Deliver every message twice, as a broker may at QoS 1."""
    del cast
    return lambda message: (message, message)


def _disorder(cast: Cast) -> Mangle:
    """Deliver after each message one of the last few again."""
    last: list[Message] = []

    def mangle(message: Message) -> Iterable[Message]:
        last.append(message)
        del last[:-4]
        return (message, cast.dice.choice(last))

    return mangle


def _retained(cast: Cast) -> Mangle:
    """Deliver nothing but the value the broker has kept."""
    kept: list[Message] = []

    def mangle(message: Message) -> Iterable[Message]:
        if not kept:
            kept.append(message._replace(retained=True))
        return kept

    del cast
    return mangle


def _empty_retained(cast: Cast) -> Mangle:
    """Deliver the empty message that clears what a broker has kept."""
    del cast
    return lambda message: (message._replace(payload=b"", retained=True),)


def _wrong_unit(cast: Cast) -> Mangle:
    """Send in a unit nobody has agreed on: SenML packs name it, plain numbers are refused as text."""
    del cast

    def mangle(message: Message) -> Iterable[Message]:
        try:
            document = json.loads(message.payload)
        except ValueError:
            return (message._replace(payload=message.payload + b" furlong"),)
        if isinstance(document, list):
            for record in document:
                record["u"] = "furlong"
        elif isinstance(document, dict):
            document = {f"{key}_furlong": value for key, value in document.items()}
        else:
            return (message._replace(payload=message.payload + b" furlong"),)
        return (message._replace(payload=json.dumps(document).encode()),)

    return mangle


def _own_clock(offset_ms: int | None) -> Callable[[Cast], Mangle]:
    """Let a SenML box stamp its packs by a clock that is wrong; None: one that was never set."""

    def make(cast: Cast) -> Mangle:
        run = cast.run

        def mangle(message: Message) -> Iterable[Message]:
            document = json.loads(message.payload)
            if isinstance(document, list) and document:
                # RFC 8428: base time, absolute when it is 2^28 or more.
                taken_ms = 400_000_000_000 if offset_ms is None else run.now_utc_ms + offset_ms
                document[0]["bt"] = taken_ms / 1000.0
            return (message._replace(payload=json.dumps(document).encode()),)

        return mangle

    return make


LINES: Final = ("line A conductivity", "line B conductivity")


def _broker_down(cast: Cast) -> Mend:
    """Take the broker away; the daemon notices after its keep-alive."""
    run = cast.run
    run.link.down = True
    run.tell_later(
        run.now_utc_ms + BROKER_NOTICED_MS, TroubleSeen(Watched.BROKER, "no connection to the broker")
    )

    def mend() -> None:
        run.link.down = False
        run.tell_later(run.now_utc_ms + BROKER_NOTICED_MS, TroubleSeen(Watched.BROKER, None))

    return mend


def _broker_flaps(cast: Cast) -> Mend:
    """Let two programs fight for one client id: the connection comes and goes every twenty seconds."""
    run = cast.run
    live = [True]
    text = "another program uses our client id duskbell"
    run.tell_later(run.now_utc_ms + 60_000, TroubleSeen(Watched.BROKER, text))

    def flap() -> None:
        if live[0]:
            run.link.down = not run.link.down
            run.later(run.now_utc_ms + 20_000, flap)

    flap()

    def mend() -> None:
        live[0] = False
        run.link.down = False
        run.tell_later(run.now_utc_ms + 60_001, TroubleSeen(Watched.BROKER, None))

    return mend


def _subscription_refused(cast: Cast) -> Mend:
    """Let the broker refuse one topic: the daemon is told, and hears nothing on it."""
    run = cast.run
    topic = run.link.topic_of(cast.sensor())
    run.link.mangles[topic] = lambda message: ()  # noqa: ARG005 - it vanishes
    run.tell_later(run.now_utc_ms, TroubleSeen(Watched.BROKER, f"the broker refuses the topic {topic}"))

    def mend() -> None:
        run.link.mangles.pop(topic, None)
        run.tell_later(run.now_utc_ms, TroubleSeen(Watched.BROKER, None))

    return mend


def _lossy(cast: Cast) -> Mend:
    """Lose a third of all messages of every sensor."""
    run = cast.run
    dice = random.Random(cast.dice.random())  # noqa: S311 - simulated loss
    topics = sorted({run.link.topic_of(instrument.name) for instrument in run.instruments})
    mine = [topic for topic in topics if topic not in run.link.mangles]

    def lose(message: Message) -> Iterable[Message]:
        return () if dice.random() < 1.0 / 3.0 else (message,)

    for topic in mine:
        run.link.mangles[topic] = lose

    def mend() -> None:
        for topic in mine:
            run.link.mangles.pop(topic, None)

    return mend


KINDS: Final = (
    Kind("hostile bytes", "a sensor sends what nobody should send", _mangle(_hostile)),
    Kind("bytes spoilt", "single bytes of a sensor's messages are changed", _mangle(_noisy)),
    Kind("flood", "a sensor sends each message a hundred times", _mangle(_flood), 5.0, 60.0),
    Kind("messages doubled", "every message of a sensor comes twice", _mangle(_double)),
    Kind("messages out of order", "old messages of a sensor come again", _mangle(_disorder)),
    Kind("only a kept value", "only the value the broker has kept comes", _mangle(_retained)),
    Kind("kept value emptied", "only empty messages come", _mangle(_empty_retained)),
    Kind("unit changed", "a sensor sends in another unit", _mangle(_wrong_unit)),
    Kind("box clock ahead", "a box stamps its packs a day ahead", _mangle(_own_clock(86_400_000), *LINES)),
    Kind(
        "box clock never set",
        "a box stamps its packs by a clock never set",
        _mangle(_own_clock(None), *LINES),
    ),
    Kind("box clock behind", "a box stamps its packs an hour late", _mangle(_own_clock(-3_600_000), *LINES)),
    Kind("broker down", "the broker is gone", _broker_down, 1.0, 240.0),
    Kind("client id taken", "another program takes our place at the broker", _broker_flaps, 5.0, 60.0),
    Kind("topic refused", "the broker refuses a subscription", _subscription_refused),
    Kind("lossy network", "a third of all messages is lost", _lossy, 30.0, 24 * 60.0),
)
"""What can go wrong on the wire."""

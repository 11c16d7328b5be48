"""A program that a test may kill: an MQTT edge that prints what it hears and commits nothing."""

from __future__ import annotations

import sys

import structlog

from controller.core.plan.plan import Plan
from controller.core.vocabulary import ReadingsTaken
from controller.edges.clock import BoardClock
from controller.edges.inbox import Inbox
from controller.edges.mqtt import MqttEdge


def main() -> None:
    """Run until killed, on the settings in the first argument."""
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    inbox = Inbox()
    edge = MqttEdge(Plan.model_validate_json(sys.argv[1]), inbox, BoardClock("Europe/London", 0))
    edge.start()
    while True:
        inbound = inbox.take(60.0)
        if inbound is not None and isinstance(inbound.event, ReadingsTaken):
            sys.stdout.write(f"heard {inbound.event.samples[0].value}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()

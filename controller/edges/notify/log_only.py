"""The way for dry runs: it says what would be sent, and to whom, and sends nothing."""

from __future__ import annotations

import structlog

from controller.core.vocabulary import SendMessage
from controller.edges.notify.way import Outcome

_log = structlog.get_logger()


class LogOnly:
    """Says messages to the log."""

    def send(self, message: SendMessage) -> Outcome:
        """Say one message."""
        _log.info(
            "message not sent, only said",
            effect_id=message.effect_id,
            person=message.person,
            subject=message.subject,
            text=message.text,
        )
        return Outcome(accepted=True, text="said to the log, not sent")

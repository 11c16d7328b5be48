"""The long tail of messaging services, through the library apprise, which is an optional part of the install.

The address of a service holds its secret, so it stands in a file of its own and is never repeated: not in an
outcome, not in the log.
"""

from __future__ import annotations

import importlib
import logging
from pathlib import Path
from typing import Any, Final

from controller.core.vocabulary import SendMessage
from controller.edges.notify.way import Outcome

ADDRESS_BYTES_MAX: Final = 4_096

_MISSING: Final = "refused: the part for services is not installed; install duskbell[service]"


class Service:
    """Sends messages by whatever service stands in the person's file."""

    def send(self, message: SendMessage) -> Outcome:
        """Send one message; the library bounds its waits to a few seconds each."""
        try:
            library: Any = importlib.import_module("apprise")
        except ImportError:
            return Outcome(accepted=False, text=_MISSING, way_works=False)
        try:
            with Path(message.address).open("rb") as file:
                address = file.read(ADDRESS_BYTES_MAX).decode("utf-8").strip()
        except (OSError, UnicodeDecodeError):
            return Outcome(accepted=False, text=f"refused: the file {message.address} cannot be read")
        # Its own log names addresses with their secrets.
        logging.getLogger("apprise").disabled = True
        # One that names several would tell several people.
        if len(address.split()) != 1:
            return Outcome(
                accepted=False,
                text=f"refused: the file {message.address} must hold one address and nothing else",
            )
        messenger = library.Apprise()
        if not messenger.add(address) or len(messenger) != 1:
            return Outcome(
                accepted=False, text=f"refused: no service is known for the address in {message.address}"
            )
        try:
            taken = bool(messenger.notify(title=message.subject, body=message.text))
        except Exception as error:  # noqa: BLE001 - a hundred services' code; the error's text may hold the secret
            text = f"not now: the service's own code failed ({type(error).__name__})"
            return Outcome(accepted=False, text=text, way_works=False)
        if not taken:
            return Outcome(accepted=False, text="not now: the service did not take it", way_works=False)
        return Outcome(accepted=True, text="the service has taken it")

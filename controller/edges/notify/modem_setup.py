"""Making a modem ready: card, PIN, form of messages, store, where words about messages go."""

from __future__ import annotations

import contextlib
import os
import re
import time
from pathlib import Path
from typing import Final

from controller.core.plan.reach import Modem as ModemSettings
from controller.edges.notify.modem_talk import Answer, Family, Patience, Talk

CARD_TRIES: Final = 5
"""How often a card that is still busy is asked."""

_STORES: Final = ('"ME","ME","ME"', '"SM","SM","SM"')
_PIN: Final = re.compile(r"[0-9]{4,8}")

NO_CARD: Final = {
    (Family.EQUIPMENT, 10): "there is no card",
    (Family.EQUIPMENT, 11): "the card asks for its PIN",
    (Family.EQUIPMENT, 12): "the card asks for its PUK; put it into a phone to free it",
    (Family.EQUIPMENT, 13): "the card has failed",
    (Family.EQUIPMENT, 15): "it is the wrong card",
    (Family.EQUIPMENT, 16): "the PIN is wrong",
    (Family.MESSAGES, 310): "there is no card",
    (Family.MESSAGES, 311): "the card asks for its PIN",
    (Family.MESSAGES, 313): "the card has failed",
    (Family.MESSAGES, 315): "it is the wrong card",
    (Family.MESSAGES, 316): "the card asks for its PUK; put it into a phone to free it",
}
"""Errors that only a person at the modem can mend (TS 27.007, section 9.2; TS 27.005, section 3.2.5)."""

_BUSY: Final = {(Family.EQUIPMENT, 14), (Family.MESSAGES, 314)}


class Dead(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """The path is dead for now; the text says why."""


def set_up(talk: Talk, settings: ModemSettings, patience: Patience, marker: Path) -> bool:
    """Make the modem ready. Whether it hands over delivery reports.

    Raises
    ------
    Dead
        It cannot send messages as it is.
    """
    for command in ("ATE0", "AT+CMEE=1", "AT+CREG=0"):
        _insist(talk.ask(command))
    _open_card(talk, settings, patience, marker)
    if not _insist(talk.ask("AT+CMGF=0")).ok:
        raise Dead("it does not take text messages as octets")
    for stores in _STORES:
        if _insist(talk.ask(f"AT+CPMS={stores}", "+CPMS:")).ok:
            break
    reports = _insist(talk.ask("AT+CNMI=2,1,0,1,0")).ok
    if not reports:
        _insist(talk.ask("AT+CNMI=2,1,0,0,0"))
    if settings.centre:
        _insist(talk.ask(f'AT+CSCA="{settings.centre}",145'))
    return reports


def _insist(answer: Answer) -> Answer:
    """Let an error pass, silence not."""
    if answer.silent:
        raise Dead("it does not answer")
    return answer


def _open_card(talk: Talk, settings: ModemSettings, patience: Patience, marker: Path) -> None:
    """See that the card can be used; enter its PIN, once."""
    entered = False
    for _ in range(CARD_TRIES):
        answer = _insist(talk.ask("AT+CPIN?", "+CPIN:"))
        state = answer.lines[0].removeprefix("+CPIN:").strip() if answer.ok and answer.lines else ""
        if state == "READY":
            if entered:
                with contextlib.suppress(OSError):
                    marker.unlink(missing_ok=True)
            return
        if state == "SIM PIN" and not entered:
            _enter_pin(talk, settings, marker)
            entered = True
        elif state and state != "SIM PIN":
            raise Dead(f"the card asks for {state.removeprefix('SIM ')}; put it into a phone to free it")
        elif not answer.ok and answer.family is not None and answer.number is not None:
            error = (answer.family, answer.number)
            if error in NO_CARD:
                raise Dead(NO_CARD[error])
            if error not in _BUSY:
                raise Dead(f"the card cannot be used: {answer.text}")
        time.sleep(patience.card_s)
    raise Dead("the card does not become ready")


def _enter_pin(talk: Talk, settings: ModemSettings, marker: Path) -> None:
    """Enter the PIN unless this very file was tried before and found wrong: three wrong tries lock a card."""
    if not settings.pin_file:
        raise Dead("the card asks for its PIN and the settings name no pin_file")
    path = Path(settings.pin_file)
    try:
        pin = path.read_text(encoding="utf-8").strip()
        seen = path.stat()
    except (OSError, UnicodeDecodeError) as error:
        raise Dead(f"the PIN file {path} cannot be read") from error
    if _PIN.fullmatch(pin) is None:
        raise Dead(f"the PIN file {path} must hold four to eight digits and nothing else")
    # Which file, not which PIN: the mark must not be worth stealing.
    mark = f"{path} {seen.st_mtime_ns} {seen.st_size}"
    try:
        tried = marker.read_text(encoding="utf-8") if marker.exists() else ""
        if tried != mark:
            _write_through(marker, mark)
    except OSError as error:
        raise Dead("the PIN is not entered, as the try cannot be remembered") from error
    if tried == mark:
        raise Dead("the PIN was refused and is not tried again; mend the PIN file")
    answer = _insist(talk.ask(f'AT+CPIN="{pin}"'))
    if not answer.ok:
        raise Dead("the PIN was refused and is not tried again; mend the PIN file")


def _write_through(path: Path, text: str) -> None:
    """Write before the try, down to the disk: a crash in between counts as a try."""
    with path.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def explain_port(error: OSError, device: str) -> str:
    """Say in plain words what has happened to the port."""
    if error.errno == 2 or "No such file" in str(error):
        return f"there is no modem at {device}"
    if error.errno in {13, 16} or "ermission" in str(error) or "lock" in str(error):
        return f"its port {device} cannot be used: {error.strerror or error}"
    return f"it has been unplugged or has failed ({error.strerror or error})"

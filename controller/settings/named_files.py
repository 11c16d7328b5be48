"""Files and devices that the settings name, looked at where the check runs: there, readable, and for nobody else.

A file may be checked on another machine than the one it is for, so nothing of this refuses it.
"""

from __future__ import annotations

import stat
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from controller.settings.problems import Fault
from controller.settings.words import label

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.plan import Plan
    from controller.settings.problems import Path as Place


class Named(NamedTuple):
    """One file that the settings name: where, what for, and whether what is in it is a secret."""

    place: Place
    where: str
    path: str
    without: str
    secret: bool


def look_at_files(plan: Plan) -> tuple[Fault, ...]:
    """Say of each named file that is absent, cannot be read, or can be read by everybody, what comes of it."""
    return tuple(fault for named in _list_files(plan) if (fault := _look(named)) is not None)


def _list_files(plan: Plan) -> Iterator[Named]:
    """List the files that are read while the daemon runs; those read with the settings are checked with them."""
    broker, mail, modem, webhook = plan.broker, plan.mail, plan.modem, plan.webhook
    nothing_heard = "nothing is heard of the house"
    yield Named(("broker", "password_file"), "broker", broker.password_file, nothing_heard, secret=True)
    yield Named(("broker", "tls_ca_file"), "broker", broker.tls_ca_file, nothing_heard, secret=False)
    if mail is not None:
        yield Named(("mail", "password_file"), "mail", mail.password_file, "no mail can be sent", secret=True)
        yield Named(("mail", "tls_ca_file"), "mail", mail.tls_ca_file, "no mail can be sent", secret=False)
    if modem is not None:
        no_text = "no text message can be sent"
        yield Named(("modem", "device"), "modem", modem.device, no_text, secret=False)
        yield Named(("modem", "pin_file"), "modem", modem.pin_file, no_text, secret=True)
    if webhook is not None:
        no_hook = "no webhook can be sent"
        yield Named(("webhook", "secret_file"), "webhook", webhook.secret_file, no_hook, secret=True)
        yield Named(("webhook", "tls_ca_file"), "webhook", webhook.tls_ca_file, no_hook, secret=False)
    for index, person in enumerate(plan.person):
        where = label("person", person.name)
        for key, without in (
            ("service_file", "they cannot be reached by their messaging service"),
            ("word_file", "nobody can answer on the page in their name"),
        ):
            yield Named(("person", index, key), where, getattr(person, key), without, secret=True)


def _look(named: Named) -> Fault | None:
    """Look at one file."""
    if not named.path:
        return None
    key = str(named.place[-1])
    path = Path(named.path)
    try:
        mode = path.stat().st_mode
        if stat.S_ISREG(mode):
            with path.open("rb"):
                pass
    except FileNotFoundError:
        return Fault(named.place, f"{named.where}: `{key}`: there is no {named.path}: {named.without}")
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        return Fault(
            named.place,
            f"{named.where}: `{key}`: {named.path} cannot be looked at from this account ({why}); the account of "
            f"the daemon must be able to read it, else {named.without}",
        )
    if not stat.S_ISREG(mode):
        return (
            None
            if key == "device"
            else Fault(named.place, f"{named.where}: `{key}`: {named.path} is no file")
        )
    if named.secret and _is_open_to_all(path):
        return Fault(
            named.place,
            f"{named.where}: `{key}`: everybody on this machine can read {named.path}: `chmod 0640` it",
        )
    return None


def _is_open_to_all(path: Path) -> bool:
    """Tell whether any account can read a file: its own rights, and the way to it."""
    real = path.resolve()
    if not real.stat().st_mode & stat.S_IROTH:
        return False
    return all(folder.stat().st_mode & stat.S_IXOTH for folder in real.parents)

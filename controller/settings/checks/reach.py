"""Numbers, webhooks, services, and the modem and siren behind them: fit to be used in the middle of the night."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from controller.core.plan.people import Way
from controller.settings.problems import Fault
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.people import Person
    from controller.core.plan.reach import Modem, Webhook
    from controller.settings.draft import Draft
    from controller.settings.problems import Path

_NUMBER: Final = re.compile(r"\+[1-9][0-9]{6,14}")
"""An international number (ITU-T E.164): at most fifteen digits, the country first."""

_LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})

_TABLE: Final[dict[Way, tuple[str, str]]] = {
    Way.TEXT: ("modem", "it names the port of the modem"),
    Way.WEBHOOK: ("webhook", "it names the file of the secret that signs them"),
}
"""Ways that need a table of their own; the mail server is checked with the place."""


def is_number(text: str) -> bool:
    """Tell whether `text` is an international telephone number, without spaces."""
    return _NUMBER.fullmatch(text) is not None


def find_fault_of_url(url: str) -> str | None:
    """Say what keeps a webhook's address from being used, or None."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        return "it is no address"
    if not url.isascii() or not url.isprintable() or " " in url:
        return "only printed ASCII characters without spaces may stand in it"
    if not host or port == 0:
        return "it names no host"
    if parts.scheme != "https" and not (parts.scheme == "http" and host in _LOOPBACK):
        return "it must begin with https://"
    if parts.username is not None or parts.password is not None:
        return "accounts and passwords must not stand in the settings"
    return "what follows # is never sent; leave it out" if parts.fragment else None


def check_reach(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in addresses, in the modem, the webhook and the siren."""
    for placed in draft.people:
        where = label("person", placed.part.name)
        for key, text in _check_person(placed.part):
            yield Fault((*placed.path, key), f"{where}: {text}")
    yield from _check_twins(draft)
    for modem in draft.modems:
        yield from _check_modem(modem.part, modem.path)
    for webhook in draft.webhooks:
        yield from _check_webhook(webhook.part, webhook.path, draft)
    yield from _check_tables(draft)


def _check_person(person: Person) -> Iterator[tuple[str, str]]:
    if person.phone and not is_number(person.phone):
        yield "phone", f"`phone` is {write_value(person.phone)}, {_explain_number(person.phone)}"
    fault = find_fault_of_url(person.webhook) if person.webhook else None
    if fault is not None:
        yield "webhook", f"`webhook` is {write_value(person.webhook)}: {fault}"
    if person.service_file and not person.service_file.startswith("/"):
        yield (
            "service_file",
            (
                f"`service_file` is {write_value(person.service_file)}, a full path that begins with / is "
                "needed; the address itself stands in the file, as it holds a secret"
            ),
        )


def _explain_number(number: str) -> str:
    """Say what is wrong with a telephone number."""
    form = "a + and 7 to 15 digits with the country first is needed, such as +447700900123"
    if any(sign.isalpha() for sign in number):
        return f"but a number has no letters; {form}"
    if any(sign in " -./()" for sign in number):
        return f"but nothing may stand between the digits; {form}"
    return form


def _check_twins(draft: Draft) -> Iterator[Fault]:
    """Refuse one number for two people: an answer from it would have no name."""
    owners: dict[str, str] = {}
    for placed in draft.people:
        person = placed.part
        if not person.phone:
            continue
        owner = owners.setdefault(person.phone, person.name)
        if owner != person.name:
            yield Fault(
                (*placed.path, "phone"),
                f"{label('person', person.name)}: `phone` is that of {write_value(owner)} too; an answer from "
                "it could be either's, a number of their own is needed",
            )


def _check_modem(modem: Modem, path: Path) -> Iterator[Fault]:
    for key in ("device", "pin_file"):
        value = getattr(modem, key)
        if value and not value.startswith("/"):
            yield Fault(
                (*path, key),
                f"modem: `{key}` is {write_value(value)}, a full path that begins with / is needed",
            )
    if not modem.device:
        yield Fault((*path, "device"), "modem: `device` is empty, the path of its command port is needed")
    for key in ("centre", "number"):
        value = getattr(modem, key)
        if value and not is_number(value):
            yield Fault(
                (*path, key),
                f"modem: `{key}` is {write_value(value)}, {_explain_number(value)}",
            )


def _check_webhook(webhook: Webhook, path: Path, draft: Draft) -> Iterator[Fault]:
    if not webhook.secret_file.startswith("/"):
        yield Fault(
            (*path, "secret_file"),
            f"webhook: `secret_file` is {write_value(webhook.secret_file)}, a full path that begins with / is "
            "needed; the secret itself never stands here",
        )
    if not webhook.allowed_hosts:
        return
    for placed in draft.people:
        url = placed.part.webhook
        host = urlsplit(url).hostname if url and find_fault_of_url(url) is None else None
        if host is not None and host not in webhook.allowed_hosts:
            yield Fault(
                (*placed.path, "webhook"),
                f"{label('person', placed.part.name)}: `webhook` goes to {write_value(host)}, which is not among "
                "the `allowed_hosts` of [webhook]; add it there or mend the address",
            )


def _check_tables(draft: Draft) -> Iterator[Fault]:
    """Ask for the table that a way of the call list needs."""
    for way, (section, tells) in _TABLE.items():
        using = [step for step in draft.steps if way in step.part.ways]
        if using and not draft.has_section(section):
            yield Fault(
                using[0].path, f"call: messages go by {way.value}, but there is no [{section}] table; {tells}"
            )

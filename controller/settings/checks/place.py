"""The place, the broker, the record and the mail server."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, available_timezones

from controller.core.plan.people import Way
from controller.settings.problems import Fault, suggest
from controller.settings.words import write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.site import Broker, Mail, Site
    from controller.settings.draft import Draft
    from controller.settings.problems import Path

_SITE_ID: Final = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_ADDRESS: Final = re.compile(r"[!-?A-~]+@[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?")
"""A bare mail address in printed ASCII; what comes before the @ is the mail server's business (RFC 5321)."""


def is_address(text: str) -> bool:
    """Tell whether `text` is one bare mail address, without a name or spaces around it."""
    return _ADDRESS.fullmatch(text) is not None and ".." not in text


def is_zone(name: str) -> bool:
    """Tell whether a time zone of that IANA name is known on this machine."""
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):  # a folder's name, a path, an unknown name
        return False
    return True


def check_place(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in the tables there are only one of."""
    for site in draft.sites:
        yield from _check_site(site.part, site.path)
    for broker in draft.brokers:
        yield from _check_broker(broker.part, broker.path)
    for journal in draft.journals:
        if not journal.part.directory.startswith("/"):
            yield Fault(
                (*journal.path, "directory"),
                f"journal: `directory` is {write_value(journal.part.directory)}, "
                "a full path that begins with / is needed",
            )
    for mail in draft.mails:
        yield from _check_mail(mail.part, mail.path)
    if not draft.has_section("mail") and any(Way.EMAIL in step.part.ways for step in draft.steps):
        first = next(step for step in draft.steps if Way.EMAIL in step.part.ways)
        yield Fault(
            first.path,
            "call: messages go by email, but there is no [mail] table; it names the mail server and the "
            "sender",
        )


def _check_site(site: Site, path: Path) -> Iterator[Fault]:
    if site.id and not _SITE_ID.fullmatch(site.id):
        yield Fault(
            (*path, "id"),
            f"site: `id` is {write_value(site.id)}, allowed are lower-case letters a-z, digits and single "
            "hyphens between them",
        )
    if not site.name.isprintable():
        yield Fault(
            (*path, "name"), "site: `name` holds an invisible character; only printed ones may stand in it"
        )
    if site.time_zone and not is_zone(site.time_zone):
        near = suggest(site.time_zone, sorted(available_timezones()))
        hint = f'did you mean "{near}"?' if near else 'a name such as "Europe/London" is needed'
        yield Fault(
            (*path, "time_zone"),
            f"site: there is no time zone {write_value(site.time_zone)} (IANA names); {hint}",
        )


def _check_broker(broker: Broker, path: Path) -> Iterator[Fault]:
    if not broker.host:
        yield Fault((*path, "host"), "broker: `host` is empty, a name or address is needed")
    if not broker.client_id:
        yield Fault(
            (*path, "client_id"), "broker: `client_id` is empty, a text of its own for each daemon is needed"
        )
    if broker.password_file and not broker.username:
        yield Fault(
            (*path, "password_file"), "broker: `password_file` is set without `username`; set both or none"
        )
    if broker.tls_ca_file and not broker.tls:
        yield Fault(
            (*path, "tls_ca_file"), "broker: `tls_ca_file` is set but `tls` is false; set `tls = true`"
        )


def _check_mail(mail: Mail, path: Path) -> Iterator[Fault]:
    if mail.sender and not is_address(mail.sender):
        yield Fault(
            (*path, "sender"),
            f"mail: `sender` is {write_value(mail.sender)}, one bare address such as house@example.org is "
            "needed",
        )
    if bool(mail.username) != bool(mail.password_file):
        key = "username" if mail.username else "password_file"
        yield Fault((*path, key), "mail: `username` and `password_file` go together; set both or none")
    if mail.security.value == "none" and mail.tls_ca_file:
        yield Fault(
            (*path, "tls_ca_file"),
            'mail: `tls_ca_file` is set but `security` is "none"; use "tls" or "starttls"',
        )

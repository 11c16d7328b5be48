"""The proofs of the chain and the page: times that are times, people who are there, addresses that can be used."""

from __future__ import annotations

import ipaddress
import re
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from controller.core.plan.duty import DAY_MINUTES, Day, read_minute
from controller.core.plan.page import Page
from controller.core.plan.supervision import Supervision
from controller.settings.checks.roster import TIME_ALLOWED
from controller.settings.problems import Fault
from controller.settings.words import write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.settings.draft import Draft


def check_proof(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in the supervision and the page."""
    for placed in draft.every("supervision", Supervision):
        for key, text in _check_supervision(placed.part, draft):
            yield Fault((*placed.path, key), f"supervision: {text}")
    for page in draft.every("page", Page):
        for key, text in _check_page(page.part):
            yield Fault((*page.path, key), f"page: {text}")


def _check_supervision(rules: Supervision, draft: Draft) -> Iterator[tuple[str, str]]:
    if rules.test_day is Day.HOLIDAY:
        yield (
            "test_day",
            '`test_day` is "holiday", which does not come every week; allowed is a day of the week',
        )
    for key in ("test_time", "digest_time"):
        text = getattr(rules, key)
        if (text or key == "test_time") and read_minute(text) in {None, DAY_MINUTES}:
            yield key, f"`{key}` is {write_value(text)}, {TIME_ALLOWED}"
    for name in rules.digest_people:
        if not draft.has_name("person", name):
            yield "digest_people", f"`digest_people`: {draft.describe_name('person', name)}"
    if rules.heartbeat_webhook:
        address = urlsplit(rules.heartbeat_webhook)
        if address.scheme != "https" or not address.hostname:
            yield (
                "heartbeat_webhook",
                (
                    f"`heartbeat_webhook` is {write_value(rules.heartbeat_webhook)}, an https address is needed"
                ),
            )
        elif not draft.has_section("webhook"):
            yield (
                "heartbeat_webhook",
                "`heartbeat_webhook` is set, so the table [webhook] is needed to sign it",
            )


_ADDRESS: Final = re.compile(r"https?://[A-Za-z0-9.\-\[\]:]+(?:/[!-~]*)?")
"""A web address with a host, of plain signs alone."""


def _check_page(page: Page) -> Iterator[tuple[str, str]]:
    try:
        ipaddress.ip_address(page.listen)
    except ValueError:
        yield "listen", f"`listen` is {write_value(page.listen)}, an address such as 127.0.0.1 is needed"
    if page.address and not _ADDRESS.fullmatch(page.address):
        yield (
            "address",
            f"`address` is {write_value(page.address)}, an address such as https://glasshouse.example.org/ is needed",
        )
    for name in page.names:
        if not name or not name.isascii() or any(sign in name for sign in "/:@ "):
            yield (
                "names",
                f"`names` has {write_value(name)}, a bare name such as glasshouse.example.org is needed",
            )

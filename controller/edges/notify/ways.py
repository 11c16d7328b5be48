"""All ways of the house, made from the settings; and starting and stopping those that have a life of their own."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from controller.core.plan.people import Way
from controller.core.plan.plan import Plan
from controller.core.state import Outstanding
from controller.edges.clock import Clock
from controller.edges.inbox import Inbox
from controller.edges.notify.email import Email
from controller.edges.notify.log_only import LogOnly
from controller.edges.notify.modem import Modem
from controller.edges.notify.service import Service
from controller.edges.notify.way import WayAdapter
from controller.edges.notify.webhook import Webhook

PIN_MARK: Final = "modem-pin-tried"
"""File beside the journal that remembers that the card's PIN was tried."""


def make_adapters(
    plan: Plan, clock: Clock, inbox: Inbox, *, kept: Mapping[Way, WayAdapter] | None = None
) -> dict[Way, WayAdapter]:
    """Make an adapter for each way that the settings have what it needs for. Nothing is started.

    Parameters
    ----------
    plan
        The settings.
    clock
        Dates and signs messages.
    inbox
        Where the modem puts answers, delivery reports and troubles.
    kept
        The adapters in use so far. The modem among them stays, since a change of its settings needs a restart.
    """
    adapters: dict[Way, WayAdapter] = {Way.SERVICE: Service(), Way.LOG: LogOnly()}
    if plan.mail is not None:
        adapters[Way.EMAIL] = Email(plan.mail, plan.site, clock)
    if plan.webhook is not None:
        adapters[Way.WEBHOOK] = Webhook(plan.webhook, plan.site, clock)
    if kept is not None:
        if Way.TEXT in kept:
            adapters[Way.TEXT] = kept[Way.TEXT]
    elif plan.modem is not None:
        marker = Path(plan.journal.directory) / PIN_MARK
        adapters[Way.TEXT] = Modem(plan.modem, inbox, clock, marker=marker)
    return adapters


def start(adapters: Mapping[Way, WayAdapter]) -> None:
    """Start the ways that have a thread of their own. Returns at once."""
    for adapter in adapters.values():
        if isinstance(adapter, Modem):
            adapter.start()


def await_reports(adapters: Mapping[Way, WayAdapter], unreported: Mapping[str, Outstanding]) -> None:
    """Let the modem wait on for the delivery reports that were awaited before a restart. Call before `start`."""
    modem = adapters.get(Way.TEXT)
    if isinstance(modem, Modem):
        for effect_id, under_way in unreported.items():
            if under_way.references:
                modem.await_report(effect_id, under_way.message.address, set(under_way.references))


def stop(adapters: Mapping[Way, WayAdapter], timeout_s: float) -> bool:
    """Stop them, each within a time [s]; whether all ended. Call before the sender is stopped, which waits for them."""
    ended = True
    for adapter in adapters.values():
        if isinstance(adapter, Modem):
            ended = adapter.stop(timeout_s) and ended
    return ended
